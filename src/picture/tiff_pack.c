/* One strip or tile packed as another TIFF packs its own: libtiff writes a file of that strip alone, in
 * memory. */
#include "picture/tiff_pack.h"

#include <stdarg.h>

typedef struct Memory {
    uint8_t *data;
    size_t size_bytes, capacity, position;
} Memory;

static tmsize_t read_memory(thandle_t handle, void *buffer, tmsize_t size)
{
    Memory *memory = handle;
    size_t left = memory->position < memory->size_bytes ? memory->size_bytes - memory->position : 0;
    size_t part = (size_t)size < left ? (size_t)size : left;
    if (part > 0)
        memcpy(buffer, memory->data + memory->position, part);
    memory->position += part;
    return (tmsize_t)part;
}

static tmsize_t write_memory(thandle_t handle, void *buffer, tmsize_t size)
{
    Memory *memory = handle;
    size_t end = memory->position + (size_t)size;
    if (end < memory->position)
        return 0;
    if (end > memory->capacity) {
        size_t capacity = end > SIZE_MAX / 2 ? end : end + end / 2;
        uint8_t *grown = uf_realloc(memory->data, capacity, 1);
        if (grown == NULL)
            return 0;
        memset(grown + memory->capacity, 0, capacity - memory->capacity);
        memory->data = grown;
        memory->capacity = capacity;
    }
    memcpy(memory->data + memory->position, buffer, (size_t)size);
    memory->position = end;
    memory->size_bytes = end > memory->size_bytes ? end : memory->size_bytes;
    return size;
}

static toff_t seek_memory(thandle_t handle, toff_t offset, int whence)
{
    Memory *memory = handle;
    toff_t base = whence == SEEK_CUR ? memory->position : whence == SEEK_END ? memory->size_bytes : 0;
    memory->position = (size_t)(base + offset);
    return base + offset;
}

static int close_memory(thandle_t handle)
{
    (void)handle;
    return 0;
}

static toff_t memory_size(thandle_t handle)
{
    return ((Memory *)handle)->size_bytes;
}

static int ignore_message(TIFF *tiff, void *user, const char *module, const char *format, va_list arguments)
{
    (void)tiff;
    (void)user;
    (void)module;
    (void)format;
    (void)arguments;
    return 1;
}

static TIFF *open_memory(Memory *memory, const char *mode)
{
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();
    if (options == NULL)
        return NULL;
    TIFFOpenOptionsSetErrorHandlerExtR(options, ignore_message, NULL);
    TIFFOpenOptionsSetWarningHandlerExtR(options, ignore_message, NULL);
    TIFF *tiff = TIFFClientOpenExt("strip", mode, memory, read_memory, write_memory, seek_memory,
                                   close_memory, memory_size, NULL, NULL, options);
    TIFFOpenOptionsFree(options);
    return tiff;
}

static void set_tags(TIFF *tiff, const UfTiffLayout *layout, const UfTiffPacking *packing, size_t rows)
{
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, (uint32_t)layout->tile_width_px);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, (uint32_t)rows);
    TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, (uint32_t)rows);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8 * (int)layout->sample);
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT,
                 layout->sample == UF_SAMPLE_F32 ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, layout->separate ? 1 : (int)layout->stored_channels);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISBLACK);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_FILLORDER, packing->fill_order);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, layout->compression);
    if (packing->level > 0)
        TIFFSetField(tiff, TIFFTAG_ZIPQUALITY, packing->level);
    if (packing->has_predictor)
        TIFFSetField(tiff, TIFFTAG_PREDICTOR, packing->predictor);
}

UfTiffPacking uf_tiff_packing_of(TIFF *tiff)
{
    UfTiffPacking packing = {.fill_order = FILLORDER_MSB2LSB, .big_endian = TIFFIsBigEndian(tiff) != 0};
    uint16_t compression = COMPRESSION_NONE;
    TIFFGetFieldDefaulted(tiff, TIFFTAG_COMPRESSION, &compression);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_FILLORDER, &packing.fill_order);
    if (compression != COMPRESSION_NONE && compression != COMPRESSION_PACKBITS)
        packing.has_predictor = TIFFGetField(tiff, TIFFTAG_PREDICTOR, &packing.predictor) == 1;
    return packing;
}

UfStatus uf_tiff_pack(const UfTiffLayout *layout, const UfTiffPacking *packing, void *chunk,
                      size_t size_bytes, size_t rows, UfBlob *out, UfReport *report)
{
    /*
     * The floating-point predictor puts the samples' bytes in an order of its own, whatever the file's is
     * (Adobe Photoshop TIFF Technical Note 3). libtiff 4.5 reads that so, but swaps them when it writes the
     * foreign order.
     */
    bool own_order = packing->has_predictor && packing->predictor == PREDICTOR_FLOATINGPOINT;
    Memory memory = {0};
    UfBlob packed = {0};
    TIFF *tiff = open_memory(&memory, own_order ? "w" : packing->big_endian ? "wb" : "wl");
    if (tiff == NULL)
        return uf_fail_memory(report);
    set_tags(tiff, layout, packing, rows);
    if (TIFFWriteEncodedStrip(tiff, 0, chunk, (tmsize_t)size_bytes) == (tmsize_t)size_bytes) {
        uint64_t offset = TIFFGetStrileOffset(tiff, 0), count = TIFFGetStrileByteCount(tiff, 0);
        if (count > 0 && offset <= memory.size_bytes && count <= memory.size_bytes - offset) {
            packed.data = uf_duplicate(memory.data + offset, (size_t)count);
            packed.size_bytes = (size_t)count;
        }
    }
    TIFFClose(tiff);
    free(memory.data);
    if (packed.data == NULL)
        return uf_fail(report, UF_ERROR_MEMORY, "a strip or tile of the TIFF cannot be packed");
    *out = packed;
    return UF_OK;
}
