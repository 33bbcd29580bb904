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

/* The same of opaque pictures. */
UF_INLINE void opaque_difference_run(const uint8_t *edited, const uint8_t *anew, size_t colours,
                                     UfSample sample, size_t count, float *out)
{
    const double unit = 1 / uf_sample_max(sample);
    for (size_t i = 0; i < count; i++, out += colours + 1) {
        for (size_t c = 0; c < colours; c++)
            out[c] = (float)((uf_sample_load(edited + c * (size_t)sample, sample) -
                              uf_sample_load(anew + c * (size_t)sample, sample)) *
                             unit);
        out[colours] = 0;
        edited += colours * (size_t)sample;
        anew += colours * (size_t)sample;
    }
}

static void opaque_difference(const uint8_t *edited, const uint8_t *anew, size_t colours, UfSample sample,
                              size_t count, float *out)
{
    if (sample == UF_SAMPLE_U8 && colours == 3)
        opaque_difference_run(edited, anew, 3, UF_SAMPLE_U8, count, out);
    else if (sample == UF_SAMPLE_U8)
        opaque_difference_run(edited, anew, colours, UF_SAMPLE_U8, count, out);
    else if (sample == UF_SAMPLE_U16)
        opaque_difference_run(edited, anew, colours, UF_SAMPLE_U16, count, out);
    else
        opaque_difference_run(edited, anew, colours, UF_SAMPLE_F32, count, out);
}

void uf_part_difference(const UfPart *part, size_t y_px, size_t x0_px, size_t x1_px, float *out)
{
    const uint8_t *e = pixel_at(part->edited, x0_px, y_px), *r = pixel_at(part->anew, x0_px, y_px);
    bool e_alpha = uf_picture_has_alpha(part->edited), r_alpha = uf_picture_has_alpha(part->anew);
    size_t colours = uf_part_colours(part), count = x1_px - x0_px;
    if (!e_alpha && !r_alpha) {
        opaque_difference(e, r, colours, uf_picture_sample(part->anew), count, out);
        return;
    }
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

UF_INLINE void anew_run(const uint8_t *at, size_t colours, bool has_alpha, UfSample sample, size_t count,
                        float *out)
{
    const double unit = 1 / uf_sample_max(sample);
    for (size_t i = 0; i < count; i++, out += colours + 1) {
        Pixel r = pixel_load(at, colours, has_alpha, sample);
        for (size_t c = 0; c < colours; c++)
            out[c] = (float)(r.alpha * r.colour[c] * unit);
        out[colours] = (float)r.alpha;
        at += (colours + has_alpha) * (size_t)sample;
    }
}

void uf_part_anew(const UfPart *part, size_t y_px, size_t x0_px, size_t x1_px, float *out)
{
    const size_t colours = uf_part_colours(part), count = x1_px - x0_px;
    const bool has_alpha = uf_picture_has_alpha(part->anew);
    const uint8_t *at = pixel_at(part->anew, x0_px, y_px);
    switch (uf_picture_sample(part->anew)) {
    case UF_SAMPLE_U8:
        if (colours == 3 && !has_alpha)
            anew_run(at, 3, false, UF_SAMPLE_U8, count, out);
        else
            anew_run(at, colours, has_alpha, UF_SAMPLE_U8, count, out);
        return;
    case UF_SAMPLE_U16:
        anew_run(at, colours, has_alpha, UF_SAMPLE_U16, count, out);
        return;
    case UF_SAMPLE_F32:
        anew_run(at, colours, has_alpha, UF_SAMPLE_F32, count, out);
        return;
    }
}
