/*
 * A stretched footprint (remap/stretch.h): where its places lie and what they weigh, as lanes of vectors.
 *
 * About a pixel of the target its direction is a parabola along the footprint, written in a frame whose z
 * axis lies on the pixel's own meridian. How far a place is from the pixel is then told by small numbers,
 * which single precision holds to 1e-7 radian: 1/1500 pixel of a panorama 32768 wide. Each operation is one
 * of single precision in a fixed order, so that all instruction sets give the same bits.
 */
#ifndef UF_REMAP_FOOTPRINT_H
#define UF_REMAP_FOOTPRINT_H

#include <math.h>

#include <underfoot/sphere.h>

#include "remap/lanes.h"
#include "remap/lobe.h"
#include "remap/window.h"

/* Places that one pixel is made of. */
#define UF_PLACES_MAX 32

/* Places in the source, where a parabola does not serve; where one is not there, any in its stead. */
typedef struct UfPlaces {
    double x_px[UF_PLACES_MAX], y_px[UF_PLACES_MAX];
    bool there[UF_PLACES_MAX];
} UfPlaces;

typedef struct UfFootprint {
    int count;      /* of places, odd; the pixel's own is the middle one */
    float lobe_rad; /* what the low-pass's wider sinc turns by from place to place */
    /* the pixel's own place, from centre to centre: the pixel at or before it, and the rest */
    int32_t base_x, base_y;
    float x_px, y_px;
    float scale_px; /* of the source */
    /* along it, for n places from the middle: a n + b n^2, z + a n + b n^2; height and level are those of the
     * pixel itself, of unit length */
    float across[2], up[2], along[2], height, level;
    const UfPlaces *exact; /* instead, or NULL */
} UfFootprint;

/* [place]; up to the next multiple of UF_LANES the last one again, with weight 0. */
typedef struct UfFootprintPlaces {
    int32_t x[UF_PLACES_MAX], y[UF_PLACES_MAX];      /* the pixel at or before it */
    float right[UF_PLACES_MAX], down[UF_PLACES_MAX]; /* 0 .. 1, from that pixel's centre */
    float weights[UF_PLACES_MAX];
    float share; /* 1 by the sum of the weights */
} UfFootprintPlaces;

/* How vectors are passed between functions depends on the instruction set; these are inlined, all of them. */
#pragma GCC diagnostic ignored "-Wpsabi"

/* One or the other in each lane. */
UF_INLINE UfLanes uf_lanes_where(UfLanesInt is, UfLanes a, UfLanes b)
{
    return (UfLanes)((is & (UfLanesInt)a) | (~is & (UfLanesInt)b));
}

UF_INLINE UfLanes uf_lanes_root(UfLanes of)
{
    float in[UF_LANES], out[UF_LANES];
    memcpy(in, &of, sizeof of);
#pragma omp simd
    for (int k = 0; k < UF_LANES; k++)
        out[k] = sqrtf(in[k]);
    memcpy(&of, out, sizeof of);
    return of;
}

/* atan2 to 1e-7 radian, 0 for two zeros. The polynomial is Chebyshev's interpolation of atan(q) / q in q^2 up
 * to q = tan(pi/8) (computed for this; remainder 7e-9). */
UF_INLINE UfLanes uf_lanes_atan2(UfLanes y, UfLanes x)
{
    const float tan_eighth = 0.41421356f, eighth = (float)(UF_PI / 4), quarter = (float)(UF_PI / 2);
    const UfLanesInt sign = INT32_MIN + (UfLanesInt){0};
    const UfLanes height = (UfLanes)((UfLanesInt)y & ~sign), width = (UfLanes)((UfLanesInt)x & ~sign);
    const UfLanesInt tall = height > width;
    const UfLanes lower = uf_lanes_where(tall, width, height), upper = uf_lanes_where(tall, height, width);
    const UfLanesInt steep = lower > tan_eighth * upper;
    const UfLanes over = uf_lanes_where(steep, lower - upper, lower);
    const UfLanes under = uf_lanes_where(steep, upper + lower, upper);
    const UfLanes q = over / uf_lanes_where(under > 0, under, under + 1), s = q * q;
    UfLanes series = 0.07984963f * s - 0.13851478f;
    series = series * s + 0.19974405f;
    series = series * s - 0.33332797f;
    series = series * s + 0.99999998f;
    UfLanes angle = series * q;
    angle = uf_lanes_where(steep, angle + eighth, angle);
    angle = uf_lanes_where(tall, quarter - angle, angle);
    angle = uf_lanes_where(x < 0, (float)UF_PI - angle, angle);
    return (UfLanes)((UfLanesInt)angle ^ ((UfLanesInt)y & sign));
}

/* atan2 for angles below 0.1: its series, to 2e-10. */
UF_INLINE UfLanes uf_lanes_small_angle(UfLanes y, UfLanes x)
{
    const UfLanes q = y / x, s = q * q;
    return q * (1 - s * (1.0f / 3 - s * (1.0f / 5 - s * (1.0f / 7))));
}

/* uf_lobe_weight, to 1e-7, for angles of the wider sinc below pi: sin(3 t) = 3 sin(t) - 4 sin^3(t), and
 * sin(t) / t as its series. */
