/* What the camera would have written. */
#ifndef SCENE_EXIF_H
#define SCENE_EXIF_H

#include <stddef.h>

#include "spots.h"

/* An EXIF block (a TIFF structure, no prefix) for a picture of the spot; the caller frees it. NULL without
 * memory. */
unsigned char *exif_for_spot(const Spot *spot, double focal_mm, size_t width, size_t height,
                             unsigned *size_bytes);

#endif
