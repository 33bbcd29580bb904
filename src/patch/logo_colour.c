/*
 * A logo in the panorama's colours, with enough bits: 16 for a panorama with more than 8. A float panorama
 * without a profile holds linear light, which no integer samples hold well; there the logo becomes float, by
 * way of sRGB.
 */
#include "base/memory.h"
#include "base/report.h"
#include "patch/over.h"
#include "patch/rows.h"
#include "picture/colour.h"

/* `from` with another sample type; profile and alpha stay. `decode` NULL: the values stay. */
static UfStatus with_samples(const UfPicture *from, UfSample sample, const UfTransfer *decode,
                             UfPicture **out, UfReport *report)
{
    UfPicture *to = NULL;
    size_t width = uf_picture_width_px(from);
    size_t height = uf_picture_height_px(from);
    size_t values = width * uf_colour_channels(from);
    float *colour = uf_alloc(values, sizeof *colour);
    float *alpha = uf_alloc(width, sizeof *alpha);
    UfStatus status = UF_OK;
    if (colour == NULL || alpha == NULL)
        status = uf_fail_memory(report);
    else
        status = uf_picture_create(width, height, uf_picture_channels(from), sample, &to, report);
    if (status == UF_OK && decode == NULL)
        status = uf_picture_copy_metadata(from, to, report);
    for (size_t y = 0; status == UF_OK && y < height; y++) {
        uf_row_load(from, y, colour, alpha);
        for (size_t i = 0; decode != NULL && i < values; i++)
            colour[i] = uf_transfer_to_linear(decode, colour[i]);
        uf_row_store(to, y, colour, alpha);
    }
    free(colour);
    free(alpha);
    if (status == UF_OK)
        *out = to;
    else
        uf_picture_free(&to);
    return status;
}

/* Logo to linear sRGB in float. */
static UfStatus to_linear_float(const UfPicture *logo, const UfPicture *panorama, UfPicture **out,
                                UfReport *report)
{
    UfPicture *srgb_like = NULL, *srgb = NULL;
    UfTransfer *curve = NULL;
    UfStatus status =
        uf_picture_create(1, 1, uf_colour_channels(panorama), UF_SAMPLE_U16, &srgb_like, report);
    if (status == UF_OK)
        status = uf_colour_convert(logo, srgb_like, &srgb, report);
    if (status == UF_OK)
        status = uf_transfer_create(srgb_like, &curve, report);
    if (status == UF_OK)
        status = with_samples(srgb, UF_SAMPLE_F32, curve, out, report);
    uf_transfer_free(&curve);
    uf_picture_free(&srgb);
    uf_picture_free(&srgb_like);
    return status;
}

UfStatus uf_logo_colours(const UfPicture *logo, const UfPicture *panorama, UfPicture **out, UfReport *report)
{
    UfSample sample = uf_picture_sample(panorama);
    bool is_integer = uf_picture_sample(logo) != UF_SAMPLE_F32;
    UfPicture *deep = NULL;
    if (sample == UF_SAMPLE_U8 && is_integer)
        return uf_colour_convert(logo, panorama, out, report);
    UfStatus status = UF_OK;
    if (uf_picture_sample(logo) == UF_SAMPLE_U8) {
        status = with_samples(logo, UF_SAMPLE_U16, NULL, &deep, report);
        logo = deep;
    }
    if (status == UF_OK && sample == UF_SAMPLE_F32 && is_integer && uf_picture_icc(panorama).size_bytes == 0)
        status = to_linear_float(logo, panorama, out, report);
    else if (status == UF_OK)
        status = uf_colour_convert(logo, panorama, out, report);
    uf_picture_free(&deep);
    return status;
}
