/* The scalar kernels for plain tiles, and the choice among the variants. */
#include "remap/plain.h"

#include "base/cpu.h"
#include "remap/plain_bytes.h"
#include "remap/plain_taps.h"
#include "remap/sharp.h"

/* Whole vectors are read: up to 64 bytes from a row's first tap, which must not leave the picture below. */
#define ROW_BYTES_LEAST 64

/* The spline's taps in floats, and those of a vector beyond them. */
#define SPLINE_ROW_BYTES_LEAST 128

static bool stride_holds(size_t stride_bytes, const UfTile *tile, size_t least)
{
    return stride_bytes >= least && stride_bytes < (size_t)INT32_MAX / (size_t)(tile->reach_v + 4);
}

/* The pixels around a place may be looked at far apart. */
static bool spread_holds(const UfSource *source, const UfTile *tile)
{
    ptrdiff_t top = uf_spread_at(source, tile->base_v),
              bottom = uf_spread_at(source, tile->base_v + tile->reach_v);
    ptrdiff_t apart = top > bottom ? top : bottom;
    return tile->base_u >= apart && tile->base_u + tile->reach_u + 2 * apart + 2 <= source->width_px;
}

bool uf_plain_holds(const UfSource *source, const UfTile *tile)
{
    if (tile->base_u < 1 || tile->base_v < 1 || tile->base_u + tile->reach_u + 3 > source->width_px ||
        tile->base_v + tile->reach_v + 4 > source->height_px ||
        !stride_holds(source->stride_bytes, tile, ROW_BYTES_LEAST))
        return false;
    return source->spline == NULL ||
           (stride_holds(source->spline->stride_bytes, tile, SPLINE_ROW_BYTES_LEAST) &&
            spread_holds(source, tile));
}

UF_INLINE bool is_opaque(const uint8_t *at, size_t stride_bytes, int taps, size_t channels, UfSample sample)
{
    bool opaque = true;
    for (size_t r = 0; r < (size_t)taps; r++)
        for (size_t k = 0; k < (size_t)taps; k++)
            opaque = opaque && uf_plain_load(at + r * stride_bytes, k * channels + channels - 1, sample) ==
                                   (float)uf_sample_max(sample);
    return opaque;
}

UF_INLINE void fill_pixel(const uint8_t *at, size_t stride, const UfTaps *w, size_t i, int taps,
                          size_t channels, size_t colours, UfSample sample, uint8_t *out)
{
    float columns[4 * UF_CHANNELS_MAX];
    const size_t count = (size_t)taps * channels;
    for (size_t k = 0; k < count; k++) {
        columns[k] =
            w->wy[0][i] * uf_plain_load(at, k, sample) + w->wy[1][i] * uf_plain_load(at + stride, k, sample);
        if (taps == 4) {
            columns[k] += w->wy[2][i] * uf_plain_load(at + 2 * stride, k, sample);
            columns[k] += w->wy[3][i] * uf_plain_load(at + 3 * stride, k, sample);
        }
    }
    for (size_t c = 0; c < colours; c++) {
        /* cppcheck-suppress uninitvar ; there is at least one column */
        float first = w->wx[0][i] * columns[c], second = w->wx[1][i] * columns[channels + c];
        if (taps == 4) {
            first += w->wx[2][i] * columns[2 * channels + c];
            second += w->wx[3][i] * columns[3 * channels + c];
        }
        uf_plain_store(out + c * (size_t)sample, first + second, sample);
    }
}

UF_INLINE void fill_tile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height, uint8_t *out,
                         size_t stride_bytes, int taps, size_t channels, UfSample sample, bool adds_alpha)
{
    const bool has_alpha = channels % 2 == 0;
    const size_t stride = plain->source->stride_bytes, pixel_bytes = channels * (size_t)sample;
    const size_t out_bytes = pixel_bytes + adds_alpha * (size_t)sample;
    const uint8_t *base =
        plain->source->data + (size_t)tile->base_v * stride + (size_t)tile->base_u * pixel_bytes;
    UfTileRows rows;
    UfTaps w;
    uf_tile_rows(tile, &rows);
    for (size_t y = 0; y < height; y++) {
        uint8_t *to = out + y * stride_bytes;
        uf_plain_taps(&rows, y, taps, (int32_t)stride, (int32_t)pixel_bytes, &w);
        for (size_t i = 0; i < width; i++, to += out_bytes) {
            const uint8_t *at = base + w.offset[i];
            if (has_alpha && !is_opaque(at, stride, taps, channels, sample)) {
                uf_plain_exact(plain, tile, i, y, to);
                continue;
            }
            fill_pixel(at, stride, &w, i, taps, channels, channels - has_alpha, sample, to);
            if (has_alpha || adds_alpha)
                uf_plain_store(to + out_bytes - (size_t)sample, (float)uf_sample_max(sample), sample);
        }
    }
}

UF_PLAIN_DEFINE_ALL(, 2)
UF_PLAIN_DEFINE_ALL(, 4)
static const UfPlainTable bilinear = UF_PLAIN_TABLE(2);
static const UfPlainTable bicubic = UF_PLAIN_TABLE(4);

static const UfPlainTable *table_of(UfSampling sampling, unsigned cpu_flags)
{
    const bool cubic = sampling == UF_SAMPLING_BICUBIC, sharp = sampling == UF_SAMPLING_SHARP;
#if defined(__x86_64__)
    if (cubic && cpu_flags & UF_CPU_AVX512)
        return &uf_plain_bicubic_avx512;
    if (cpu_flags & UF_CPU_AVX2)
        return sharp ? &uf_plain_sharp_avx2 : cubic ? &uf_plain_bicubic_avx2 : &uf_plain_bilinear_avx2;
#else
    (void)cpu_flags;
#endif
    return sharp ? &uf_plain_sharp : cubic ? &bicubic : &bilinear;
}

static const UfPlainByteTable *byte_table_of(unsigned cpu_flags)
{
#if defined(__x86_64__)
    if (cpu_flags & UF_CPU_AVX2)
        return &uf_plain_bytes_avx2;
#else
    (void)cpu_flags;
#endif
    return &uf_plain_bytes;
}

UfPlainTile *uf_plain_tile(UfSampling sampling, UfSample sample, size_t channels, bool adds_alpha,
                           unsigned cpu_flags)
{
    if (sampling == UF_SAMPLING_NEAREST)
        return NULL;
    if (sample == UF_SAMPLE_U8 && sampling != UF_SAMPLING_SHARP)
        return (*byte_table_of(cpu_flags))[sampling == UF_SAMPLING_BICUBIC][channels - 1][adds_alpha];
    return (*table_of(sampling, cpu_flags))[uf_table_row(sample)][channels - 1][adds_alpha];
}
