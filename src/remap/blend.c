/* The scalar blending kernel, and the choice among the variants. */
#include "remap/blend.h"

#include "base/cpu.h"

UF_INLINE void add_place(const UfWindow *window, const UfBlendTaps *taps, size_t i, size_t channels,
                         UfSample kept, float *sums)
{
    for (size_t k = 0; k < UF_SPLINE_TAPS * channels; k++) {
        float column = taps->wy[0][i] * uf_plain_load(window->base, k, kept);
        for (size_t r = 1; r < UF_SPLINE_TAPS; r++)
            column += taps->wy[r][i] * uf_plain_load(window->base + r * window->stride_bytes, k, kept);
        sums[k] += column * taps->wx[k / channels][i];
    }
}

/* The range of what is there: colours where alpha is above 0, alpha everywhere. */
UF_INLINE void add_range(const UfSource *source, ptrdiff_t x, ptrdiff_t y, size_t channels, UfSample sample,
                         UfGathered *out)
{
    const bool has_alpha = channels % 2 == 0;
    const ptrdiff_t apart = uf_blend_spread(source, y);
    for (int n = 0; n < UF_SHARP_NEAR * UF_SHARP_NEAR; n++) {
        UfWindowRoom room;
        const UfWindow pixel = uf_window_at(source, x + (n % UF_SHARP_NEAR - 1) * apart,
                                            y + n / UF_SHARP_NEAR - 1, 1, channels, sample, &room);
        const bool seen = !has_alpha || uf_plain_load(pixel.base, channels - 1, sample) > 0;
        for (size_t c = seen ? 0 : channels - 1; c < channels; c++) {
            const float value = uf_plain_load(pixel.base, c, sample);
            out->lowest[c] = value < out->lowest[c] ? value : out->lowest[c];
            out->highest[c] = value > out->highest[c] ? value : out->highest[c];
        }
    }
}

UF_INLINE float value_of(const float *sums, size_t c, size_t channels, UfSample kept)
{
    const float even = (sums[c] + sums[2 * channels + c]) + sums[4 * channels + c];
    const float odd = (sums[channels + c] + sums[3 * channels + c]) + sums[5 * channels + c];
    return uf_sharp_value(even + odd, kept);
}

UF_INLINE bool gather(const UfSource *source, const UfBlendTaps *taps, size_t count, size_t channels,
                      UfSample sample, UfGathered *out)
{
    const UfSample kept = uf_spline_sample(sample, channels);
    const UfFootprintPlaces *at = &taps->places;
    float sums[UF_SPLINE_TAPS * UF_CHANNELS_MAX] = {0};
    for (size_t c = 0; c < channels; c++) {
        out->lowest[c] = INFINITY;
        out->highest[c] = -INFINITY;
    }
    for (size_t i = 0; i < count; i++) {
        UfWindowRoom room;
        const UfWindow window =
            uf_window_at(source->spline, at->x[i] - 2, at->y[i] - 2, UF_SPLINE_TAPS, channels, kept, &room);
        add_place(&window, taps, i, channels, kept, sums);
        if (at->weights[i] > 0)
            add_range(source, at->x[i], at->y[i], channels, sample, out);
    }
    for (size_t c = 0; c < channels; c++)
        out->values[c] = value_of(sums, c, channels, kept);
    return true;
}

UF_BLEND_DEFINE_ALL()
static const UfBlendTable scalar = UF_BLEND_TABLE;

UfBlend *uf_blend_of(UfSample sample, size_t channels, bool adds_alpha, unsigned cpu_flags)
{
    const UfBlendTable *table = &scalar;
#if defined(__x86_64__)
    if (cpu_flags & UF_CPU_AVX2)
        table = &uf_blend_avx2;
#else
    (void)cpu_flags;
#endif
    return (*table)[uf_table_row(sample)][channels - 1][adds_alpha];
}
