/* Photographs of a scene's floor whose place is known exactly. */
#ifndef TEST_PLATE_SUPPORT_H
#define TEST_PLATE_SUPPORT_H

#include "test_patch_support.h"

#include "patch/homography.h"

/*
 * A camera above the floor, lengths in heights of the panorama's camera, which stands at (0, 1, 0). Angles as
 * in <underfoot/sphere.h>.
 */
typedef struct Shooting {
    double x, height, z, yaw_deg, pitch_deg, roll_deg;
    double focal_px;
    size_t width, height_px;
    double gain[3], vignetting, noise; /* light; share lost in the corners; sigma of full scale */
    UfMapping mapping;
    double foot_x, foot_z, foot_radius; /* a disc on the floor that alpha takes out; radius 0: no alpha */
} Shooting;

/* The photo's pixel of a point of the floor (x right, z forward, in camera heights); false behind the lens.
 */
bool shooting_pixel(const Shooting *shooting, double x, double z, UfSpot *out);
/* The photograph, from a panorama without hardware. */
UfPicture *shoot(const UfPicture *truth, const Shooting *shooting);
/* Black below `cap_deg`. */
UfPicture *without_nadir(const UfPicture *truth, double cap_deg);
/* PSNR within `cap_deg` of the nadir as a straight-down view shows it, in dB. */
double psnr_below(const UfPicture *a, const UfPicture *b, double cap_deg);

/* A scene's picture, made smaller. */
UfPicture *read_floor(const char *path, size_t width);

#endif
