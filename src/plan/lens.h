/* Lens mappings inside the library. A new one is a name in UfMapping, a line in lens.c's table, and its
 * formula. */
#ifndef UF_PLAN_LENS_H
#define UF_PLAN_LENS_H

#include <underfoot/plan.h>

/* The mapping's own limit, without the reach. */
double uf_lens_mapping_limit_rad(const UfLens *lens);
/* Where a direction (unit vector, the lens looks along +z) is imaged, millimetres from the middle; whatever
 * the reach. False where the mapping does not go. */
bool uf_lens_image_mm(const UfLens *lens, UfDirection direction, UfPlanePoint *out);

/*
 * The polynomial for focal length 1 (polynomial.c): where it stops growing (at most pi), its value, and its
 * inverse for 0 <= r <= value(limit).
 */
double uf_polynomial_limit_rad(const double k[4]);
double uf_polynomial_radius(const double k[4], double angle_rad);
double uf_polynomial_angle_rad(const double k[4], double limit_rad, double radius);

/*
 * The sensor's edge, in steps of 1/radius: a ray from the picture's middle that leaves the sensor at this
 * radius leaves it at an angle from the axis whose cosine lies within `slack` of the line to the next step.
 */
#define UF_EDGE_STEPS 128
typedef struct UfEdgeStep {
    double cosine, slack;
} UfEdgeStep;

/* What a camera's sensor sees of the directions in the camera's frame (it looks along +z). */
typedef struct UfWindow {
    UfLens lens;
    double limit_cos, half_x_mm, half_y_mm;
    double sure_cos, never_cos; /* nearer to the axis: on the sensor for sure; farther from it: never */
    double edge_from, steps_mm; /* 1/radius of the sensor's corners; steps for each 1/mm from there */
    UfEdgeStep edge[UF_EDGE_STEPS + 1];
} UfWindow;

UfWindow uf_window_of_camera(const UfCamera *camera);
bool uf_window_holds(const UfWindow *window, UfDirection in_camera);

/* All directions within an angle about one. */
typedef struct UfCone {
    UfDirection axis;
    double radius_rad, cosine, sine; /* of the radius */
} UfCone;

UfCone uf_cone(UfDirection axis, double radius_rad);

/* Of all the directions of a cone, how many does something hold? */
typedef enum UfShare { UF_SHARE_NONE, UF_SHARE_UNCLEAR, UF_SHARE_ALL } UfShare;
UfShare uf_window_holds_cone(const UfWindow *window, UfCone in_camera);

#endif
