/*
 * TIFF and BigTIFF through libtiff: reading, writing anew, and the codec's entry. Changing a part of a file,
 * or its XMP alone, is in tiff_rewrite.c.
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
    uint8_t *chunk; /* one scanline, or one tile */
    const uint16_t *palette[3];
    bool wide_palette; /* entries of 16 bits, as they should be; some files have 8 */
    const UfSparseRows *sparse;
    UfRowsRead rows;
} TiffReader;

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

static UfStatus read_strips(TiffReader *reader, UfReport *report)
{
    const UfTiffLayout *layout = &reader->layout;
    const UfSparseRows *sparse = reader->sparse;
    /* most compressions can only be begun with a strip's first row */
    size_t start = reader->picture->held_first_px / layout->tile_height_px * layout->tile_height_px;
    size_t planes = layout->separate ? layout->stored_channels : 1;
    for (size_t plane = 0; plane < planes; plane++)
        for (size_t y = start; y < reader->picture->held_end_px; y++) {
            if (y % layout->tile_height_px == 0 && is_passed_over(sparse, y, layout->tile_height_px)) {
                y += layout->tile_height_px - 1;
                continue;
            }
            if (TIFFReadScanline(reader->tiff, reader->chunk, (uint32_t)y, (uint16_t)plane) != 1)
                return uf_tiff_fail(&reader->file, "the TIFF's pixels are damaged", report);
            if (y < reader->picture->held_first_px || uf_row_is_passed_over(sparse, y))
                continue;
            place(reader, reader->chunk, layout->width_px, y, 0, plane);
            if (plane + 1 == planes)
                finish_rows(reader, y, y + 1);
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
    size_t chunk = layout->tiled ? layout->chunk_bytes : layout->chunk_bytes / layout->tile_height_px;
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
    size_t chunk = layout->tiled ? layout->chunk_bytes : layout->chunk_bytes / layout->tile_height_px;
    reader->chunk = uf_alloc(chunk, 1);
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

/* See the numbers in png.c: zlib is the same. */
#define DEFLATE_LEVEL 4
/* Rows of a strip of about this size: small enough to change a part cheaply, large enough to pack well. */
#define STRIP_BYTES ((size_t)256 * 1024)
/* A classic file ends at 4 GiB; a part of that is left for metadata and for packing that makes data larger.
 */
#define CLASSIC_MAX_BYTES ((uint64_t)0xF0000000u)

static void set_tags(TIFF *tiff, const UfPicture *picture, UfSample sample)
{
    size_t row_bytes = picture->width_px * picture->channels * (size_t)sample;
    size_t rows = row_bytes >= STRIP_BYTES ? 1 : STRIP_BYTES / row_bytes;
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, (uint32_t)picture->width_px);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, (uint32_t)picture->height_px);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8 * (int)sample);
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT,
                 sample == UF_SAMPLE_F32 ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, (int)picture->channels);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC,
                 picture->channels >= 3 ? PHOTOMETRIC_RGB : PHOTOMETRIC_MINISBLACK);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, COMPRESSION_ADOBE_DEFLATE);
    TIFFSetField(tiff, TIFFTAG_ZIPQUALITY, DEFLATE_LEVEL);
    TIFFSetField(tiff, TIFFTAG_PREDICTOR,
                 sample == UF_SAMPLE_F32 ? PREDICTOR_FLOATINGPOINT : PREDICTOR_HORIZONTAL);
    TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP,
                 (uint32_t)(rows > picture->height_px ? picture->height_px : rows));
    if (uf_picture_has_alpha(picture)) {
        uint16_t alpha = EXTRASAMPLE_UNASSALPHA;
        TIFFSetField(tiff, TIFFTAG_EXTRASAMPLES, 1, &alpha);
    }
    const UfMetadata *metadata = &picture->metadata;
    if (metadata->icc.size_bytes > 0)
        TIFFSetField(tiff, TIFFTAG_ICCPROFILE, (uint32_t)metadata->icc.size_bytes, metadata->icc.data);
    if (metadata->xmp.size_bytes > 0)
        TIFFSetField(tiff, TIFFTAG_XMLPACKET, (uint32_t)metadata->xmp.size_bytes, metadata->xmp.data);
}

static UfStatus write_rows(TIFF *tiff, const UfTiffFile *file, const UfPicture *picture, UfSample sample,
                           const UfWriteOptions *options, UfReport *report)
{
    UfRowsToWrite rows = {.options = options};
    uint8_t *row = uf_alloc(picture->width_px, picture->channels * (size_t)sample);
    if (row == NULL)
        return uf_fail_memory(report);
    UfStatus status = UF_OK;
    for (size_t y = 0; y < picture->height_px && status == UF_OK; y++) {
        status = uf_rows_wait(&rows, y + 1, report);
        if (status != UF_OK)
            break;
        uf_row_as(picture, y, sample, row);
        if (TIFFWriteScanline(tiff, row, (uint32_t)y, 0) != 1)
            status = uf_tiff_fail(file, "cannot be written", report);
    }
    free(row);
    return status;
}

static UfStatus write_tiff(const UfPicture *picture, const UfWriteOptions *options, UfOutput *output,
                           UfReport *report)
{
    UfTiffFile file;
    UfSample sample = options->depth_bits == 8    ? UF_SAMPLE_U8
                      : options->depth_bits == 16 ? UF_SAMPLE_U16
                                                  : picture->sample;
    uint64_t bytes = (uint64_t)picture->width_px * picture->height_px * picture->channels * (uint64_t)sample;
    TIFF *tiff = uf_tiff_open(&file, fileno(output->stream), output->final_path,
                              bytes > CLASSIC_MAX_BYTES ? "w8" : "w", report);
    if (tiff == NULL)
        return uf_tiff_fail(&file, "cannot be written", report);
    set_tags(tiff, picture, sample);
    UfStatus status = uf_tiff_write_exif(tiff, picture->metadata.exif, report);
    if (status == UF_OK)
        status = write_rows(tiff, &file, picture, sample, options, report);
    if (status == UF_OK && TIFFWriteDirectory(tiff) != 1)
        status = uf_tiff_fail(&file, "cannot be written", report);
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
    .write = write_tiff,
    .can_rewrite = uf_tiff_can_rewrite,
    .rewrite = uf_tiff_rewrite,
    .retag = uf_tiff_retag,
};
