/*
 * TIFF and BigTIFF through libtiff: reading, and the codec's entry. Writing anew is in tiff_write.c, changing
 * a part of a file, or its XMP alone, in tiff_rewrite.c.
 */
#include "picture/tiff_exif.h"

#include "base/smaller.h"
#include "picture/tiff_internal.h"

static bool matches(const uint8_t *head, size_t size_bytes)
{
    static const uint8_t magics[4][4] = {
        {'I', 'I', 42, 0}, {'M', 'M', 0, 42}, {'I', 'I', 43, 0}, {'M', 'M', 0, 43}};
    for (size_t i = 0; i < 4; i++)
        if (size_bytes >= 8 && memcmp(head, magics[i], 4) == 0)
            return true;
    return false;
}

typedef struct TiffReader {
    TIFF *tiff;
    UfTiffFile file;
    UfTiffLayout layout;
    UfPicture *picture;
    uint8_t *chunk; /* one tile, one strip, or one row of it */
    const uint16_t *palette[3];
    bool wide_palette; /* entries of 16 bits, as they should be; some files have 8 */
    const UfSparseRows *sparse;
    UfRowsRead rows;
} TiffReader;

/* Strips of more bytes than that are read row by row. */
#define WHOLE_STRIP_BYTES ((size_t)8 << 20)

static bool reads_whole_chunks(const UfTiffLayout *layout)
{
    return layout->tiled || layout->chunk_bytes <= WHOLE_STRIP_BYTES;
}

/* What is read at a time. */
static size_t chunk_bytes(const TiffReader *reader)
{
    const UfTiffLayout *layout = &reader->layout;
    return reads_whole_chunks(layout) ? layout->chunk_bytes : layout->chunk_bytes / layout->tile_height_px;
}

/* The chunk's `count` pixels to the row's pixel x, plane p (separate planes) or all channels. */
static void place(const TiffReader *reader, const uint8_t *chunk, size_t count, size_t y, size_t x,
                  size_t plane)
{
    const UfTiffLayout *layout = &reader->layout;
    size_t sample = (size_t)layout->sample, pixel = layout->channels * sample;
    uint8_t *out = (uint8_t *)uf_picture_row(reader->picture, y) + x * pixel;
    if (layout->photometric == PHOTOMETRIC_PALETTE)
        for (size_t i = 0; i < count; i++)
            for (size_t c = 0; c < 3; c++)
                out[3 * i + c] = (uint8_t)(reader->wide_palette ? (reader->palette[c][chunk[i]] + 128u) / 257u
                                                                : reader->palette[c][chunk[i]]);
    else if (layout->separate)
        for (size_t i = 0; i < count; i++)
            memcpy(out + i * pixel + plane * sample, chunk + i * sample, sample);
    else
        memcpy(out, chunk, count * pixel);
}

/* All of the chunk's rows. */
static bool is_passed_over(const UfSparseRows *sparse, size_t first_px, size_t rows)
{
    bool all = true;
    for (size_t y = first_px; all && y < first_px + rows; y++)
        all = uf_row_is_passed_over(sparse, y);
    return all;
}

/* All planes of the rows [first, end) are there, where they are held. */
static void finish_rows(TiffReader *reader, size_t first_px, size_t end_px)
{
    for (size_t y = uf_larger(first_px, reader->picture->held_first_px); y < end_px; y++)
        if (!uf_row_is_passed_over(reader->sparse, y))
            uf_tiff_row_from_file(&reader->layout, uf_picture_row(reader->picture, y),
                                  reader->layout.width_px);
    if (reader->layout.orientation == 1)
        uf_rows_tell(&reader->rows, reader->picture, end_px);
}

/* Row by row, from the strip's first one on: most compressions can only be begun with it. */
static UfStatus read_strip_rows(TiffReader *reader, size_t first, size_t end, size_t plane, UfReport *report)
{
    for (size_t y = first; y < end; y++) {
        if (TIFFReadScanline(reader->tiff, reader->chunk, (uint32_t)y, (uint16_t)plane) != 1)
            return uf_tiff_fail(&reader->file, "the TIFF's pixels are damaged", report);
        if (y >= reader->picture->held_first_px && !uf_row_is_passed_over(reader->sparse, y))
            place(reader, reader->chunk, reader->layout.width_px, y, 0, plane);
    }
    return UF_OK;
}

/* At once, for which libtiff has the faster decoder. */
static UfStatus read_strip(TiffReader *reader, size_t first, size_t end, size_t plane, UfReport *report)
{
    const UfTiffLayout *layout = &reader->layout;
    const size_t row_bytes = layout->chunk_bytes / layout->tile_height_px;
    const uint32_t strip = TIFFComputeStrip(reader->tiff, (uint32_t)first, (uint16_t)plane);
    const size_t rows = uf_smaller(layout->tile_height_px, layout->height_px - first);
    if (TIFFReadEncodedStrip(reader->tiff, strip, reader->chunk, (tmsize_t)(rows * row_bytes)) < 0)
        return uf_tiff_fail(&reader->file, "the TIFF's pixels are damaged", report);
    for (size_t y = uf_larger(first, reader->picture->held_first_px); y < end; y++)
        if (!uf_row_is_passed_over(reader->sparse, y))
            place(reader, reader->chunk + (y - first) * row_bytes, layout->width_px, y, 0, plane);
    return UF_OK;
}

