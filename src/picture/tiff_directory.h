/*
 * The first image file directory of a TIFF or BigTIFF, changed in place: every byte that need not change
 * stays. (libtiff would write the whole directory anew, and lose what it does not know.)
 */
#ifndef UF_PICTURE_TIFF_DIRECTORY_H
#define UF_PICTURE_TIFF_DIRECTORY_H

#include "picture/picture_internal.h"

typedef struct UfTiffDirectory {
    int fd;               /* open for reading and writing; borrowed */
    const char *name;     /* for messages; borrowed */
    bool big_endian, big; /* byte order; BigTIFF */
    uint64_t link;        /* where the directory's place stands */
    uint64_t offset;      /* the directory */
    uint64_t entry_count;
    uint64_t file_end;
} UfTiffDirectory;

UfStatus uf_tiff_directory_open(int fd, const char *name, UfTiffDirectory *out, UfReport *report);
/* The numbers of an entry of type SHORT, LONG or LONG8; the caller frees *values. *count is 0 without such an
 * entry. */
UfStatus uf_tiff_directory_numbers(const UfTiffDirectory *directory, uint16_t tag, uint64_t **values,
                                   size_t *count, UfReport *report);
/* Changes them; the entry and its count of numbers must exist. Numbers too large for the type get a wider
 * one. */
UfStatus uf_tiff_directory_set_numbers(UfTiffDirectory *directory, uint16_t tag, const uint64_t *values,
                                       size_t count, UfReport *report);
/* Sets an entry of type BYTE, in its old place where it fits, otherwise at the end of the file. */
UfStatus uf_tiff_directory_set_bytes(UfTiffDirectory *directory, uint16_t tag, UfBlob content,
                                     UfReport *report);
/* Appends bytes on an even offset and says where; refuses a classic file that would pass 4 GiB. */
UfStatus uf_tiff_directory_append(UfTiffDirectory *directory, const void *data, size_t size_bytes,
                                  uint64_t *offset, UfReport *report);
/* Writes over bytes that are there. */
UfStatus uf_tiff_directory_write(const UfTiffDirectory *directory, uint64_t offset, const void *data,
                                 size_t size_bytes, UfReport *report);

#endif
