/* What differs between an edited picture and the one made anew. */
#include "putback/part.h"

#include "base/memory.h"
#include "remap/window.h"

void uf_part_clear(UfPart *part)
{
    uf_picture_free(&part->owned);
    uf_picture_free(&part->anew);
    free(part->weight);
    *part = (UfPart){0};
}

size_t uf_part_width_px(const UfPart *part)
{
    return uf_picture_width_px(part->anew);
}

size_t uf_part_height_px(const UfPart *part)
{
    return uf_picture_height_px(part->anew);
}

size_t uf_part_colours(const UfPart *part)
{
    return uf_picture_channels(part->anew) <= 2 ? 1 : 3;
}

/* A pixel's colours in codes, and its alpha, 0..1; 1 when there is none. */
typedef struct Pixel {
    double colour[3], alpha;
} Pixel;

UF_INLINE Pixel pixel_load(const uint8_t *at, size_t colours, bool has_alpha, UfSample sample)
{
    Pixel pixel = {.alpha = 1};
    for (size_t c = 0; c < colours; c++)
        pixel.colour[c] = uf_sample_load(at + c * (size_t)sample, sample);
    if (has_alpha)
        pixel.alpha = uf_sample_load(at + colours * (size_t)sample, sample) / uf_sample_max(sample);
    return pixel;
}

static const uint8_t *pixel_at(const UfPicture *picture, size_t x, size_t y)
{
    const uint8_t *row = uf_picture_row_const(picture, y);
    return row + x * uf_picture_channels(picture) * (size_t)uf_picture_sample(picture);
}

UF_INLINE void difference_run(const uint8_t *edited, bool edited_alpha, const uint8_t *anew, bool anew_alpha,
                              size_t colours, UfSample sample, size_t count, float *out)
{
    const double unit = 1 / uf_sample_max(sample);
    for (size_t i = 0; i < count; i++, out += colours + 1) {
        Pixel e = pixel_load(edited, colours, edited_alpha, sample);
        Pixel r = pixel_load(anew, colours, anew_alpha, sample);
        if (!edited_alpha) /* it says nothing of transparency, and its colour there is made up */
            e.alpha = r.alpha;
        double rest = r.alpha > e.alpha ? r.alpha - e.alpha : 0;
        for (size_t c = 0; c < colours; c++)
            out[c] = (float)((e.alpha * e.colour[c] + rest * r.colour[c] - r.alpha * r.colour[c]) * unit);
        out[colours] = (float)(e.alpha > r.alpha ? e.alpha - r.alpha : 0);
        edited += (colours + edited_alpha) * (size_t)sample;
        anew += (colours + anew_alpha) * (size_t)sample;
    }
}

void uf_part_difference(const UfPart *part, size_t y_px, size_t x0_px, size_t x1_px, float *out)
{
    const uint8_t *e = pixel_at(part->edited, x0_px, y_px), *r = pixel_at(part->anew, x0_px, y_px);
    bool e_alpha = uf_picture_has_alpha(part->edited), r_alpha = uf_picture_has_alpha(part->anew);
    size_t colours = uf_part_colours(part), count = x1_px - x0_px;
    switch (uf_picture_sample(part->anew)) {
    case UF_SAMPLE_U8:
        difference_run(e, e_alpha, r, r_alpha, colours, UF_SAMPLE_U8, count, out);
        return;
    case UF_SAMPLE_U16:
        difference_run(e, e_alpha, r, r_alpha, colours, UF_SAMPLE_U16, count, out);
        return;
    case UF_SAMPLE_F32:
        difference_run(e, e_alpha, r, r_alpha, colours, UF_SAMPLE_F32, count, out);
        return;
    }
}

void uf_part_anew(const UfPart *part, size_t y_px, size_t x0_px, size_t x1_px, float *out)
{
    UfSample sample = uf_picture_sample(part->anew);
    size_t colours = uf_part_colours(part);
    bool has_alpha = uf_picture_has_alpha(part->anew);
    const uint8_t *at = pixel_at(part->anew, x0_px, y_px);
    const double unit = 1 / uf_sample_max(sample);
    for (size_t x = x0_px; x < x1_px; x++, out += colours + 1) {
        Pixel r = pixel_load(at, colours, has_alpha, sample);
        for (size_t c = 0; c < colours; c++)
            out[c] = (float)(r.alpha * r.colour[c] * unit);
        out[colours] = (float)r.alpha;
        at += (colours + has_alpha) * (size_t)sample;
    }
}
