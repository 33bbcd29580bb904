/*
 * For every place of the hole, where in the source a patch looks most like it.
 *
 * C. Barnes, E. Shechtman, A. Finkelstein, D. Goldman, PatchMatch, ACM TOG 28(3), 2009: good shifts spread
 * from neighbour to neighbour, random tries find new ones. Here all places of a round look at the state
 * before the round, and the tries come from a hash of place, round and seed: the result is the same with any
 * number of threads.
 */
#ifndef UF_PATCH_PATCHMATCH_H
#define UF_PATCH_PATCHMATCH_H

#include "patch/canvas.h"
#include "patch/repeats.h"

/* Patches are (2 UF_PATCH_REACH + 1)^2 pixels. */
#define UF_PATCH_REACH 3
#define UF_PATCH_SIDE  (2 * UF_PATCH_REACH + 1)

/* A place's choice: copy from (x + dx, y + dy). A canvas is at most 32767 pixels wide and high. */
typedef struct UfMatch {
    int16_t dx, dy;
    uint32_t distance; /* sum of squared differences of codes over the patch; UF_NO_DISTANCE: none yet */
} UfMatch;
#define UF_NO_DISTANCE UINT32_MAX

/* Valid centres side by side, as far as the next run's: the first of them, and how many come before it. */
typedef struct UfValidRun {
    uint32_t before;
    uint16_t x, y;
} UfValidRun;

typedef struct UfMatcher {
    const UfCanvas *canvas;
    /*
     * The canvas's values as whole numbers from -2047 to 2047, in which patches are compared: (value - its
     * channel's centre) x scale, so that the ring's texture takes up the range. Sums are exact, so the result
     * is the same whatever they are summed with, and half as many bytes are read.
     */
    int16_t *code; /* canvas size x 4 */
    float centre[4], scale;
    UfBox box;             /* the places: all patch centres whose patch touches the hole */
    uint8_t *is_place;     /* box width x box height */
    uint8_t *is_valid;     /* canvas size: the whole patch about this pixel is source */
    UfMatch *match, *next; /* box width x box height */
    const UfRepeats *repeats;
    UfValidRun *run; /* of valid centres, row by row */
    size_t run_count, valid_count;
    unsigned seed;
    unsigned round; /* counts up: different tries each time */
    int threads;
} UfMatcher;

/* UF_ERROR_UNCLEAR when there is no valid source patch. The canvas and the repeats are borrowed. */
UfStatus uf_matcher_create(const UfCanvas *canvas, const UfRepeats *repeats, unsigned seed, int threads,
                           UfMatcher *out, UfReport *report);
void uf_matcher_clear(UfMatcher *matcher);
/* When nothing more is searched: only the places and what they have chosen are kept. */
void uf_matcher_finish(UfMatcher *matcher);
/* Random valid choices, or those of a matcher at half the size, doubled where that is valid. */
void uf_matcher_start(UfMatcher *matcher, const UfMatcher *coarse);
/* The codes of `count` pixels from number `first` on anew, after their values have changed. */
void uf_matcher_code(UfMatcher *matcher, size_t first, size_t count);
/*
 * Distances anew, after the codes have changed. is_copied, as large as the box, or NULL: places whose whole
 * patch is a copy of what they have chosen, so that the distance is 0.
 */
void uf_matcher_measure(UfMatcher *matcher, const uint8_t *is_copied);
/*
 * One round: propagation over `step` pixels and random tries within `radius` pixels; when it is wide, repeats
 * and tries anywhere, too.
 */
void uf_matcher_search(UfMatcher *matcher, int step, int radius, bool is_wide);

size_t uf_box_width(UfBox box);
size_t uf_box_height(UfBox box);

#endif
