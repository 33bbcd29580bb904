/*
 * One picture of the sphere made from another.
 *
 * For each pixel of the target its direction is computed in double precision and looked up in the source.
 * Where the target is about as fine as the source or finer, the source is interpolated on its stored values;
 * where it is coarser, the true footprint of the target's pixel is averaged in linear light, so that nothing
 * aliases. A full equirectangular source wraps across the seam and continues over the poles into the opposite
 * meridian. Alpha is premultiplied before any arithmetic.
 *
 * Sources: R. G. Keys, IEEE Trans. ASSP 29(6), 1153-1160 (1981), a = -1/2; P. S. Heckbert, Fundamentals of
 * Texture Mapping and Image Warping, UCB/CSD 89/516 (1989).
 */
#ifndef UNDERFOOT_REMAP_H
#define UNDERFOOT_REMAP_H

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/sphere.h>

UF_API_BEGIN

/*
 * SHARP is a spline of degree 5 through the samples, for pictures that will be resampled again. It holds
 * twice the source's bytes besides, and stays within the values around (an eighth of their range aside). With
 * an equirectangular or rectilinear source it takes the detail of the whole picture to be what its centre
 * (its equator) can hold, as it is in everything made from a photograph: where pixels lie closer together on
 * the sphere, in a face's corners, nothing is averaged as long as the target is as fine as that. Towards the
 * poles of a full sphere, where that is only so along the rows, the rows are low-passed to what the target
 * holds.
 */
typedef enum UfSampling {
    UF_SAMPLING_BICUBIC = 0,
    UF_SAMPLING_BILINEAR,
    UF_SAMPLING_NEAREST,
    UF_SAMPLING_SHARP
} UfSampling;

/* For a source that is still being read, and a target that is looked at while it is made. */
typedef struct UfRemapRows {
    /* NULL, or asked by the caller's thread before rows of the source are looked at. */
    UfRowsAwaited *source;
    void *source_data;
    /*
     * NULL, or called by any of the threads, one call at a time: the target's rows before end_px have their
     * final samples. Its metadata may be set meanwhile. If the making fails after that this is called once
     * more, with NULL: when it returns, the target is freed.
     */
    UfRowsTold *target;
    void *target_data;
} UfRemapRows;

typedef struct UfRemapOptions {
    UfSampling sampling; /* NEAREST never averages */
    int threads;         /* 0: all cores */
    /* bicubic and bilinear: nothing is averaged. Faster, but where the target is the coarser one what is fine
     * in the source turns into patterns that are not there. */
    bool interpolates_only;
    bool with_alpha; /* the target gets an alpha channel even if the source has none: 0 where nothing is seen
                      */
    const UfRemapRows
        *rows; /* NULL: all of the source is there, and no one waits. uf_remap and uf_turn alone */
} UfRemapOptions;

/*
 * Fills a new picture of target->width_px x height_px with the source's sample type and channels (one more
 * with options->with_alpha when the source has no alpha). source must be source_view->width_px x height_px.
 * Directions outside the source, and pixels without a direction, are 0 in every channel; at a flat source's
 * border the last half pixel fades into alpha 0 when there is an alpha channel. Metadata are not copied,
 * except the ICC profile, which says what the samples mean. NULL options mean the defaults. On success the
 * caller owns *out. The result does not depend on the number of threads. UF_ERROR_ARGUMENT where rows of the
 * source do not come.
 */
UfStatus uf_remap(const UfPicture *source, const UfView *source_view, const UfView *target_view,
                  const UfRemapOptions *options, UfPicture **out, UfReport *report);

/*
 * Rows [*first_px, *end_px) of a full panorama: uf_remap looks at no others of it to fill `target` with that
 * sampling, so that reading these is enough (UfReadOptions). All of them where the target is not
 * rectilinear, stereographic or equirectangular, or the source no whole sphere. Both views must make sense.
 */
void uf_remap_rows(const UfView *source_view, const UfView *target_view, UfSampling sampling,
                   size_t *first_px, size_t *end_px);

/*
 * The picture at another size, averaged in linear light when it gets smaller (the same machinery; `wraps`
 * says that left and right edges meet, as in an equirectangular picture).
 */
UfStatus uf_resize(const UfPicture *source, size_t width_px, size_t height_px, bool wraps,
                   const UfRemapOptions *options, UfPicture **out, UfReport *report);

UF_API_END
#endif
