/*
 * The scalar kernels. Each is written once for all sample types and channel counts, as a function that is
 * always inlined with constant arguments; the table at the end names the ready ones.
 */
#include "remap/kernels.h"

#include <math.h>

#include "remap/pixel.h"
#include "remap/sharp.h"

UF_INLINE void keys_weights(double t, double weights[4])
{
    double t2 = t * t, t3 = t2 * t;
    weights[0] = -0.5 * t3 + t2 - 0.5 * t;
    weights[1] = 1.5 * t3 - 2.5 * t2 + 1;
    weights[2] = -1.5 * t3 + 2 * t2 + 0.5 * t;
    weights[3] = 0.5 * t3 - 0.5 * t2;
}

void uf_keys_weights(double t, double weights[4])
{
    keys_weights(t, weights);
}

UF_INLINE void tap_weights(double t, int taps, double *weights)
{
    if (taps == 4) {
        keys_weights(t, weights);
        return;
    }
    weights[0] = 1 - t;
    weights[1] = t;
    weights[2] = weights[3] = 0;
}

/* Where the taps of one place lie, and what they weigh. */
typedef struct Taps {
    UfWindow window;
    double wx[UF_TAPS_MAX], wy[UF_TAPS_MAX];
    bool on_centre; /* exactly on a pixel's centre */
    UfWindowRoom room;
} Taps;

UF_INLINE void find_taps(const UfSource *source, double x_px, double y_px, int taps, size_t channels,
                         UfSample sample, Taps *out)
{
    double x = x_px - 0.5, y = y_px - 0.5;
    ptrdiff_t ix = uf_floor_index(x), iy = uf_floor_index(y);
    double tx = x - (double)ix, ty = y - (double)iy;
    int before = taps / 2 - 1;
    out->on_centre = tx == 0 && ty == 0;
    tap_weights(tx, taps, out->wx);
    tap_weights(ty, taps, out->wy);
    out->window = uf_window_at(source, ix - before, iy - before, taps, channels, sample, &out->room);
}

/* Weights of the rows as whole multiples of 2^-30: far finer than a code, and whole numbers are quick to add.
 */
#define ROW_WEIGHT_ONE 1073741824.0

UF_INLINE int64_t row_weight(double weight)
{
    return (int64_t)(weight * ROW_WEIGHT_ONE + (weight < 0 ? -0.5 : 0.5));
}

/* Down the columns first: their samples lie one after another, whatever the channel. */
UF_INLINE void blend_codes(const Taps *at, int taps, size_t colours, UfSample sample, double *sums)
{
    const uint8_t *rows = at->window.base;
    const size_t stride = at->window.stride_bytes, bytes = (size_t)sample;
    const int64_t w0 = row_weight(at->wy[0]), w1 = row_weight(at->wy[1]);
    const int64_t w2 = taps == 4 ? row_weight(at->wy[2]) : 0, w3 = taps == 4 ? row_weight(at->wy[3]) : 0;
    double columns[UF_TAPS_MAX * 3] = {0};
    for (size_t i = 0; i < (size_t)taps * colours; i++) {
        const uint8_t *column = rows + i * bytes;
        int64_t sum = w0 * uf_code_load(column, sample) + w1 * uf_code_load(column + stride, sample);
        if (taps == 4)
            sum += w2 * uf_code_load(column + 2 * stride, sample) +
                   w3 * uf_code_load(column + 3 * stride, sample);
        columns[i] = (double)sum;
    }
    for (size_t c = 0; c < colours; c++) {
        double sum = at->wx[0] * columns[c] + at->wx[1] * columns[colours + c];
        if (taps == 4)
            sum += at->wx[2] * columns[2 * colours + c] + at->wx[3] * columns[3 * colours + c];
        sums[c] = sum * (1 / ROW_WEIGHT_ONE);
    }
}

UF_INLINE void blend_floats(const Taps *at, int taps, size_t colours, double *sums)
{
    for (size_t c = 0; c < colours; c++)
        sums[c] = 0;
    for (int r = 0; r < taps; r++) {
        const uint8_t *row = at->window.base + (size_t)r * at->window.stride_bytes;
        for (size_t c = 0; c < colours; c++) {
            double line = 0;
            for (int k = 0; k < taps; k++)
                line += at->wx[k] *
                        uf_sample_load(row + ((size_t)k * colours + c) * sizeof(float), UF_SAMPLE_F32);
            sums[c] += at->wy[r] * line;
        }
    }
}

UF_INLINE void blend_opaque(const Taps *at, int taps, size_t colours, UfSample sample, double *sums)
{
    if (sample == UF_SAMPLE_F32)
        blend_floats(at, taps, colours, sums);
    else
        blend_codes(at, taps, colours, sample, sums);
}

/*
 * Premultiplied; the last of the sums is alpha. Where alpha varies, the cubic's negative weights could divide
 * a colour that no pixel has out of it: what comes out stays between the colours that are there.
 */
