/*
 * Panoramas for delivery: smaller, and in the web's colours.
 */
#ifndef UNDERFOOT_DELIVER_H
#define UNDERFOOT_DELIVER_H

#include <underfoot/api.h>
#include <underfoot/picture.h>

UF_API_BEGIN

typedef struct UfDeliverOptions {
    size_t width_px; /* even, at most the panorama's own width */
    bool to_srgb;    /* convert to sRGB (IEC 61966-2-1); float samples become 16 bits */
    int threads;     /* 0: all cores; never changes the result */
} UfDeliverOptions;

/*
 * The whole panorama at another width, half as high, averaged in linear light, with all metadata. With
 * to_srgb its colours are those of the profile that it had, and it carries an sRGB profile (a grey picture
 * none, its curve is sRGB's); EXIF's ColorSpace, where it is stated, becomes sRGB. The panorama must be 2:1,
 * otherwise UF_ERROR_ARGUMENT. On success the caller owns *out.
 */
UfStatus uf_deliver(const UfPicture *panorama, const UfDeliverOptions *options, UfPicture **out,
                    UfReport *report);

UF_API_END
#endif