UF_INLINE UfLanes uf_lanes_lobe(UfLanes t)
{
    const UfLanes q = t * t;
    UfLanes sinc = 2.8114573e-15f * q - 7.6471637e-13f;
    sinc = sinc * q + 1.6059044e-10f;
    sinc = sinc * q - 2.5052108e-08f;
    sinc = sinc * q + 2.7557319e-06f;
    sinc = sinc * q - 1.9841270e-04f;
    sinc = sinc * q + 8.3333333e-03f;
    sinc = sinc * q - 1.6666667e-01f;
    sinc = sinc * q + 1;
    _Static_assert(UF_LOBES == 3, "the sinc of three times the angle");
    return sinc * sinc * (1 - 4.0f / 3 * q * (sinc * sinc));
}

/* From the pixel itself to the places n steps along. */
UF_INLINE void uf_footprint_offsets(const UfFootprint *print, UfLanes n, UfLanes *right, UfLanes *down)
{
    const UfLanes x = n * (print->across[0] + n * print->across[1]);
    const UfLanes rise = n * (print->up[0] + n * print->up[1]);
    const UfLanes ahead = n * (print->along[0] + n * print->along[1]);
    const UfLanes z = print->level + ahead, y = print->height + rise;
    /* the level's length less the pixel's, without taking like from like */
    const UfLanes length = uf_lanes_root(x * x + z * z);
    const UfLanes longer = (x * x + ahead * (print->level + z)) / (length + print->level);
    *right = print->scale_px * uf_lanes_atan2(x, z);
    *down = -print->scale_px * uf_lanes_small_angle(rise * print->level - longer * print->height,
                                                    length * print->level + y * print->height);
}

/* Into whole pixels from the base, and the rest, 0 .. 1. */
UF_INLINE UfLanesInt uf_footprint_split(UfLanes place, int32_t base, float *rest)
{
    UfLanesInt whole = __builtin_convertvector(place, UfLanesInt);
    whole += __builtin_convertvector(whole, UfLanes) > place;
    *(UfLanesAt *)rest = place - __builtin_convertvector(whole, UfLanes);
    return whole + base;
}

/* The places' numbers from the first one on; behind the last it is that one's. */
UF_INLINE UfLanesInt uf_footprint_numbers(const UfFootprint *print, int first)
{
    const UfLanesInt n = first + (UfLanesInt){0, 1, 2, 3, 4, 5, 6, 7},
                     last = print->count - 1 + (UfLanesInt){0};
    const UfLanesInt behind = n > last;
    return (behind & last) | (~behind & n);
}

UF_INLINE void uf_footprint_exact(const UfFootprint *print, int first, UfFootprintPlaces *out)
{
    const UfLanesInt numbers = uf_footprint_numbers(print, first);
    for (int k = 0; k < UF_LANES; k++) {
        const int n = first + k, at = numbers[k];
        const double x = print->exact->x_px[at] - 0.5, y = print->exact->y_px[at] - 0.5;
        out->x[n] = (int32_t)uf_floor_index(x);
        out->y[n] = (int32_t)uf_floor_index(y);
        out->right[n] = (float)(x - (double)out->x[n]);
        out->down[n] = (float)(y - (double)out->y[n]);
        out->weights[n] = print->exact->there[at] ? out->weights[n] : 0;
    }
}

/* `width_px` is the source's, which goes round. */
UF_INLINE void uf_footprint_curved(const UfFootprint *print, int first, int32_t width_px,
                                   UfFootprintPlaces *out)
{
    const UfLanesInt n = uf_footprint_numbers(print, first) - print->count / 2;
    UfLanes right, down;
    uf_footprint_offsets(print, __builtin_convertvector(n, UfLanes), &right, &down);
    UfLanesInt x = uf_footprint_split(print->x_px + right, print->base_x, &out->right[first]);
    x += (x < 0) & width_px;
    x -= (x >= width_px) & width_px;
    *(UfLanesIntAt *)&out->x[first] = x;
    *(UfLanesIntAt *)&out->y[first] =
        uf_footprint_split(print->y_px + down, print->base_y, &out->down[first]);
}

UF_INLINE void uf_footprint_places(const UfFootprint *print, int32_t width_px, UfFootprintPlaces *out)
{
    UfLanes parts = {0};
    float sum = 0;
    for (int first = 0; first < print->count; first += UF_LANES) {
        const UfLanesInt n = first + (UfLanesInt){0, 1, 2, 3, 4, 5, 6, 7};
        const UfLanes t = print->lobe_rad * __builtin_convertvector(n - print->count / 2, UfLanes);
        UfLanesAt *weights = (UfLanesAt *)&out->weights[first];
        *weights = uf_lanes_where(n < print->count, uf_lanes_lobe(t), (UfLanes){0});
        if (print->exact == NULL)
            uf_footprint_curved(print, first, width_px, out);
        else
            uf_footprint_exact(print, first, out);
        parts += *weights;
    }
    for (int k = 0; k < UF_LANES; k++)
        sum += parts[k];
    out->share = 1 / sum;
}

#endif