UF_INLINE void blend_alpha(const Taps *at, int taps, size_t colours, UfSample sample, double *sums)
{
    double lowest[3] = {INFINITY, INFINITY, INFINITY}, highest[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t c = 0; c <= colours; c++)
        sums[c] = 0;
    for (int r = 0; r < taps; r++)
        for (int k = 0; k < taps; k++) {
            const uint8_t *pixel = at->window.base + (size_t)r * at->window.stride_bytes +
                                   (size_t)k * (colours + 1) * (size_t)sample;
            double alpha = uf_sample_load(pixel + colours * (size_t)sample, sample);
            if (!(alpha > 0))
                continue;
            double weight = at->wx[k] * at->wy[r] * alpha;
            sums[colours] += weight;
            for (size_t c = 0; c < colours; c++) {
                double value = uf_sample_load(pixel + c * (size_t)sample, sample);
                sums[c] += weight * value;
                lowest[c] = value < lowest[c] ? value : lowest[c];
                highest[c] = value > highest[c] ? value : highest[c];
            }
        }
    if (!(sums[colours] > 0)) {
        sums[colours] = 0;
        return;
    }
    bool varies = false;
    for (int r = 0; r < taps && !varies; r++)
        for (int k = 0; k < taps && !varies; k++) {
            const uint8_t *row = at->window.base + (size_t)r * at->window.stride_bytes;
            size_t alpha = colours * (size_t)sample, next = (colours + 1) * (size_t)sample;
            varies = memcmp(row + (size_t)k * next + alpha, at->window.base + alpha, (size_t)sample) != 0;
        }
    for (size_t c = 0; c < colours; c++) {
        sums[c] /= sums[colours];
        if (varies)
            sums[c] = sums[c] > lowest[c] ? uf_least(sums[c], highest[c]) : lowest[c];
    }
}

UF_INLINE void interpolate(const UfSource *source, double x_px, double y_px, int taps, size_t channels,
                           UfSample sample, bool adds_alpha, uint8_t *out)
{
    const bool has_alpha = channels % 2 == 0;
    const size_t colours = has_alpha ? channels - 1 : channels;
    double cover = has_alpha || adds_alpha ? uf_coverage(source, x_px, y_px) : 1;
    Taps at;
    find_taps(source, x_px, y_px, taps, channels, sample, &at);
    if (at.on_centre) {
        size_t before = (size_t)(taps / 2 - 1);
        uf_copy_pixel(at.window.base + before * (at.window.stride_bytes + channels * (size_t)sample),
                      channels, sample, adds_alpha, out);
        return;
    }
    double sums[UF_CHANNELS_MAX + 1];
    if (has_alpha) {
        blend_alpha(&at, taps, colours, sample, sums);
    } else {
        blend_opaque(&at, taps, colours, sample, sums);
        sums[colours] = uf_sample_max(sample);
    }
    if (has_alpha || adds_alpha) {
        double alpha = uf_least(sums[colours] * cover, uf_sample_max(sample));
        if (!(alpha > 0)) {
            memset(out, 0, (colours + 1) * (size_t)sample);
            return;
        }
        uf_sample_store(out + colours * (size_t)sample, alpha, sample);
    }
    for (size_t c = 0; c < colours; c++)
        uf_sample_store(out + c * (size_t)sample, sums[c], sample);
}

UF_INLINE void sample_run(const UfSource *source, const double *x_px, const double *y_px, size_t count,
                          int taps, size_t channels, UfSample sample, bool adds_alpha, uint8_t *out)
{
    const size_t pixel_bytes = (channels + adds_alpha) * (size_t)sample;
    for (size_t i = 0; i < count; i++, out += pixel_bytes) {
        if (!uf_is_seen(source, x_px[i], y_px[i])) {
            memset(out, 0, pixel_bytes);
        } else if (taps > 1) {
            interpolate(source, x_px[i], y_px[i], taps, channels, sample, adds_alpha, out);
        } else {
            UfWindowRoom room;
            UfWindow window = uf_window_at(source, uf_floor_index(x_px[i]), uf_floor_index(y_px[i]), 1,
                                           channels, sample, &room);
            uf_copy_pixel(window.base, channels, sample, adds_alpha, out);
        }
    }
}

UF_INLINE double light_of(const UfSource *source, const uint8_t *at, UfSample sample)
{
    if (sample == UF_SAMPLE_F32) {
        float value = (float)uf_sample_load(at, sample);
        return (double)(source->transfer == NULL ? value : uf_transfer_to_linear(source->transfer, value));
    }
    double code = uf_sample_load(at, sample);
    if (source->linear == NULL)
        return code * (1 / uf_sample_max(sample));
    return (double)source->linear[(size_t)code];
}

