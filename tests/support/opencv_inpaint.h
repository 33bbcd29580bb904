/* cv::inpaint behind a C interface: what general-purpose inpainting makes of the same region. */
#ifndef UF_TESTS_SUPPORT_OPENCV_INPAINT_H
#define UF_TESTS_SUPPORT_OPENCV_INPAINT_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/*
 * NS: after M. Bertalmio, A. Bertozzi, G. Sapiro (2001); TELEA: A. Telea, An Image Inpainting Technique Based
 * on the Fast Marching Method (2004).
 */
typedef enum OpencvInpaint { OPENCV_NS = 0, OPENCV_TELEA } OpencvInpaint;

/* Fills the pixels whose mask is not 0; 8-bit RGB and mask, rows without gaps, in place. One thread. */
void opencv_inpaint(uint8_t *pixels, const uint8_t *mask, size_t width, size_t height, OpencvInpaint method);

#ifdef __cplusplus
}
#endif
#endif