static UfStatus read_strips(TiffReader *reader, UfReport *report)
{
    const size_t height = reader->layout.tile_height_px, held_end = reader->picture->held_end_px;
    const size_t planes = reader->layout.separate ? reader->layout.stored_channels : 1;
    for (size_t plane = 0; plane < planes; plane++)
        for (size_t y = reader->picture->held_first_px / height * height; y < held_end; y += height) {
            if (is_passed_over(reader->sparse, y, height))
                continue;
            const size_t end = uf_smaller(y + height, held_end);
            UfStatus status = reads_whole_chunks(&reader->layout)
                                  ? read_strip(reader, y, end, plane, report)
                                  : read_strip_rows(reader, y, end, plane, report);
            if (status != UF_OK)
                return status;
            if (plane + 1 == planes)
                finish_rows(reader, y, end);
        }
    return UF_OK;
}

static UfStatus read_tile(TiffReader *reader, size_t x, size_t y, size_t plane, UfReport *report)
{
    const UfTiffLayout *layout = &reader->layout;
    const size_t row_bytes = layout->chunk_bytes / layout->tile_height_px;
    if (TIFFReadTile(reader->tiff, reader->chunk, (uint32_t)x, (uint32_t)y, 0, (uint16_t)plane) < 0)
        return uf_tiff_fail(&reader->file, "the TIFF's pixels are damaged", report);
    const size_t columns = uf_smaller(layout->tile_width_px, layout->width_px - x);
    const size_t rows = uf_smaller(layout->tile_height_px, layout->height_px - y);
    for (size_t j = 0; j < rows; j++)
        if (!uf_row_is_passed_over(reader->sparse, y + j))
            place(reader, reader->chunk + j * row_bytes, columns, y + j, x, plane);
    return UF_OK;
}

static UfStatus read_tiles(TiffReader *reader, UfReport *report)
{
    const UfTiffLayout *layout = &reader->layout;
    size_t planes = layout->separate ? layout->stored_channels : 1;
    for (size_t plane = 0; plane < planes; plane++)
        for (size_t y = reader->picture->held_first_px; y < reader->picture->held_end_px;
             y += layout->tile_height_px) {
            if (is_passed_over(reader->sparse, y, layout->tile_height_px))
                continue;
            for (size_t x = 0; x < layout->width_px; x += layout->tile_width_px) {
                UfStatus status = read_tile(reader, x, y, plane, report);
                if (status != UF_OK)
                    return status;
            }
            if (plane + 1 == planes)
                finish_rows(reader, y, uf_smaller(y + layout->tile_height_px, layout->height_px));
        }
    return UF_OK;
}

static UfStatus read_palette(TiffReader *reader, UfReport *report)
{
    uint16_t *red, *green, *blue;
    if (reader->layout.photometric != PHOTOMETRIC_PALETTE)
        return UF_OK;
    if (!TIFFGetField(reader->tiff, TIFFTAG_COLORMAP, &red, &green, &blue))
        return uf_fail(report, UF_ERROR_FORMAT, "the TIFF says that it has a palette, and has none");
    reader->palette[0] = red;
    reader->palette[1] = green;
    reader->palette[2] = blue;
    for (size_t c = 0; c < 3; c++)
        for (size_t i = 0; i < 256; i++)
            reader->wide_palette |= reader->palette[c][i] > 255;
    return UF_OK;
}

static UfStatus read_blob(TIFF *tiff, uint32_t tag, UfBlob *out, UfReport *report)
{
    uint32_t size = 0;
    void *data = NULL;
    if (!TIFFGetField(tiff, tag, &size, &data) || size == 0 || data == NULL)
        return UF_OK;
    return uf_blob_set(out, data, size, report);
}

static UfStatus read_metadata(TIFF *tiff, UfMetadata *metadata, UfReport *report)
{
    UfStatus status = read_blob(tiff, TIFFTAG_ICCPROFILE, &metadata->icc, report);
    if (status == UF_OK)
        status = read_blob(tiff, TIFFTAG_XMLPACKET, &metadata->xmp, report);
    if (status == UF_OK)
        status = uf_tiff_read_exif(tiff, &metadata->exif, report);
    return status;
}

