/*
 * Lens mappings: the radial side of the sphere's projections, and the polynomial. Kannala and Brandt 2006,
 * (1)-(6).
 */
#include "plan/lens.h"

#include <math.h>

#include "base/banned.h"

typedef struct Mapping {
    const char *name;
    UfProjection projection; /* of the picture's plane for focal length 1; not for the polynomial */
    double limit_rad;
} Mapping;

static const Mapping mappings[UF_MAPPING_COUNT] = {
    [UF_MAPPING_RECTILINEAR] = {"rectilinear", UF_PROJECTION_RECTILINEAR, UF_PI / 2},
    [UF_MAPPING_EQUIDISTANT] = {"equidistant", UF_PROJECTION_EQUIDISTANT, UF_PI},
    [UF_MAPPING_EQUISOLID] = {"equisolid", UF_PROJECTION_EQUISOLID, UF_PI},
    [UF_MAPPING_STEREOGRAPHIC] = {"stereographic", UF_PROJECTION_STEREOGRAPHIC, UF_PI},
    [UF_MAPPING_ORTHOGRAPHIC] = {"orthographic", UF_PROJECTION_ORTHOGRAPHIC, UF_PI / 2},
    [UF_MAPPING_POLYNOMIAL] = {"polynomial", UF_PROJECTION_COUNT, UF_PI},
};

const char *uf_mapping_name(UfMapping mapping)
{
    return (unsigned)mapping < UF_MAPPING_COUNT ? mappings[mapping].name : NULL;
}

bool uf_mapping_from_name(const char *name, UfMapping *out)
{
    for (size_t i = 0; i < UF_MAPPING_COUNT; i++)
        if (strcmp(mappings[i].name, name) == 0) {
            *out = (UfMapping)i;
            return true;
        }
    return false;
}

double uf_lens_mapping_limit_rad(const UfLens *lens)
{
    if (lens->mapping == UF_MAPPING_POLYNOMIAL)
        return uf_polynomial_limit_rad(lens->k);
    return mappings[lens->mapping].limit_rad;
}

double uf_lens_limit_rad(const UfLens *lens)
{
    double limit = uf_lens_mapping_limit_rad(lens);
    return lens->reach_rad > 0 ? fmin(lens->reach_rad, limit) : limit;
}

bool uf_lens_image_mm(const UfLens *lens, UfDirection direction, UfPlanePoint *out)
{
    if (lens->mapping != UF_MAPPING_POLYNOMIAL) {
        UfPlanePoint at;
        if (!uf_project(mappings[lens->mapping].projection, direction, &at))
            return false;
        *out = (UfPlanePoint){lens->focal_mm * at.x, lens->focal_mm * at.y};
        return true;
    }
    double across = hypot(direction.x, direction.y);
    double radius_mm = lens->focal_mm * uf_polynomial_radius(lens->k, atan2(across, direction.z));
    double scale = across > 0 ? radius_mm / across : 0;
    *out = (UfPlanePoint){direction.x * scale, direction.y * scale};
    return true;
}

bool uf_lens_radius_mm(const UfLens *lens, double angle_rad, double *radius_mm)
{
    UfPlanePoint at;
    if (!(angle_rad >= 0) || !(angle_rad <= uf_lens_limit_rad(lens)))
        return false;
    if (lens->mapping == UF_MAPPING_POLYNOMIAL)
        at = (UfPlanePoint){lens->focal_mm * uf_polynomial_radius(lens->k, angle_rad), 0};
    else if (!uf_lens_image_mm(lens, (UfDirection){sin(angle_rad), 0, cos(angle_rad)}, &at))
        return false;
    *radius_mm = hypot(at.x, at.y);
    return true;
}

bool uf_lens_angle_rad(const UfLens *lens, double radius_mm, double *angle_rad)
{
    double radius = radius_mm / lens->focal_mm;
    double limit = uf_lens_limit_rad(lens);
    double angle = 0;
    UfDirection direction;
    if (!(radius >= 0))
        return false;
    if (lens->mapping == UF_MAPPING_POLYNOMIAL) {
        double whole = uf_polynomial_limit_rad(lens->k);
        if (radius > uf_polynomial_radius(lens->k, whole))
            return false;
        angle = uf_polynomial_angle_rad(lens->k, whole, radius);
    } else {
        if (!uf_unproject(mappings[lens->mapping].projection, (UfPlanePoint){radius, 0}, &direction))
            return false;
        angle = atan2(hypot(direction.x, direction.y), direction.z);
    }
    if (angle > limit)
        return false;
    *angle_rad = angle;
    return true;
}

bool uf_lens_field_rad(const UfLens *lens, double length_mm, double *field_rad)
{
    double half = 0;
    if (uf_lens_angle_rad(lens, length_mm / 2, &half)) {
        *field_rad = 2 * half;
        return true;
    }
    if (!(lens->reach_rad > 0))
        return false;
    *field_rad = 2 * uf_lens_limit_rad(lens);
    return true;
}

UfField uf_camera_field(const UfCamera *camera)
{
    double across = camera->portrait ? camera->sensor_short_mm : camera->sensor_long_mm;
    double down = camera->portrait ? camera->sensor_long_mm : camera->sensor_short_mm;
    UfField field = {0};
    uf_lens_field_rad(&camera->lens, across, &field.across_rad);
    uf_lens_field_rad(&camera->lens, down, &field.down_rad);
    uf_lens_field_rad(&camera->lens, hypot(across, down), &field.diagonal_rad);
    return field;
}

size_t uf_camera_native_width_px(const UfCamera *camera)
{
    double width = 2 * UF_PI * camera->lens.focal_mm * (double)camera->long_px / camera->sensor_long_mm;
    return 2 * (size_t)fmax(1, round(width / 2));
}
