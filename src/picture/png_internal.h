/* What the PNG files share: chunk types, and the metadata inside chunks. */
#ifndef UF_PICTURE_PNG_INTERNAL_H
#define UF_PICTURE_PNG_INTERNAL_H

#include "picture/picture_internal.h"

/* A chunk's type as the number that its four letters make, big-endian. */
#define UF_PNG_TYPE(a, b, c, d)                                                                              \
    ((uint32_t)(a) << 24 | (uint32_t)(b) << 16 | (uint32_t)(c) << 8 | (uint32_t)(d))
#define UF_PNG_IHDR UF_PNG_TYPE('I', 'H', 'D', 'R')
#define UF_PNG_IDAT UF_PNG_TYPE('I', 'D', 'A', 'T')
#define UF_PNG_IEND UF_PNG_TYPE('I', 'E', 'N', 'D')
#define UF_PNG_ICCP UF_PNG_TYPE('i', 'C', 'C', 'P')
#define UF_PNG_EXIF UF_PNG_TYPE('e', 'X', 'I', 'f')
#define UF_PNG_ITXT UF_PNG_TYPE('i', 'T', 'X', 't')

/* No chunk of metadata that makes sense is larger, packed or unpacked. */
#define UF_PNG_MAX_CHUNK_BYTES ((size_t)256 << 20)

/* True for the iTXt chunk whose keyword says that it holds XMP. */
bool uf_png_is_xmp(uint32_t type, const uint8_t *data, size_t size_bytes);
/* Sorts one ancillary chunk of a file into the metadata. channels and bits: what the picture is read as. */
UfStatus uf_png_read_chunk(uint32_t type, const uint8_t *data, size_t size_bytes, const char *name,
                           size_t channels, UfMetadata *out, UfReport *report);
/* The payload of the iTXt chunk for an XMP packet; the caller frees out->data. */
UfStatus uf_png_xmp_chunk(UfBlob xmp, UfBlob *out, UfReport *report);
/* The payload of the iCCP chunk for a profile; the caller frees out->data. */
UfStatus uf_png_icc_chunk(UfBlob icc, UfBlob *out, UfReport *report);
/* True for chunks that stand before PLTE and IDAT (PNG, table 7). */
bool uf_png_stands_first(uint32_t type);

/* True when nothing but pixels stands from the first IDAT on. The stream may be left anywhere. */
bool uf_png_metadata_come_first(UfInput *input);
UfStatus uf_png_read_metadata(UfInput *input, UfMetadata *out, UfReport *report);
UfStatus uf_png_retag(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report);

#endif
