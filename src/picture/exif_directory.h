/*
 * TIFF directories as lists of entries whose values are kept as bytes, to copy them between files.
 * Sources: TIFF 6.0, section 2; for BigTIFF the layout that libtiff documents (8-byte counts and offsets).
 */
#ifndef UF_PICTURE_EXIF_DIRECTORY_H
#define UF_PICTURE_EXIF_DIRECTORY_H

#include "base/report.h"
#include "picture/metadata.h"

/* Where bytes come from: a blob or a file. */
typedef struct UfExifSource {
    bool (*read)(void *handle, uint64_t offset, void *buffer,
                 size_t bytes); /* false when they are not all there */
    void *handle;
    uint64_t size_bytes;
    bool big_endian, big_tiff;
} UfExifSource;

typedef struct UfExifEntry {
    uint16_t tag, type;
    uint64_t count;
    uint8_t *value; /* owned, in the directory's byte order */
    size_t value_bytes;
} UfExifEntry;

typedef struct UfExifDirectory {
    UfExifEntry *entries;
    size_t count;
    bool big_endian;
} UfExifDirectory;

/*
 * Reads the directory at `offset`. Entries that cannot be read are left out, and counted in *lost.
 * UF_ERROR_FORMAT when there is no directory. The caller clears *out in every case.
 */
UfStatus uf_exif_directory_read(const UfExifSource *source, uint64_t offset, UfExifDirectory *out,
                                size_t *lost, UfReport *report);
void uf_exif_directory_clear(UfExifDirectory *directory);
const UfExifEntry *uf_exif_directory_find(const UfExifDirectory *directory, uint16_t tag);
/* First element of a BYTE, SHORT, LONG or 64-bit entry; false for none. */
bool uf_exif_entry_number(const UfExifDirectory *directory, const UfExifEntry *entry, uint64_t *out);
/* Takes out the entries whose tag is not wanted. */
void uf_exif_directory_keep(UfExifDirectory *directory, bool (*is_wanted)(uint16_t tag));
void uf_exif_directory_remove(UfExifDirectory *directory, uint16_t tag);
/* Puts in an offset of value 0, to be set later, in the place that the order of tags gives it. */
UfStatus uf_exif_directory_add_pointer(UfExifDirectory *directory, uint16_t tag, UfReport *report);
/* Turns the values to the other byte order where that differs. */
void uf_exif_directory_set_order(UfExifDirectory *directory, bool big_endian);

/* Bytes being put together; `base` is the offset that the first one will have in the file. */
typedef struct UfExifBuffer {
    UfBlob bytes;
    uint64_t base;
    bool big_endian, big_tiff;
} UfExifBuffer;

/* Appends `bytes` zeros at an even offset; *at is their place in the buffer. */
UfStatus uf_exif_buffer_append(UfExifBuffer *buffer, size_t bytes, size_t *at, UfReport *report);
/*
 * Appends the directory's table, with no next directory, and its values. *table is the table's place in the
 * buffer. The directory has the buffer's byte order.
 */
UfStatus uf_exif_buffer_add_directory(UfExifBuffer *buffer, const UfExifDirectory *directory, size_t *table,
                                      UfReport *report);
/* Sets the pointer `tag` of the table to `target`, a place in the buffer. */
void uf_exif_buffer_set_pointer(UfExifBuffer *buffer, size_t table, uint16_t tag, size_t target);

#endif
