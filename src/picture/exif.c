/*
 * EXIF, read and corrected in place.
 *
 * The blob is a TIFF structure: byte order mark, 42, offset of IFD0; an IFD is a count, 12-byte entries (tag,
 * type, count, value or its offset) and the offset of the next IFD. IFD0 points to the EXIF and GPS IFDs;
 * IFD1 describes the thumbnail. Only single values and the link to IFD1 are overwritten and nothing moves,
 * because MakerNote may hold offsets into the blob. A library that parses and writes anew would lose what it
 * does not know. Sources: CIPA DC-008 (EXIF 2.32), sections 4.5 and 4.6; TIFF 6.0, section 2.
 */
#include "picture/metadata.h"

#include "base/memory.h"
#include "picture/exif_bytes.h"

#define ENTRY_BYTES 12u

typedef struct Exif {
    uint8_t *data;
    size_t size_bytes;
    bool big_endian;
} Exif;

/* An IFD whose entries all lie inside the blob. */
typedef struct Ifd {
    size_t offset, entry_count;
} Ifd;

typedef struct Entry {
    size_t offset; /* of the entry itself */
    uint16_t tag, type;
    uint32_t count;
} Entry;

static uint16_t get16(const Exif *exif, size_t offset)
{
    return (uint16_t)uf_exif_get(exif->data + offset, 2, exif->big_endian);
}

static uint32_t get32(const Exif *exif, size_t offset)
{
    return (uint32_t)uf_exif_get(exif->data + offset, 4, exif->big_endian);
}

static bool fits(const Exif *exif, size_t offset, size_t bytes)
{
    return offset <= exif->size_bytes && bytes <= exif->size_bytes - offset;
}

static bool open_ifd(const Exif *exif, size_t offset, Ifd *out)
{
    if (offset < 8 || !fits(exif, offset, 2))
        return false;
    size_t count = get16(exif, offset);
    if (!fits(exif, offset + 2, count * ENTRY_BYTES))
        return false;
    *out = (Ifd){.offset = offset, .entry_count = count};
    return true;
}

static bool open_exif(UfBlob blob, Exif *exif, Ifd *ifd0)
{
    if (blob.size_bytes < 8)
        return false;
    *exif = (Exif){.data = blob.data, .size_bytes = blob.size_bytes, .big_endian = blob.data[0] == 'M'};
    const uint8_t mark = exif->big_endian ? 'M' : 'I';
    if (blob.data[0] != mark || blob.data[1] != mark || get16(exif, 2) != 42)
        return false;
    return open_ifd(exif, get32(exif, 4), ifd0);
}

static Entry entry_at(const Exif *exif, const Ifd *ifd, size_t index)
{
    size_t offset = ifd->offset + 2 + index * ENTRY_BYTES;
    return (Entry){offset, get16(exif, offset), get16(exif, offset + 2), get32(exif, offset + 4)};
}

static bool find(const Exif *exif, const Ifd *ifd, uint16_t tag, Entry *out)
{
    for (size_t i = 0; i < ifd->entry_count; i++) {
        Entry entry = entry_at(exif, ifd, i);
        if (entry.tag == tag) {
            *out = entry;
            return true;
        }
    }
    return false;
}

/* A single BYTE, SHORT or LONG: these lie in the entry itself. */
static bool single_value(const Exif *exif, const Entry *entry, uint32_t *value)
{
    bool whole = entry->type == UF_EXIF_BYTE || entry->type == UF_EXIF_SHORT || entry->type == UF_EXIF_LONG;
    if (!whole || entry->count != 1)
        return false;
    size_t bytes = uf_exif_type_bytes(entry->type);
    *value = (uint32_t)uf_exif_get(exif->data + entry->offset + 8, bytes, exif->big_endian);
    return true;
}

static bool find_value(const Exif *exif, const Ifd *ifd, uint16_t tag, uint32_t *value)
{
    Entry entry;
    return find(exif, ifd, tag, &entry) && single_value(exif, &entry, value);
}

static bool open_sub_ifd(const Exif *exif, const Ifd *parent, uint16_t tag, Ifd *out)
{
    uint32_t offset;
    return find_value(exif, parent, tag, &offset) && open_ifd(exif, offset, out);
}

int uf_exif_orientation(UfBlob blob)
{
    Exif exif;
    Ifd ifd0;
    uint32_t value;
    if (!open_exif(blob, &exif, &ifd0) || !find_value(&exif, &ifd0, UF_EXIF_TAG_ORIENTATION, &value))
        return 1;
    return value >= 1 && value <= 8 ? (int)value : 1;
}

