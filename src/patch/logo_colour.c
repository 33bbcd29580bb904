/* A logo in the panorama's colours, with enough bits: 8-bit logos get 16 when the panorama has more than 8.
 */
#include "base/memory.h"
#include "base/report.h"
#include "patch/over.h"
#include "patch/rows.h"
#include "picture/colour.h"

/* The same values in 16 bits. */
static UfStatus deepened(const UfPicture *from, UfPicture **out, UfReport *report)
{
    UfPicture *to = NULL;
    size_t width = uf_picture_width_px(from);
    size_t height = uf_picture_height_px(from);
    float *colour = uf_alloc(width * uf_colour_channels(from), sizeof *colour);
    float *alpha = uf_alloc(width, sizeof *alpha);
    UfStatus status = colour == NULL || alpha == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK)
        status = uf_picture_create(width, height, uf_picture_channels(from), UF_SAMPLE_U16, &to, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(from, to, report);
    for (size_t y = 0; status == UF_OK && y < height; y++) {
        uf_row_load(from, y, colour, alpha);
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

UfStatus uf_logo_colours(const UfPicture *logo, const UfPicture *panorama, UfPicture **out, UfReport *report)
{
    if (uf_picture_sample(panorama) == UF_SAMPLE_U8 || uf_picture_sample(logo) != UF_SAMPLE_U8)
        return uf_colour_convert(logo, panorama, out, report);
    UfPicture *deep = NULL;
    UfStatus status = deepened(logo, &deep, report);
    if (status == UF_OK)
        status = uf_colour_convert(deep, panorama, out, report);
    uf_picture_free(&deep);
    return status;
}
