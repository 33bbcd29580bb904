/*
 * EXIF, ICC, XMP and what else travels with a picture.
 *
 * exif          a TIFF structure (byte order mark first), without the "Exif\0\0" prefix
 * icc           the profile
 * xmp           the main packet, UTF-8
 * xmp_extended  JPEG only: the reassembled extended packet (XMP Specification Part 3, 1.1.3.1), or nothing
 * extras        what else the file held and the same format can carry again: JPEG APPn/COM segments, PNG
 * ancillary chunks, in the order of the file
 */
#ifndef UF_PICTURE_METADATA_H
#define UF_PICTURE_METADATA_H

#include <underfoot/picture.h>

#include "base/report.h"

typedef struct UfExtra {
    UfFormat format; /* the format that can carry it */
    uint32_t kind;   /* JPEG: marker (0xE0..0xEF, 0xFE); PNG: chunk type, big-endian */
    UfBlob content;  /* payload without length, marker, CRC */
} UfExtra;

typedef struct UfMetadata {
    UfBlob exif, icc, xmp, xmp_extended;
    UfExtra *extras;
    size_t extra_count;
    bool has_multi_picture; /* JPEG: an MPF index was there */
    bool has_gain_map; /* JPEG: hdrgm XMP, a gain-map Container directory or an ISO 21496-1 segment was there
                        */
} UfMetadata;

/* Of a picture file, whose pixels are not decoded. The caller clears *out before (zeroed) and after, in every case. */
UfStatus uf_metadata_read(const char *path, UfMetadata *out, UfReport *report);
void uf_metadata_clear(UfMetadata *metadata);
UfStatus uf_metadata_copy(const UfMetadata *from, UfMetadata *to, UfReport *report);

/* Replaces a blob by a copy of `data`; size 0 empties it. */
UfStatus uf_blob_set(UfBlob *blob, const void *data, size_t size_bytes, UfReport *report);
void uf_blob_clear(UfBlob *blob);
UfStatus uf_metadata_add_extra(UfMetadata *metadata, UfFormat format, uint32_t kind, const void *data,
                               size_t size_bytes, UfReport *report);

/*
 * EXIF, in place: every other byte stays. Sources: CIPA DC-008 (EXIF 2.32), TIFF 6.0. A damaged structure is
 * left as it is with a warning, never a failure.
 */
/* Orientation 1..8; 1 when there is none or it makes no sense. */
int uf_exif_orientation(UfBlob exif);
/* Width, height (PixelX/YDimension, ImageWidth/Length) and orientation set where they are present. */
void uf_exif_correct(UfBlob *exif, size_t width_px, size_t height_px, int orientation, UfReport *report);
/* Says sRGB where the EXIF says a colour space. */
void uf_exif_set_srgb(UfBlob *exif, UfReport *report);
/* Cuts IFD1 (the thumbnail) off. */
void uf_exif_drop_thumbnail(UfBlob *exif, UfReport *report);
bool uf_exif_has_thumbnail(UfBlob exif);
/* Width and height that the EXIF claims, 0 when it says nothing. */
void uf_exif_size(UfBlob exif, size_t *width_px, size_t *height_px);

/* XMP through Exempi. A packet that cannot be parsed is kept as it is, with a warning. */
UfStatus uf_xmp_photo_sphere(UfBlob xmp, UfPhotoSphere *out, UfReport *report);
UfStatus uf_xmp_set_photo_sphere(UfBlob *xmp, const UfPhotoSphere *sphere, UfReport *report);
/*
 * Corrects tiff: and exif: dimensions and tiff:Orientation (where they are present) and the GPano pixel
 * fields (scaled from the old size to the new), drops xmp:Thumbnails, and, with drop_gain_map, the hdrgm and
 * Container properties. Width, height and orientation are those of the pixels as they are stored, as for
 * uf_exif_correct. The packet is written anew only when something had to change. Use it on xmp_extended too,
 * then call uf_xmp_split_extended.
 */
UfStatus uf_xmp_correct(UfBlob *xmp, size_t old_width_px, size_t old_height_px, size_t width_px,
                        size_t height_px, int orientation, bool drop_gain_map, UfReport *report);
bool uf_xmp_has_gain_map(UfBlob xmp);
/* For formats without extended XMP: the extended packet's properties merged into the main one. */
UfStatus uf_xmp_merge_extended(UfMetadata *metadata, UfReport *report);
/*
 * For JPEG, before the packets are written: makes xmpNote:HasExtendedXMP agree with xmp_extended (the MD5 of
 * its bytes, or gone when it is empty). When the main packet is larger than 65502 bytes it is written more
 * tightly, and, if that is not enough, its largest properties move to xmp_extended; Photo Sphere fields stay
 * in the main packet.
 */
UfStatus uf_xmp_split_extended(UfMetadata *metadata, UfReport *report);

#endif