void uf_exif_size(UfBlob blob, size_t *width_px, size_t *height_px)
{
    *width_px = 0;
    *height_px = 0;
    Exif exif;
    Ifd ifd0, sub;
    uint32_t width = 0, height = 0;
    if (!open_exif(blob, &exif, &ifd0))
        return;
    bool found = open_sub_ifd(&exif, &ifd0, UF_EXIF_TAG_EXIF_IFD, &sub) &&
                 find_value(&exif, &sub, UF_EXIF_TAG_PIXEL_X_DIMENSION, &width) &&
                 find_value(&exif, &sub, UF_EXIF_TAG_PIXEL_Y_DIMENSION, &height);
    found = found || (find_value(&exif, &ifd0, UF_EXIF_TAG_IMAGE_WIDTH, &width) &&
                      find_value(&exif, &ifd0, UF_EXIF_TAG_IMAGE_LENGTH, &height));
    if (found) {
        *width_px = width;
        *height_px = height;
    }
}

/* A value too large for its type makes the entry a LONG: there is room for one in every entry. */
static void correct_tag(Exif *exif, const Ifd *ifd, uint16_t tag, size_t value, UfReport *report)
{
    for (size_t i = 0; i < ifd->entry_count; i++) {
        Entry entry = entry_at(exif, ifd, i);
        uint32_t old;
        if (entry.tag != tag)
            continue;
        if (!single_value(exif, &entry, &old)) {
            uf_warn(report, "EXIF tag 0x%04X has an unusual type or count; it stays as it is", tag);
            continue;
        }
        if (old == value)
            continue;
        size_t bytes = uf_exif_type_bytes(entry.type);
        if (bytes < 4 && value >> 8 * bytes != 0) {
            bytes = 4;
            uf_exif_put(exif->data + entry.offset + 2, 2, exif->big_endian, UF_EXIF_LONG);
        }
        uf_exif_put(exif->data + entry.offset + 8, bytes, exif->big_endian, value);
    }
}

void uf_exif_correct(UfBlob *blob, size_t width_px, size_t height_px, int orientation, UfReport *report)
{
    if (blob->size_bytes == 0)
        return;
    Exif exif;
    Ifd ifd0, sub;
    if (!open_exif(*blob, &exif, &ifd0)) {
        uf_warn(report, "the EXIF data are damaged; they stay as they are");
        return;
    }
    correct_tag(&exif, &ifd0, UF_EXIF_TAG_IMAGE_WIDTH, width_px, report);
    correct_tag(&exif, &ifd0, UF_EXIF_TAG_IMAGE_LENGTH, height_px, report);
    correct_tag(&exif, &ifd0, UF_EXIF_TAG_ORIENTATION, (size_t)orientation, report);
    Entry pointer;
    if (!find(&exif, &ifd0, UF_EXIF_TAG_EXIF_IFD, &pointer))
        return;
    if (!open_sub_ifd(&exif, &ifd0, UF_EXIF_TAG_EXIF_IFD, &sub)) {
        uf_warn(report, "the EXIF directory is damaged; it stays as it is");
        return;
    }
    correct_tag(&exif, &sub, UF_EXIF_TAG_PIXEL_X_DIMENSION, width_px, report);
    correct_tag(&exif, &sub, UF_EXIF_TAG_PIXEL_Y_DIMENSION, height_px, report);
}

void uf_exif_set_srgb(UfBlob *blob, UfReport *report)
{
    Exif exif;
    Ifd ifd0, sub;
    if (open_exif(*blob, &exif, &ifd0) && open_sub_ifd(&exif, &ifd0, UF_EXIF_TAG_EXIF_IFD, &sub))
        correct_tag(&exif, &sub, UF_EXIF_TAG_COLOR_SPACE, 1, report);
}

/* Where IFD0's link to IFD1 lies; false when it is not there or 0. */
static bool find_link(const Exif *exif, const Ifd *ifd0, size_t *link, size_t *ifd1_offset)
{
    size_t at = ifd0->offset + 2 + ifd0->entry_count * ENTRY_BYTES;
    if (!fits(exif, at, 4) || get32(exif, at) == 0)
        return false;
    *link = at;
    *ifd1_offset = get32(exif, at);
    return true;
}

bool uf_exif_has_thumbnail(UfBlob blob)
{
    Exif exif;
    Ifd ifd0;
    size_t link, ifd1_offset;
    return open_exif(blob, &exif, &ifd0) && find_link(&exif, &ifd0, &link, &ifd1_offset);
}

/*
 * Ranges of the blob, as changes of how often a byte is covered: marking costs the same for every length,
 * however often a hostile directory claims the same bytes.
 */
typedef struct Marks {
    int32_t *removed, *kept; /* size_bytes + 1 entries each */
} Marks;

static void mark(const Exif *exif, int32_t *changes, size_t offset, uint64_t bytes)
{
    if (bytes > exif->size_bytes || !fits(exif, offset, (size_t)bytes))
        return;
    changes[offset]++;
    changes[offset + (size_t)bytes]--;
}

