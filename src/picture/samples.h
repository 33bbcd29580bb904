/* A picture in another sample type, for whoever compares it with what was written to a file. */
#ifndef UF_PICTURE_SAMPLES_H
#define UF_PICTURE_SAMPLES_H

#include <underfoot/picture.h>

/*
 * Rounded exactly as uf_picture_write rounds it: float without a profile is linear light and gets the sRGB
 * curve on its way to integers. The profile goes along, other metadata do not. On success the caller owns
 * *out.
 */
UfStatus uf_picture_as(const UfPicture *picture, UfSample sample, UfPicture **out, UfReport *report);

#endif
