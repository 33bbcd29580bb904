/*
 * One pixel from the sharp values at places along its footprint (remap/stretch.h): what the variants share.
 *
 * As in remap/plain_sharp.h everything is single precision in one fixed order, so that all variants give the
 * same bits. With column(k) of each place as there: sum(k) = column_0(k) (w_0 wx_0(k)) + column_1(k) (w_1
 * wx_1(k)) + ..., where w are the places' weights, and value = ((sum(0) + sum(2)) + sum(4)) + ((sum(1) +
 * sum(3)) + sum(5)), which is held within the range of the pixels around the places of positive weight.
 */
#ifndef UF_REMAP_BLEND_H
#define UF_REMAP_BLEND_H

#include "remap/footprint.h"
#include "remap/gathered.h"
#include "remap/plain_sharp.h"

/* Writes one pixel. The source is a full sphere with a spline. */
typedef void UfBlend(const UfSource *source, const UfFootprint *print, void *out);

/* [uf_table_row][channels - 1][adds alpha] */
typedef UfBlend *UfBlendTable[3][UF_CHANNELS_MAX][2];
extern const UfBlendTable uf_blend_avx2;

/* Variants are chosen by `cpu_flags` (base/cpu.h); a picture that has alpha gets no second one. */
UfBlend *uf_blend_of(UfSample sample, size_t channels, bool adds_alpha, unsigned cpu_flags);

typedef struct UfBlendTaps {
    UfFootprintPlaces places;
    float wx[UF_SPLINE_TAPS][UF_PLACES_MAX],
        wy[UF_SPLINE_TAPS][UF_PLACES_MAX]; /* wx times the place's part */
} UfBlendTaps;

UF_INLINE void uf_blend_taps(const UfFootprint *print, int32_t width_px, UfBlendTaps *out)
{
    const size_t end = uf_up_to_lanes((size_t)print->count);
    uf_footprint_places(print, width_px, &out->places);
    uf_sharp_weights(out->places.right, end, UF_PLACES_MAX, out->wx[0]);
    uf_sharp_weights(out->places.down, end, UF_PLACES_MAX, out->wy[0]);
    for (size_t i = 0; i < end; i += UF_LANES) {
        const UfLanes parts = out->places.share * *(const UfLanesAt *)&out->places.weights[i];
        for (size_t k = 0; k < UF_SPLINE_TAPS; k++)
            *(UfLanesAt *)&out->wx[k][i] *= parts;
    }
}

/* How far apart the pixels around a place are. */
UF_INLINE ptrdiff_t uf_blend_spread(const UfSource *source, ptrdiff_t y)
{
    return source->ready_px == NULL ? 1 : uf_spread_at(source, y);
}

#define UF_BLEND_NAME(type, channels, adds) blend_##type##_##channels##_##adds
/*
 * The functions of a variant, which are compiled for its instruction set: it has a gather that is always
 * inlined, with constants for all that varies; where it is false the scalar one serves.
 */
#define UF_BLEND_DEFINE(attributes, type, channels, adds)                                                    \
    attributes static void UF_BLEND_NAME(type, channels, adds)(const UfSource *source,                       \
                                                               const UfFootprint *print, void *out)          \
    {                                                                                                        \
        UfBlendTaps taps;                                                                                    \
        UfGathered gathered;                                                                                 \
        uf_blend_taps(print, (int32_t)source->width_px, &taps);                                              \
        if (!gather(source, &taps, (size_t)print->count, channels, UF_SAMPLE_##type, &gathered)) {           \
            uf_blend_of(UF_SAMPLE_##type, channels, adds, 0)(source, print, out);                            \
            return;                                                                                          \
        }                                                                                                    \
        uf_store_gathered(&gathered, 1, channels, UF_SAMPLE_##type, adds, out);                              \
    }
#define UF_BLEND_DEFINE_TYPE(attributes, type)                                                               \
    UF_BLEND_DEFINE(attributes, type, 1, 0)                                                                  \
    UF_BLEND_DEFINE(attributes, type, 1, 1)                                                                  \
    UF_BLEND_DEFINE(attributes, type, 2, 0)                                                                  \
    UF_BLEND_DEFINE(attributes, type, 3, 0)                                                                  \
    UF_BLEND_DEFINE(attributes, type, 3, 1)                                                                  \
    UF_BLEND_DEFINE(attributes, type, 4, 0)
#define UF_BLEND_DEFINE_ALL(attributes)                                                                      \
    UF_BLEND_DEFINE_TYPE(attributes, U8)                                                                     \
    UF_BLEND_DEFINE_TYPE(attributes, U16)                                                                    \
    UF_BLEND_DEFINE_TYPE(attributes, F32)
#define UF_BLEND_TYPE(type)                                                                                  \
    {                                                                                                        \
        {UF_BLEND_NAME(type, 1, 0), UF_BLEND_NAME(type, 1, 1)},                                              \
            {UF_BLEND_NAME(type, 2, 0), UF_BLEND_NAME(type, 2, 0)},                                          \
            {UF_BLEND_NAME(type, 3, 0), UF_BLEND_NAME(type, 3, 1)},                                          \
            {UF_BLEND_NAME(type, 4, 0), UF_BLEND_NAME(type, 4, 0)},                                          \
    }
#define UF_BLEND_TABLE                                                                                       \
    {                                                                                                        \
        UF_BLEND_TYPE(U8), UF_BLEND_TYPE(U16), UF_BLEND_TYPE(F32)                                            \
    }

#endif