/* An IFD's table and the values that lie outside it. */
static void mark_ifd(const Exif *exif, int32_t *changes, const Ifd *ifd)
{
    size_t table_bytes = 2 + ifd->entry_count * ENTRY_BYTES;
    mark(exif, changes, ifd->offset, table_bytes);
    mark(exif, changes, ifd->offset + table_bytes, 4);
    for (size_t i = 0; i < ifd->entry_count; i++) {
        Entry entry = entry_at(exif, ifd, i);
        uint64_t bytes = (uint64_t)entry.count * uf_exif_type_bytes(entry.type);
        if (bytes > 4)
            mark(exif, changes, get32(exif, entry.offset + 8), bytes);
    }
}

/* Element `index` of a SHORT or LONG array; false outside the blob. */
static bool element(const Exif *exif, const Entry *entry, uint32_t index, uint32_t *value)
{
    size_t bytes = uf_exif_type_bytes(entry->type);
    if ((entry->type != UF_EXIF_SHORT && entry->type != UF_EXIF_LONG) || index >= entry->count)
        return false;
    uint64_t total = (uint64_t)bytes * entry->count;
    size_t start = total <= 4 ? entry->offset + 8 : get32(exif, entry->offset + 8);
    if (total > exif->size_bytes || !fits(exif, start, (size_t)total))
        return false;
    *value = (uint32_t)uf_exif_get(exif->data + start + index * bytes, bytes, exif->big_endian);
    return true;
}

/* The thumbnail's own bytes: a JPEG stream, or strips. */
static void mark_thumbnail(const Exif *exif, int32_t *changes, const Ifd *ifd1)
{
    static const uint16_t pairs[][2] = {
        {UF_EXIF_TAG_THUMBNAIL_OFFSET, UF_EXIF_TAG_THUMBNAIL_LENGTH},
        {UF_EXIF_TAG_STRIP_OFFSETS, UF_EXIF_TAG_STRIP_BYTE_COUNTS},
    };
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        Entry offsets, lengths;
        if (!find(exif, ifd1, pairs[i][0], &offsets) || !find(exif, ifd1, pairs[i][1], &lengths))
            continue;
        uint32_t offset, length;
        for (uint32_t k = 0; element(exif, &offsets, k, &offset) && element(exif, &lengths, k, &length); k++)
            mark(exif, changes, offset, length);
    }
}

/* What must survive although IFD1 claims it too: some writers share values between the directories. */
static void mark_kept(const Exif *exif, int32_t *changes, const Ifd *ifd0)
{
    static const uint16_t pointers[] = {UF_EXIF_TAG_EXIF_IFD, UF_EXIF_TAG_GPS_IFD};
    mark(exif, changes, 0, 8);
    mark_ifd(exif, changes, ifd0);
    for (size_t i = 0; i < sizeof pointers / sizeof *pointers; i++) {
        Ifd sub, interoperability;
        if (!open_sub_ifd(exif, ifd0, pointers[i], &sub))
            continue;
        mark_ifd(exif, changes, &sub);
        if (open_sub_ifd(exif, &sub, UF_EXIF_TAG_INTEROPERABILITY_IFD, &interoperability))
            mark_ifd(exif, changes, &interoperability);
    }
}

/* Zeroes what is removed and not kept; returns the size without the removed bytes at the end. */
static size_t wipe(const Exif *exif, const Marks *marks)
{
    int32_t removed = 0, kept = 0;
    size_t end = 0;
    for (size_t i = 0; i < exif->size_bytes; i++) {
        removed += marks->removed[i];
        kept += marks->kept[i];
        if (removed > 0 && kept == 0)
            exif->data[i] = 0;
        else
            end = i + 1;
    }
    return end;
}

void uf_exif_drop_thumbnail(UfBlob *blob, UfReport *report)
{
    Exif exif;
    Ifd ifd0, ifd1;
    size_t link, ifd1_offset;
    if (!open_exif(*blob, &exif, &ifd0) || !find_link(&exif, &ifd0, &link, &ifd1_offset))
        return;
    Marks marks = {uf_alloc_zero(exif.size_bytes + 1, sizeof *marks.removed),
                   uf_alloc_zero(exif.size_bytes + 1, sizeof *marks.kept)};
    uf_exif_put(exif.data + link, 4, exif.big_endian, 0);
    if (marks.removed == NULL || marks.kept == NULL || !open_ifd(&exif, ifd1_offset, &ifd1)) {
        uf_warn(report, "the EXIF thumbnail's directory is damaged; it was unlinked, its bytes stay");
    } else {
        mark_ifd(&exif, marks.removed, &ifd1);
        mark_thumbnail(&exif, marks.removed, &ifd1);
        mark_kept(&exif, marks.kept, &ifd0);
        blob->size_bytes = wipe(&exif, &marks);
    }
    free(marks.removed);
    free(marks.kept);
}
