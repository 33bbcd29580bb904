/* Packing one strip or tile as a given TIFF does. */
#ifndef UF_PICTURE_TIFF_PACK_H
#define UF_PICTURE_TIFF_PACK_H

#include "picture/tiff_internal.h"

/* What decides about the bytes of a packed strip beside the layout. */
typedef struct UfTiffPacking {
    bool big_endian, has_predictor;
    uint16_t predictor, fill_order;
    int level; /* of deflate, 1..9; 0: libtiff's own */
} UfTiffPacking;

UfTiffPacking uf_tiff_packing_of(TIFF *tiff);
/* `chunk` (in the machine's byte order) may be overwritten. The caller frees out->data. */
UfStatus uf_tiff_pack(const UfTiffLayout *layout, const UfTiffPacking *packing, void *chunk,
                      size_t size_bytes, size_t rows, UfBlob *out, UfReport *report);

#endif
