/* Bytes of a TIFF structure in either byte order (TIFF 6.0, section 2; BigTIFF for the 64-bit types). */
#ifndef UF_PICTURE_EXIF_BYTES_H
#define UF_PICTURE_EXIF_BYTES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    UF_EXIF_BYTE = 1,
    UF_EXIF_SHORT = 3,
    UF_EXIF_LONG = 4,
    UF_EXIF_LONG8 = 16,

    UF_EXIF_TAG_IMAGE_WIDTH = 0x0100,
    UF_EXIF_TAG_IMAGE_LENGTH = 0x0101,
    UF_EXIF_TAG_STRIP_OFFSETS = 0x0111,
    UF_EXIF_TAG_ORIENTATION = 0x0112,
    UF_EXIF_TAG_STRIP_BYTE_COUNTS = 0x0117,
    UF_EXIF_TAG_THUMBNAIL_OFFSET = 0x0201,
    UF_EXIF_TAG_THUMBNAIL_LENGTH = 0x0202,
    UF_EXIF_TAG_EXIF_IFD = 0x8769,
    UF_EXIF_TAG_GPS_IFD = 0x8825,
    UF_EXIF_TAG_COLOR_SPACE = 0xA001,
    UF_EXIF_TAG_PIXEL_X_DIMENSION = 0xA002,
    UF_EXIF_TAG_PIXEL_Y_DIMENSION = 0xA003,
    UF_EXIF_TAG_INTEROPERABILITY_IFD = 0xA005
};

static inline uint64_t uf_exif_get(const uint8_t *at, size_t bytes, bool big_endian)
{
    uint64_t value = 0;
    for (size_t i = 0; i < bytes; i++)
        value = value << 8 | at[big_endian ? i : bytes - 1 - i];
    return value;
}

static inline void uf_exif_put(uint8_t *at, size_t bytes, bool big_endian, uint64_t value)
{
    for (size_t i = 0; i < bytes; i++) {
        at[big_endian ? bytes - 1 - i : i] = (uint8_t)(value & 0xFF);
        value >>= 8;
    }
}

/* Bytes of one element of a TIFF type; 0 for a type that does not exist. */
static inline size_t uf_exif_type_bytes(uint16_t type)
{
    static const uint8_t bytes[] = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8};
    return type < sizeof bytes ? bytes[type] : 0;
}

/* Bytes that a byte-order swap turns round together: a rational is two longs. */
static inline size_t uf_exif_type_unit(uint16_t type)
{
    return type == 5 || type == 10 ? 4 : uf_exif_type_bytes(type);
}

#endif
