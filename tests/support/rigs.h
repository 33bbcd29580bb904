/* Rigs for tests, from text. */
#ifndef UF_TESTS_SUPPORT_RIGS_H
#define UF_TESTS_SUPPORT_RIGS_H

#include <underfoot/plan.h>

/* Writes the text to a temporary file and reads it as a rig. *out is NULL after a failure. */
UfStatus rig_try(const char *text, UfRig **out, UfReport *report);
/* The same for a rig that must be sound; free it with uf_rig_free. The text is a printf format. */
UfRig *rig_make(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* Its plan; the test fails when there is none. */
UfPlan rig_plan(const UfRig *rig);

/*
 * [camera] to [stand]: a fisheye held upright whose image circle reaches 95 degrees, 1.5 m above the floor;
 * with RIG_ALL_ROUND frames that contain every direction.
 */
#define RIG_FISHEYE                                                                                          \
    "[camera]\nsensor = 23.5 x 15.6\npixels = 6000 x 4000\nhold = portrait\n"                                \
    "[lens]\nfocal = 8\nmapping = equidistant\nreach = 95\n[stand]\nheight = 1500\n"
#define RIG_ALL_ROUND "[row level]\ntilt = 0\nframes = 6\n[shot up]\ntilt = 90\n[shot down]\ntilt = -90\n"

#endif