UF_INLINE void sum_run(const UfSource *source, const double *x_px, const double *y_px, size_t count, int taps,
                       size_t channels, UfSample sample, UfLightSum *sum)
{
    const bool has_alpha = channels % 2 == 0;
    const size_t colours = has_alpha ? channels - 1 : channels;
    for (size_t i = 0; i < count; i++) {
        Taps at;
        find_taps(source, x_px[i], y_px[i], taps, channels, sample, &at);
        for (int r = 0; r < taps; r++) {
            const uint8_t *pixel = at.window.base + (size_t)r * at.window.stride_bytes;
            for (int k = 0; k < taps; k++, pixel += channels * (size_t)sample) {
                double weight = at.wx[k] * at.wy[r];
                if (has_alpha)
                    weight *= uf_sample_load(pixel + colours * (size_t)sample, sample) *
                              (1 / uf_sample_max(sample));
                sum->alpha += weight;
                for (size_t c = 0; c < colours; c++)
                    sum->colour[c] += weight * light_of(source, pixel + c * (size_t)sample, sample);
            }
        }
    }
}

#define NAME(kind, type, channels, adds) kind##_##type##_##channels##_##adds

#define DEFINE_SAMPLE(kind, taps, type, channels, adds)                                                      \
    static void NAME(kind, type, channels, adds)(const UfSource *source, const double *x_px,                 \
                                                 const double *y_px, size_t count, void *out)                \
    {                                                                                                        \
        sample_run(source, x_px, y_px, count, taps, channels, UF_SAMPLE_##type, adds, out);                  \
    }
#define DEFINE_SUM(kind, taps, type, channels)                                                               \
    static void NAME(kind, type, channels, 0)(const UfSource *source, const double *x_px,                    \
                                              const double *y_px, size_t count, UfLightSum *sum)             \
    {                                                                                                        \
        sum_run(source, x_px, y_px, count, taps, channels, UF_SAMPLE_##type, sum);                           \
    }
#define DEFINE_SAMPLES(type, channels, adds)                                                                 \
    DEFINE_SAMPLE(nearest, 1, type, channels, adds)                                                          \
    DEFINE_SAMPLE(bilinear, 2, type, channels, adds)                                                         \
    DEFINE_SAMPLE(bicubic, 4, type, channels, adds)
#define DEFINE_SUMS(type, channels)                                                                          \
    DEFINE_SUM(sum_bilinear, 2, type, channels)                                                              \
    DEFINE_SUM(sum_bicubic, 4, type, channels)
#define DEFINE_TYPE(type)                                                                                    \
    DEFINE_SAMPLES(type, 1, 0)                                                                               \
    DEFINE_SAMPLES(type, 2, 0)                                                                               \
    DEFINE_SAMPLES(type, 3, 0)                                                                               \
    DEFINE_SAMPLES(type, 4, 0)                                                                               \
    DEFINE_SAMPLES(type, 1, 1)                                                                               \
    DEFINE_SAMPLES(type, 3, 1)                                                                               \
    DEFINE_SUMS(type, 1)                                                                                     \
    DEFINE_SUMS(type, 2)                                                                                     \
    DEFINE_SUMS(type, 3)                                                                                     \
    DEFINE_SUMS(type, 4)

DEFINE_TYPE(U8)
DEFINE_TYPE(U16)
DEFINE_TYPE(F32)

#define ENTRY(type, channels, adds)                                                                          \
    {                                                                                                        \
        NAME(nearest, type, channels, adds), NAME(bilinear, type, channels, adds),                           \
            NAME(bicubic, type, channels, adds), NULL, NAME(sum_bilinear, type, channels, 0),                \
            NAME(sum_bicubic, type, channels, 0)                                                             \
    }
/* [channels - 1][adds alpha]; a picture that has alpha gets no second one. */
#define ENTRIES(type)                                                                                        \
    {                                                                                                        \
        {ENTRY(type, 1, 0), ENTRY(type, 1, 1)}, {ENTRY(type, 2, 0), ENTRY(type, 2, 0)},                      \
            {ENTRY(type, 3, 0), ENTRY(type, 3, 1)}, {ENTRY(type, 4, 0), ENTRY(type, 4, 0)},                  \
    }
static const UfKernels scalar_u8[UF_CHANNELS_MAX][2] = ENTRIES(U8);
static const UfKernels scalar_u16[UF_CHANNELS_MAX][2] = ENTRIES(U16);
static const UfKernels scalar_f32[UF_CHANNELS_MAX][2] = ENTRIES(F32);

void uf_kernels_init(UfKernels *kernels, UfSample sample, size_t channels, bool adds_alpha,
                     unsigned cpu_flags)
{
    (void)cpu_flags; /* the scalar kernels are all there is */
    switch (sample) {
    case UF_SAMPLE_U8:
        *kernels = scalar_u8[channels - 1][adds_alpha];
        break;
    case UF_SAMPLE_U16:
        *kernels = scalar_u16[channels - 1][adds_alpha];
        break;
    case UF_SAMPLE_F32:
        *kernels = scalar_f32[channels - 1][adds_alpha];
        break;
    }
    kernels->sharp = uf_sharp_run(sample, channels, adds_alpha);
}
