/* Rows of a picture as floats: colour 0..1 of the stored range, alpha apart. */
#ifndef UF_PATCH_ROWS_H
#define UF_PATCH_ROWS_H

#include <underfoot/picture.h>

/* 1 for grey, 3 for RGB. */
size_t uf_colour_channels(const UfPicture *picture);
/* width x colour channels into `colour`, width into `alpha` (NULL: not wanted; 1 where the picture has none).
 */
void uf_row_load(const UfPicture *picture, size_t y_px, float *colour, float *alpha);
/*
 * Writes back, rounded and clipped to the sample type's range (float is not clipped). A value that was loaded
 * and not changed is stored as it was.
 */
void uf_row_store(UfPicture *picture, size_t y_px, const float *colour, const float *alpha);
/* The same of columns [x0_px, x0_px + count) of a row. */
void uf_run_load(const UfPicture *picture, size_t y_px, size_t x0_px, size_t count, float *colour,
                 float *alpha);
void uf_run_store(UfPicture *picture, size_t y_px, size_t x0_px, size_t count, const float *colour,
                  const float *alpha);

#endif
