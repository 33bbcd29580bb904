/* Decoders behind picture_decode. */
#ifndef UF_TESTS_SUPPORT_PICTURES_FORMATS_H
#define UF_TESTS_SUPPORT_PICTURES_FORMATS_H

#include <stdio.h>

#include "support/pictures.h"

Pixels jpeg_decode(FILE *stream);
Pixels png_decode(FILE *stream);
Pixels tiff_decode(const char *path);

#endif
