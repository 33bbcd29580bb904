/*
 * Colour: transfer curves to linear light, and conversion between profiles (lcms2).
 * A picture without a profile is taken as sRGB (IEC 61966-2-1); float pictures without one as linear light.
 */
#ifndef UF_PICTURE_COLOUR_H
#define UF_PICTURE_COLOUR_H

#include <underfoot/picture.h>

/* The curve between stored samples (0..1) and linear light (0..1). Opaque, immutable: share it between
 * threads. */
typedef struct UfTransfer UfTransfer;

/* From the picture's profile: its (green) tone curve, or the sRGB curve. On success the caller owns *out. */
UfStatus uf_transfer_create(const UfPicture *picture, UfTransfer **out, UfReport *report);
void uf_transfer_free(UfTransfer **transfer);
/* Tables of 256 (U8) and 65536 (U16) entries from the stored code to linear light; NULL when it is linear. */
const float *uf_transfer_table_u8(const UfTransfer *transfer);
const float *uf_transfer_table_u16(const UfTransfer *transfer);
/* value is stored/max; accurate to 1e-5; works on any float, odd about 0 */
float uf_transfer_to_linear(const UfTransfer *transfer, float value);
float uf_transfer_from_linear(const UfTransfer *transfer, float value);
/* The same for `count` values; `out` may be `values`. */
void uf_transfer_row_to_linear(const UfTransfer *transfer, const float *values, size_t count, float *out);
void uf_transfer_row_from_linear(const UfTransfer *transfer, const float *values, size_t count, float *out);

/*
 * From linear light to what is stored, for samples of whole numbers: held to 0..1, quick, and within an
 * eighth of a code of 16 bits of uf_transfer_from_linear, except in the dark of curves without a straight
 * part there, and where a curve jumps. The error is that of straight lines, 128 to an octave of light.
 */
void uf_transfer_row_stored(const UfTransfer *transfer, const float *light, size_t count, float *out);

/* Gives `to` the profile of `from`, or takes its profile away when `from` has none. */
UfStatus uf_colour_copy_profile(const UfPicture *from, UfPicture *to, UfReport *report);

/*
 * `picture` in the colour space of `like` (its profile, or sRGB): same size, profile of `like` attached,
 * channels grey or RGB as `like`, alpha kept. The sample type stays, except that it is float exactly when
 * `like` is float (F32 becomes U16): without a profile that decides between linear light and sRGB. Relative
 * colorimetric with black point compensation. On success the caller owns *out.
 */
UfStatus uf_colour_convert(const UfPicture *picture, const UfPicture *like, UfPicture **out,
                           UfReport *report);
/* An sRGB colour (encoded, 0..1) in the stored values (0..1) of `like`: 1 value for grey, 3 for RGB. */
UfStatus uf_colour_of_srgb(const double srgb[3], const UfPicture *like, double *values, UfReport *report);

#endif
