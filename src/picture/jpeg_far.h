/* A walk through many MCUs on several threads. */
#ifndef UF_PICTURE_JPEG_FAR_H
#define UF_PICTURE_JPEG_FAR_H

#include "picture/jpeg_walk.h"

/* As uf_jpeg_walk_skip, with the same result whatever `threads`, at least 1. */
bool uf_jpeg_walk_far(UfJpegWalk *walk, size_t count, int threads);

#endif