static UfStatus make_picture(TiffReader *reader, const UfReadOptions *options, UfReport *report)
{
    const UfTiffLayout *layout = &reader->layout;
    bool upright = layout->orientation == 1;
    /* libtiff holds a packed strip or tile beside the unpacked one */
    size_t chunk = chunk_bytes(reader);
    size_t turned =
        upright ? 0 : layout->width_px * layout->height_px * layout->channels * (size_t)layout->sample;
    size_t first = 0, end = layout->height_px;
    if (upright && layout->photometric != PHOTOMETRIC_PALETTE) /* palettes are not rewritten in part */
        uf_rows_wanted(options, layout->height_px, layout->tiled ? layout->tile_height_px : 1, &first, &end);
    UfStatus status = uf_check_size(layout->width_px, layout->height_px, 0, layout->sample, 0, 0, report);
    if (status == UF_OK)
        status = uf_check_size(layout->width_px, end - first, layout->channels, layout->sample,
                               2 * chunk + turned, options->max_memory_bytes, report);
    return status == UF_OK ? uf_picture_create_part(layout->width_px, layout->height_px, layout->channels,
                                                    layout->sample, first, end, &reader->picture, report)
                           : status;
}

static UfStatus read_all(TiffReader *reader, const UfReadOptions *options, UfReport *report)
{
    UfTiffLayout *layout = &reader->layout;
    UfStatus status = uf_tiff_layout(reader->tiff, layout, report);
    if (status != UF_OK)
        return status;
    status = read_palette(reader, report);
    if (status == UF_OK)
        status = make_picture(reader, options, report);
    if (status != UF_OK)
        return status;
    reader->chunk = uf_alloc(chunk_bytes(reader), 1);
    if (reader->chunk == NULL)
        return uf_fail_memory(report);
    static const UfSparseRows all = {0};
    reader->sparse = reader->picture->reserved_bytes > 0 ? &options->sparse : &all;
    reader->rows.options = options;
    status = read_metadata(reader->tiff, &reader->picture->metadata, report);
    if (status == UF_OK)
        status = layout->tiled ? read_tiles(reader, report) : read_strips(reader, report);
    return status == UF_OK ? uf_orient_upright(reader->picture, layout->orientation, report) : status;
}

/* Further pages don't follow into other files; smaller copies of the first one are no loss. */
static void warn_of_pages(TiffReader *reader, UfReport *report)
{
    size_t pages = 1;
    while (TIFFReadDirectory(reader->tiff) == 1) {
        uint32_t kind = 0;
        TIFFGetFieldDefaulted(reader->tiff, TIFFTAG_SUBFILETYPE, &kind);
        pages += (kind & FILETYPE_REDUCEDIMAGE) == 0 ? 1 : 0;
    }
    if (pages > 1)
        uf_warn(report, "%s: holds %zu pages; the first is used", reader->file.name, pages);
}

static UfStatus read_tiff(UfInput *input, const UfReadOptions *options, UfPicture **out, UfReport *report)
{
    TiffReader reader = {0};
    reader.tiff = uf_tiff_open(&reader.file, fileno(input->stream), input->path, "r", report);
    if (reader.tiff == NULL)
        return uf_tiff_fail(&reader.file, "the TIFF cannot be opened", report);
    UfStatus status = read_all(&reader, options, report);
    if (status == UF_OK) {
        warn_of_pages(&reader, report);
        reader.picture->format = UF_FORMAT_TIFF;
        *out = reader.picture;
    } else {
        uf_rows_gone(&reader.rows);
        uf_picture_free(&reader.picture);
    }
    free(reader.chunk);
    TIFFClose(reader.tiff);
    return status;
}

static UfStatus read_tiff_metadata(UfInput *input, UfMetadata *out, UfReport *report)
{
    UfTiffFile file;
    TIFF *tiff = uf_tiff_open(&file, fileno(input->stream), input->path, "r", report);
    if (tiff == NULL)
        return uf_tiff_fail(&file, "the TIFF cannot be opened", report);
    UfStatus status = read_metadata(tiff, out, report);
    TIFFClose(tiff);
    return status;
}

static UfStatus probe_tiff(UfInput *input, UfPictureInfo *out, UfReport *report)
{
    UfTiffFile file;
    UfTiffLayout layout;
    TIFF *tiff = uf_tiff_open(&file, fileno(input->stream), input->path, "r", report);
    if (tiff == NULL)
        return uf_tiff_fail(&file, "the TIFF cannot be opened", report);
    UfStatus status = uf_tiff_layout(tiff, &layout, report);
    if (status == UF_OK) {
        out->width_px = layout.width_px;
        out->height_px = layout.height_px;
        out->channels = layout.channels;
        out->sample = layout.sample;
        out->orientation = layout.orientation;
        out->tiled = layout.tiled;
        out->big_tiff = TIFFIsBigTIFF(tiff) != 0;
        (void)snprintf(out->encoding, sizeof out->encoding, "%s%s",
                       uf_tiff_compression_name(layout.compression),
                       layout.separate ? ", separate planes" : "");
    }
    TIFFClose(tiff);
    return status;
}

const UfCodec uf_codec_tiff = {
    .format = UF_FORMAT_TIFF,
    .name = "TIFF",
    .extensions = ".tif .tiff",
    .matches = matches,
    .probe = probe_tiff,
    .read_metadata = read_tiff_metadata,
    .read = read_tiff,
    .write = uf_tiff_write,
    .can_rewrite = uf_tiff_can_rewrite,
    .rewrite = uf_tiff_rewrite,
    .retag = uf_tiff_retag,
};
