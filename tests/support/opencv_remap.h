/* cv::remap behind a C interface: what another library's interpolation makes of the same maps, alone or averaged. */
#ifndef UF_TESTS_SUPPORT_OPENCV_REMAP_H
#define UF_TESTS_SUPPORT_OPENCV_REMAP_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

typedef enum OpencvKernel { OPENCV_LINEAR = 0, OPENCV_CUBIC, OPENCV_LANCZOS4 } OpencvKernel;

/*
 * 8-bit pixels of `channels` samples, rows without gaps. map_x and map_y hold a place for each pixel of
 * `out`, in OpenCV's convention: the centre of the first pixel is at 0. Beyond the edges the picture is
 * black.
 */
void opencv_remap(const uint8_t *pixels, size_t width, size_t height, size_t channels, const double *map_x,
                  const double *map_y, size_t out_width, size_t out_height, OpencvKernel kernel,
                  uint8_t *out);

/* The same in two steps: maps made ready once (with is_fixed in whole parts of 1/32 pixel), then used. One
 * thread.
 */
typedef struct OpencvMaps OpencvMaps;
OpencvMaps *opencv_maps_create(const double *map_x, const double *map_y, size_t width, size_t height,
                               int is_fixed);
void opencv_maps_free(OpencvMaps *maps);
/* Samples of 1, 2 or 4 bytes (4: float); `out` has the maps' size. */
void opencv_remap_ready(const OpencvMaps *maps, const void *pixels, size_t width, size_t height,
                        size_t channels, size_t sample_bytes, OpencvKernel kernel, void *out);
/* From maps of twice the size of `out` in both directions: `twice`, which has room for that, becomes what the
 * function above makes of them, and `out` the means of its squares of 2 x 2 pixels.
 */
void opencv_remap_averaged(const OpencvMaps *maps, const void *pixels, size_t width, size_t height,
                           size_t channels, size_t sample_bytes, OpencvKernel kernel, void *twice, void *out);

#ifdef __cplusplus
}
#endif
#endif
