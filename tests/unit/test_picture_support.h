/* For the tests of pictures and codecs: noise that no predictor likes, and comparisons with raw samples. */
#ifndef UF_TESTS_UNIT_TEST_PICTURE_SUPPORT_H
#define UF_TESTS_UNIT_TEST_PICTURE_SUPPORT_H

#include <underfoot/picture.h>

#include "support/pictures.h"

/* Random samples over a slow gradient; alpha takes all values, 0 and the largest among them. */
Pixels noise_make(size_t width, size_t height, size_t channels, unsigned bits, unsigned seed);
/* The same pixels as a picture of the library. */
UfPicture *picture_of(const Pixels *pixels);
/* Reads, and fails the test when that fails. */
UfPicture *picture_read(const char *path);
/* Fails the test where a sample differs by more than `tolerance` (codes; floats exactly). */
void assert_samples(const UfPicture *picture, const Pixels *pixels, unsigned tolerance, const char *what);
/* Fills [x0, x1) x [y0, y1) of the upright picture with noise and marks it. */
void picture_change(UfPicture *picture, UfTouched *touched, size_t x0, size_t y0, size_t x1, size_t y1);
UfTouched *touched_of(const UfPicture *picture);
/*
 * Where upright pixel (x, y) of a picture is stored, written out from the table of EXIF 2.32 (tag 0x0112):
 * what row 0 and column 0 of the stored pixels show.
 */
void stored_place(int orientation, size_t width, size_t height, size_t x, size_t y, size_t *stored_x,
                  size_t *stored_y);
/* "Exif\0\0" and a TIFF structure with the orientation alone. */
#define EXIF_BYTES 32u
void exif_make(int orientation, uint8_t exif[EXIF_BYTES]);

#endif
