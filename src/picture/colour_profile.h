/* Shared by the two colour files. */
#ifndef UF_PICTURE_COLOUR_PROFILE_H
#define UF_PICTURE_COLOUR_PROFILE_H

#include <lcms2.h>
#include <underfoot/picture.h>

/*
 * The picture's profile; NULL when there is none, or, with a warning, when it is damaged or made for other
 * channels. The caller closes it.
 */
cmsHPROFILE uf_profile_open(const UfPicture *picture, UfReport *report);

#endif
