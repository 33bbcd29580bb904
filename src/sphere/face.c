/*
 * Cube faces: 90 degree rectilinear views. Order of ties as in the tangential spherical cube (TSC) of M. R.
 * Calabretta and E. W. Greisen, Representations of celestial coordinates in FITS (WCS Paper II), A&A 395,
 * 1077-1122 (2002).
 */
#include <underfoot/sphere.h>

#include <math.h>
#include <string.h>

static const char *const names[UF_FACE_COUNT] = {
    [UF_FACE_FRONT] = "front", [UF_FACE_RIGHT] = "right", [UF_FACE_BACK] = "back",
    [UF_FACE_LEFT] = "left",   [UF_FACE_UP] = "up",       [UF_FACE_DOWN] = "down",
};

/* Written out, so that quarter turns are exact. */
static const UfRotation rotations[UF_FACE_COUNT] = {
    [UF_FACE_FRONT] = {{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
    [UF_FACE_RIGHT] = {{{0, 0, 1}, {0, 1, 0}, {-1, 0, 0}}},
    [UF_FACE_BACK] = {{{-1, 0, 0}, {0, 1, 0}, {0, 0, -1}}},
    [UF_FACE_LEFT] = {{{0, 0, -1}, {0, 1, 0}, {1, 0, 0}}},
    [UF_FACE_UP] = {{{1, 0, 0}, {0, 0, 1}, {0, -1, 0}}},
    [UF_FACE_DOWN] = {{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}},
};

const char *uf_face_name(UfFace face)
{
    return (unsigned)face < UF_FACE_COUNT ? names[face] : NULL;
}

bool uf_face_from_name(const char *name, UfFace *out)
{
    for (unsigned face = 0; face < UF_FACE_COUNT; face++)
        if (strcmp(name, names[face]) == 0) {
            *out = (UfFace)face;
            return true;
        }
    return false;
}

UfRotation uf_face_rotation(UfFace face)
{
    return (unsigned)face < UF_FACE_COUNT ? rotations[face] : rotations[UF_FACE_FRONT];
}

UfFace uf_face_of_direction(UfDirection direction, UfPlanePoint *out)
{
    static const UfFace order[UF_FACE_COUNT] = {UF_FACE_UP,   UF_FACE_FRONT, UF_FACE_RIGHT,
                                                UF_FACE_BACK, UF_FACE_LEFT,  UF_FACE_DOWN};
    const double along[UF_FACE_COUNT] = {
        [UF_FACE_FRONT] = direction.z, [UF_FACE_RIGHT] = direction.x, [UF_FACE_BACK] = -direction.z,
        [UF_FACE_LEFT] = -direction.x, [UF_FACE_UP] = direction.y,    [UF_FACE_DOWN] = -direction.y,
    };
    UfFace face = order[0];
    for (unsigned i = 1; i < UF_FACE_COUNT; i++)
        if (along[order[i]] > along[face])
            face = order[i];
    UfRotation into_camera = uf_rotation_inverse(&rotations[face]);
    UfDirection seen = uf_rotation_apply(&into_camera, direction);
    *out = (UfPlanePoint){seen.x / seen.z, seen.y / seen.z};
    return face;
}

size_t uf_face_full_size_px(size_t panorama_width_px)
{
    double side_px = floor((double)panorama_width_px / UF_PI + 0.5);
    return side_px < 1 ? 1 : (size_t)side_px;
}
