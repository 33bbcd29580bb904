/* Colour profiles by lcms2. */
#ifndef SCENE_PROFILE_H
#define SCENE_PROFILE_H

#include <stdbool.h>

#include <lcms2.h>

/* sRGB, or RGB with the primaries of ITU-R BT.2020 and a gamma of 2.2. Close with cmsCloseProfile. */
cmsHPROFILE profile_open(bool wide);
/* The same as bytes; the caller frees them. NULL when there is no memory. */
unsigned char *profile_bytes(bool wide, unsigned *size_bytes);
/* From linear light with BT.709 primaries, 3 floats a pixel. Delete with cmsDeleteTransform. */
cmsHTRANSFORM profile_from_linear(bool wide, cmsUInt32Number format);

#endif
