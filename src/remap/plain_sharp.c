/* The scalar sharp kernel for plain tiles. */
#include "remap/plain_sharp.h"

#include <math.h>

UF_INLINE void hold(const uint8_t *pixel, ptrdiff_t stride, ptrdiff_t apart, size_t channels, UfSample sample,
                    float *values)
{
    const ptrdiff_t step = apart * (ptrdiff_t)(channels * (size_t)sample);
    for (size_t c = 0; c < channels; c++) {
        float lowest = INFINITY, highest = -INFINITY;
        for (int r = -1; r < UF_SHARP_NEAR - 1; r++)
            for (int k = -1; k < UF_SHARP_NEAR - 1; k++) {
                float value = uf_plain_load(pixel + r * stride + k * step, c, sample);
                lowest = value < lowest ? value : lowest;
                highest = value > highest ? value : highest;
            }
        float slack = UF_SHARP_SLACK * (highest - lowest);
        lowest -= slack;
        highest += slack;
        float value = values[c] > lowest ? values[c] : lowest;
        values[c] = value < highest ? value : highest;
    }
}

UF_INLINE void spline_at(const uint8_t *at, ptrdiff_t stride, const UfSharpTaps *w, size_t i, size_t channels,
                         UfSample kept, float *values)
{
    for (size_t c = 0; c < channels; c++) {
        float columns[UF_SPLINE_TAPS];
        for (size_t k = 0; k < UF_SPLINE_TAPS; k++) {
            columns[k] = w->wy[0][i] * uf_plain_load(at, k * channels + c, kept);
            for (int r = 1; r < UF_SPLINE_TAPS; r++)
                columns[k] += w->wy[r][i] * uf_plain_load(at + r * stride, k * channels + c, kept);
            columns[k] *= w->wx[k][i];
        }
        float value = ((columns[0] + columns[2]) + columns[4]) + ((columns[1] + columns[3]) + columns[5]);
        if (kept == UF_SAMPLE_U16)
            value = (value - UF_SPLINE_CODE_ZERO) * UF_SHARP_CODE_STEP + UF_SPLINE_CODE_GREY;
        values[c] = value;
    }
}

UF_INLINE void fill_sharply(const UfSource *source, const UfTile *tile, size_t width, size_t height,
                            uint8_t *out, size_t stride_bytes, size_t channels, UfSample sample,
                            bool adds_alpha)
{
    const UfSample kept = uf_spline_sample(sample, channels);
    const UfSharpBase base = uf_sharp_base(source, tile, channels, sample);
    const size_t pixel_bytes = channels * (size_t)sample,
                 out_bytes = pixel_bytes + adds_alpha * (size_t)sample;
    UfSharpTaps w;
    for (size_t y = 0; y < height; y++) {
        UfTileRow row = uf_tile_row(tile, y);
        uint8_t *to = out + y * stride_bytes;
        uf_sharp_taps(&row, &w);
        for (size_t i = 0; i < width; i++, to += out_bytes) {
            const uint8_t *pixel = base.pixels + w.y[i] * base.stride_bytes + w.x[i] * (ptrdiff_t)pixel_bytes;
            if (w.off[i] == 0) {
                uf_copy_pixel(pixel, channels, sample, adds_alpha, to);
                continue;
            }
            float values[UF_CHANNELS_MAX];
            spline_at(base.coefficients + (w.y[i] - 2) * base.coefficients_stride_bytes +
                          (w.x[i] - 2) * (ptrdiff_t)(channels * (size_t)kept),
                      base.coefficients_stride_bytes, &w, i, channels, kept, values);
            hold(pixel, base.stride_bytes, uf_spread_at(source, tile->base_v + w.y[i]), channels, sample,
                 values);
            for (size_t c = 0; c < channels; c++)
                uf_plain_store(to + c * (size_t)sample, values[c], sample);
            if (adds_alpha)
                uf_plain_store(to + pixel_bytes, (float)uf_sample_max(sample), sample);
        }
    }
}

UF_SHARP_DEFINE_ALL()
const UfPlainTable uf_plain_sharp = UF_SHARP_TABLE;
