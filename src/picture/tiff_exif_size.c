/* The pixel dimensions in the EXIF directory of a TIFF file, corrected without moving anything. */
#include <unistd.h>

#include "picture/exif_bytes.h"
#include "picture/tiff_exif.h"

/* Where the directory lies, and how it is laid out. */
typedef struct Place {
    uint64_t first_entry, count;
    size_t entry_bytes, value_at; /* of one entry; its value, counted from the entry's begin */
    bool big_endian;
} Place;

static bool read_at(TIFF *tiff, uint64_t offset, void *buffer, size_t bytes)
{
    thandle_t client = TIFFClientdata(tiff);
    return TIFFGetSeekProc(tiff)(client, offset, SEEK_SET) == offset &&
           TIFFGetReadProc(tiff)(client, buffer, (tmsize_t)bytes) == (tmsize_t)bytes;
}

static bool find_directory(TIFF *tiff, Place *out)
{
    uint64_t offset = 0;
    uint8_t head[8];
    bool big_endian = TIFFIsBigEndian(tiff) != 0, big_tiff = TIFFIsBigTIFF(tiff) != 0;
    size_t head_bytes = big_tiff ? 8 : 2;
    if (TIFFGetField(tiff, TIFFTAG_EXIFIFD, &offset) != 1 || !read_at(tiff, offset, head, head_bytes))
        return false;
    *out = (Place){.first_entry = offset + head_bytes,
                   .count = uf_exif_get(head, head_bytes, big_endian),
                   .entry_bytes = big_tiff ? 20 : 12,
                   .value_at = big_tiff ? 12 : 8,
                   .big_endian = big_endian};
    return out->count <= UINT16_MAX;
}

/* Sets the entry's type and value to a LONG where it is one SHORT or LONG with another value; false: nothing
 * to do. */
static bool correct_entry(const Place *place, uint8_t *entry, size_t value)
{
    uint16_t type = (uint16_t)uf_exif_get(entry + 2, 2, place->big_endian);
    uint64_t count = uf_exif_get(entry + 4, place->value_at - 4, place->big_endian);
    if ((type != UF_EXIF_SHORT && type != UF_EXIF_LONG) || count != 1)
        return false;
    uint8_t *at = entry + place->value_at;
    if (uf_exif_get(at, uf_exif_type_bytes(type), place->big_endian) == value)
        return false;
    uf_exif_put(entry + 2, 2, place->big_endian, UF_EXIF_LONG);
    uf_exif_put(at, 4, place->big_endian, value);
    return true;
}

UfStatus uf_tiff_correct_exif(TIFF *tiff, int output_fd, const char *output_name, size_t width_px,
                              size_t height_px, UfReport *report)
{
    Place place;
    if (!find_directory(tiff, &place))
        return UF_OK;
    for (uint64_t i = 0; i < place.count; i++) {
        uint8_t entry[20];
        uint64_t offset = place.first_entry + i * place.entry_bytes;
        if (!read_at(tiff, offset, entry, place.entry_bytes))
            return UF_OK; /* a directory that is cut off stays as it is */
        uint64_t tag = uf_exif_get(entry, 2, place.big_endian);
        bool is_size = tag == UF_EXIF_TAG_PIXEL_X_DIMENSION || tag == UF_EXIF_TAG_PIXEL_Y_DIMENSION;
        if (!is_size ||
            !correct_entry(&place, entry, tag == UF_EXIF_TAG_PIXEL_X_DIMENSION ? width_px : height_px))
            continue;
        if (pwrite(output_fd, entry, place.entry_bytes, (off_t)offset) != (ssize_t)place.entry_bytes)
            return uf_fail_errno(report, "cannot be written", output_name);
    }
    return UF_OK;
}
