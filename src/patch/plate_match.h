/* Ways in which a photograph may lie on the floor, from features that look alike. */
#ifndef UF_PATCH_PLATE_MATCH_H
#define UF_PATCH_PLATE_MATCH_H

#include "patch/features.h"

#define UF_PLATE_MOST_GUESSES 8

typedef struct UfPlateGuess {
    UfHomography to_photo; /* floor picture's pixels to the photo picture's */
    size_t matches, inliers;
    double rms_px; /* of the inliers, in the floor's pixels */
} UfPlateGuess;

/*
 * The guesses that most features agree with, best first; *count may be 0. The same result with any number of
 * threads.
 */
UfStatus uf_plate_match(const UfFeature *floor, size_t floor_count, const UfFeature *photo,
                        size_t photo_count, int threads, UfPlateGuess guesses[UF_PLATE_MOST_GUESSES],
                        size_t *count, UfReport *report);

#endif
