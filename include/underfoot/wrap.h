/*
 * Back to equirectangular: six cube faces, or any single view of the sphere.
 *
 * Faces are put together before they are sampled: each gets a border of pixels from its neighbours, in its
 * own plane, so that interpolation and averages run across the edges of the cube as if there were none.
 */
#ifndef UNDERFOOT_WRAP_H
#define UNDERFOOT_WRAP_H

#include <underfoot/api.h>
#include <underfoot/home.h>
#include <underfoot/picture.h>
#include <underfoot/remap.h>

UF_API_BEGIN

/* Width of the panorama that faces of that size hold in full: pi times the side, to the nearest even number.
 */
size_t uf_wrap_width_px(size_t face_px);

/*
 * The panorama of six faces, `width_px` wide (even). A NULL face is missing: its directions are transparent,
 * and the result has an alpha channel, and there is a warning. One face must be there; all that are must be
 * square and of one size. They may differ in depth, alpha and profile: the result has the deepest sample
 * type, alpha when any has it, and the profile of the first of the deepest, into which the others are
 * converted, with a warning. options->with_alpha asks for alpha in any case. NULL options mean the defaults.
 * On success the caller owns *out.
 */
UfStatus uf_wrap_faces(const UfPicture *const faces[UF_FACE_COUNT], size_t width_px,
                       const UfRemapOptions *options, UfPicture **out, UfReport *report);
/*
 * The same of one view (a planet, for one), always with alpha: directions that it does not show are
 * transparent.
 */
UfStatus uf_wrap_view(const UfPicture *picture, const UfView *view, size_t width_px,
                      const UfRemapOptions *options, UfPicture **out, UfReport *report);

/*
 * Do faces of these addresses (where `known`) belong in their places? A face of another place is refused;
 * faces of different panoramas are a warning.
 */
UfStatus uf_wrap_check_homes(const UfHome homes[UF_FACE_COUNT], const bool known[UF_FACE_COUNT],
                             UfReport *report);
/*
 * Gives the panorama the metadata of a picture that it was made from, less the home address, and the Photo
 * Sphere fields of a full sphere. Its profile stays.
 */
UfStatus uf_wrap_dress(UfPicture *panorama, const UfPicture *from, UfReport *report);

/*
 * Copies a face out of a STRIP or CROSS; UF_ERROR_ARGUMENT when the picture does not have that shape. The
 * alpha of a cross, which is there for what lies beside its arms, is left behind where the face is opaque.
 */
UfStatus uf_wrap_cut(const UfPicture *sheet, UfHomeKind kind, UfFace face, UfPicture **out, UfReport *report);

/* The share of the sphere, in percent, that is transparent altogether in an equirectangular picture. */
double uf_wrap_unseen_percent(const UfPicture *panorama);

UF_API_END
#endif
