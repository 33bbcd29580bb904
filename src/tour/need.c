/*
 * How much memory a step will hold, from the panorama's header: a process's own share, and the picture a few
 * times over. Measured (docs/tour.md, "Cores and memory") and rounded up; the scheduler raises the estimates
 * of a run in which a step turns out to need more.
 */
#include "tour/tour.h"

#define PROCESS_BYTES (40u << 20)

/* Peak memory in units of the decoded picture, and in bytes a pixel whatever its depth. */
static const struct {
    const char *command;
    double pictures, bytes_per_pixel;
    bool is_sharp; /* holds the picture once more as a spline: larger for 8 bits with alpha */
} needs[] = {{"turn", 3.5, 0, true},    {"patch", 1.2, 9, false}, {"tag", 0.2, 0, false},
             {"faces", 4, 0, true},     {"view", 4, 0, true},     {"planet", 2.5, 0, false},
             {"deliver", 2.2, 0, false}};

uint64_t uf_job_need(const UfJobStep *step, const UfPictureInfo *info)
{
    double pixels = (double)info->width_px * (double)info->height_px;
    double picture = pixels * (double)info->channels * (double)info->sample;
    double bytes = PROCESS_BYTES + (double)info->file_bytes;
    bool is_wide = info->sample == UF_SAMPLE_U8 && info->channels % 2 == 0;
    for (size_t i = 0; i < sizeof needs / sizeof needs[0]; i++)
        if (strcmp(needs[i].command, step->command) == 0)
            bytes += (needs[i].pictures + (needs[i].is_sharp && is_wide ? 2 : 0)) * picture +
                     needs[i].bytes_per_pixel * pixels;
    return (uint64_t)bytes;
}
