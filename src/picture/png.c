/*
 * PNG (W3C PNG Specification, third edition) through libpng: reading, and the chunks of a new file. The coded
 * rows are png_coder's; where only rows below some row have changed, the stream above it is kept (png_keep).
 * Exchanging the XMP alone is in png_chunks.c.
 */
#include <setjmp.h>

#include <png.h>

#include "picture/png_coder.h"
#include "picture/png_internal.h"

/* Largest piece of a kept stream that becomes one IDAT chunk. */
#define PIECE_BYTES ((size_t)1 << 18)

typedef struct PngErrors {
    jmp_buf jump;
    UfReport *report;
    const char *name;
    FILE *stream;
    bool writing;
    UfStatus status;
} PngErrors;

static void on_error(png_structp png, png_const_charp text)
{
    PngErrors *errors = png_get_error_ptr(png);
    if (ferror(errors->stream))
        errors->status = uf_fail_errno(
            errors->report, errors->writing ? "cannot be written" : "cannot be read", errors->name);
    else if (strstr(text, "ut of memory") != NULL || strstr(text, "nsufficient memory") != NULL)
        errors->status = uf_fail_memory(errors->report);
    else if (strcmp(text, "Read Error") == 0)
        errors->status = uf_fail(errors->report, UF_ERROR_FORMAT, "the PNG ends too early");
    else
        errors->status = uf_fail(errors->report, UF_ERROR_FORMAT, "the PNG is damaged (libpng: %s)", text);
    longjmp(errors->jump, 1);
}

static void on_warning(png_structp png, png_const_charp text)
{
    PngErrors *errors = png_get_error_ptr(png);
    uf_warn(errors->report, "%s: %s", errors->name, text);
}

static bool matches(const uint8_t *head, size_t size_bytes)
{
    return size_bytes >= 8 && png_sig_cmp(head, 0, 8) == 0;
}

typedef struct PngReader {
    png_structp png;
    png_infop info;
    PngErrors errors;
    UfPicture *picture;
    UfMetadata metadata;
    uint32_t width, height;
    int bits, colour_type, interlace;
    bool transparent; /* tRNS */
    bool comes_first; /* all metadata do: rows can be told of */
    UfRowsRead rows;
} PngReader;

/* Everything but IHDR, PLTE, tRNS, IDAT and IEND comes as bytes, in the order of the file. */
static void keep_chunks(png_structp png)
{
    static const png_byte names[] = "bKGD\0cHRM\0eXIf\0gAMA\0hIST\0iCCP\0iTXt\0oFFs\0pCAL\0pHYs\0sBIT\0sCAL\0"
                                    "sPLT\0sRGB\0tEXt\0tIME\0zTXt";
    png_set_keep_unknown_chunks(png, PNG_HANDLE_CHUNK_ALWAYS, NULL, 0);
    png_set_keep_unknown_chunks(png, PNG_HANDLE_CHUNK_ALWAYS, names, (int)(sizeof names / 5));
}

static void open_png(PngReader *reader, UfInput *input)
{
    rewind(input->stream);
    png_init_io(reader->png, input->stream);
    png_set_user_limits(reader->png, UF_PICTURE_MAX_SIDE_PX, UF_PICTURE_MAX_SIDE_PX);
    png_set_chunk_malloc_max(reader->png, UF_PNG_MAX_CHUNK_BYTES);
    png_set_crc_action(reader->png, PNG_CRC_ERROR_QUIT, PNG_CRC_ERROR_QUIT);
    keep_chunks(reader->png);
    png_read_info(reader->png, reader->info);
    png_get_IHDR(reader->png, reader->info, &reader->width, &reader->height, &reader->bits,
                 &reader->colour_type, &reader->interlace, NULL, NULL);
    reader->transparent = png_get_valid(reader->png, reader->info, PNG_INFO_tRNS) != 0;
}

static size_t channels_of(const PngReader *reader)
{
    size_t colours =
        reader->colour_type == PNG_COLOR_TYPE_GRAY || reader->colour_type == PNG_COLOR_TYPE_GRAY_ALPHA ? 1
                                                                                                       : 3;
    return colours + ((reader->colour_type & PNG_COLOR_MASK_ALPHA) != 0 || reader->transparent ? 1 : 0);
}

static UfSample sample_of(const PngReader *reader)
{
    return reader->bits == 16 ? UF_SAMPLE_U16 : UF_SAMPLE_U8;
}

/* Palette to RGB, few bits to eight, a transparent colour to alpha, 16 bits to the machine's byte order. */
static int set_transforms(PngReader *reader)
{
    if (reader->colour_type == PNG_COLOR_TYPE_PALETTE)
        png_set_palette_to_rgb(reader->png);
    if (reader->colour_type == PNG_COLOR_TYPE_GRAY && reader->bits < 8)
        png_set_expand_gray_1_2_4_to_8(reader->png);
    if (reader->transparent)
        png_set_tRNS_to_alpha(reader->png);
#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    if (reader->bits == 16)
        png_set_swap(reader->png);
#endif
    int passes = png_set_interlace_handling(reader->png);
    png_read_update_info(reader->png, reader->info);
    return passes;
}

static UfStatus read_chunks(PngReader *reader, UfReport *report)
{
    png_unknown_chunkp chunks = NULL;
    int count = png_get_unknown_chunks(reader->png, reader->info, &chunks);
    UfStatus status = UF_OK;
    for (int i = 0; i < count && status == UF_OK; i++) {
        const png_byte *n = chunks[i].name;
        status = uf_png_read_chunk(UF_PNG_TYPE(n[0], n[1], n[2], n[3]), chunks[i].data, chunks[i].size,
                                   reader->errors.name, channels_of(reader), &reader->metadata, report);
    }
    return status;
}

/* Into the picture. */
static UfStatus take_chunks(PngReader *reader, UfReport *report)
{
    UfStatus status = read_chunks(reader, report);
    if (status != UF_OK)
        return status;
    reader->picture->metadata = reader->metadata;
    reader->metadata = (UfMetadata){0};
    return UF_OK;
}

static UfStatus read_pixels(PngReader *reader, size_t max_memory_bytes, UfReport *report)
{
    size_t channels = channels_of(reader);
    UfSample sample = sample_of(reader);
    UfStatus status =
        uf_check_size(reader->width, reader->height, channels, sample, 0, max_memory_bytes, report);
    if (status == UF_OK)
        status = uf_picture_create(reader->width, reader->height, channels, sample, &reader->picture, report);
    if (status != UF_OK)
        return status;
    int passes = set_transforms(reader);
    if (png_get_rowbytes(reader->png, reader->info) != reader->picture->stride_bytes)
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "this kind of PNG is not handled");
    reader->comes_first = reader->comes_first && passes == 1;
    if (reader->comes_first)
        status = take_chunks(reader, report);
    if (status != UF_OK)
        return status;
    const bool tells = reader->comes_first && uf_exif_orientation(reader->picture->metadata.exif) == 1;
    for (int pass = 0; pass < passes; pass++)
        for (size_t y = 0; y < reader->height; y++) {
            png_read_row(reader->png, uf_picture_row(reader->picture, y), NULL);
            if (tells)
                uf_rows_tell(&reader->rows, reader->picture, y + 1);
        }
    png_read_end(reader->png, reader->info);
    return reader->comes_first ? UF_OK : take_chunks(reader, report);
}

static UfStatus turn_upright(PngReader *reader, size_t max_memory_bytes, UfReport *report)
{
    UfPicture *picture = reader->picture;
    int orientation = uf_exif_orientation(picture->metadata.exif);
    if (orientation == 1)
        return UF_OK;
    UfStatus status = uf_check_size(picture->width_px, picture->height_px, picture->channels, picture->sample,
                                    picture->stride_bytes * picture->height_px, max_memory_bytes, report);
    return status == UF_OK ? uf_orient_upright(picture, orientation, report) : status;
}

static UfStatus read_all(PngReader *reader, UfInput *input, size_t max_memory_bytes, UfReport *report)
{
    if (setjmp(reader->errors.jump))
        return reader->errors.status;
    open_png(reader, input);
    UfStatus status = read_pixels(reader, max_memory_bytes, report);
    return status == UF_OK ? turn_upright(reader, max_memory_bytes, report) : status;
}

/* NULL without memory. */
static PngReader *reader_create(UfInput *input, UfReport *report)
{
    PngReader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return NULL;
    reader->errors = (PngErrors){.report = report, .name = input->path, .stream = input->stream};
    reader->png = png_create_read_struct(PNG_LIBPNG_VER_STRING, &reader->errors, on_error, on_warning);
    reader->info = reader->png == NULL ? NULL : png_create_info_struct(reader->png);
    if (reader->info != NULL)
        return reader;
    png_destroy_read_struct(&reader->png, NULL, NULL);
    free(reader);
    return NULL;
}

static void reader_free(PngReader *reader)
{
    png_destroy_read_struct(&reader->png, &reader->info, NULL);
    uf_metadata_clear(&reader->metadata);
    uf_picture_free(&reader->picture);
    free(reader);
}

static UfStatus read_png(UfInput *input, const UfReadOptions *options, UfPicture **out, UfReport *report)
{
    PngReader *reader = reader_create(input, report);
    if (reader == NULL)
        return uf_fail_memory(report);
    reader->rows.options = options;
    reader->comes_first = options->rows_read != NULL && uf_png_metadata_come_first(input);
    UfStatus status = read_all(reader, input, options->max_memory_bytes, report);
    if (status == UF_OK) {
        reader->picture->format = UF_FORMAT_PNG;
        *out = reader->picture;
        reader->picture = NULL;
    } else {
        uf_rows_gone(&reader->rows);
    }
    reader_free(reader);
    return status;
}

static UfStatus probe_all(PngReader *reader, UfInput *input, UfPictureInfo *out, UfReport *report)
{
    if (setjmp(reader->errors.jump))
        return reader->errors.status;
    open_png(reader, input);
    UfStatus status = read_chunks(reader, report);
    if (status != UF_OK)
        return status;
    static const char *const kinds[] = {"grey", "", "RGB", "palette", "grey + alpha", "", "RGBA"};
    out->width_px = reader->width;
    out->height_px = reader->height;
    out->channels = channels_of(reader);
    out->sample = sample_of(reader);
    out->orientation = uf_exif_orientation(reader->metadata.exif);
    out->progressive = reader->interlace != PNG_INTERLACE_NONE;
    (void)snprintf(out->encoding, sizeof out->encoding, "deflate %d-bit %s%s", reader->bits,
                   kinds[reader->colour_type % 7], out->progressive ? ", interlaced" : "");
    return UF_OK;
}

static UfStatus probe_png(UfInput *input, UfPictureInfo *out, UfReport *report)
{
    PngReader *reader = reader_create(input, report);
    if (reader == NULL)
        return uf_fail_memory(report);
    UfStatus status = probe_all(reader, input, out, report);
    reader_free(reader);
    return status;
}

typedef struct PngWriter {
    png_structp png;
    png_infop info;
    PngErrors errors;
    UfBlob icc_chunk, xmp_chunk;
    UfPngCoder *coder;
    UfPngStream *old; /* the source's stream, and how much of it stays */
    UfPngKept kept;
    uint8_t *piece;
} PngWriter;

static void write_chunk(png_structp png, uint32_t type, UfBlob content)
{
    png_byte name[4] = {(png_byte)(type >> 24), (png_byte)(type >> 16), (png_byte)(type >> 8),
                        (png_byte)type};
    png_write_chunk(png, name, content.data, content.size_bytes);
}

/* Significant bits speak of a depth: kept where they fit it. */
static bool extra_is_true(const UfExtra *extra, const UfPicture *picture, UfSample sample)
{
    if (extra->kind != UF_PNG_TYPE('s', 'B', 'I', 'T'))
        return true;
    for (size_t i = 0; i < extra->content.size_bytes; i++)
        if (extra->content.data[i] > 8u * (unsigned)sample)
            return false;
    return extra->content.size_bytes == picture->channels;
}

static void write_extras(png_structp png, const UfPicture *picture, UfSample sample, bool first)
{
    const UfMetadata *metadata = &picture->metadata;
    for (size_t i = 0; i < metadata->extra_count; i++) {
        const UfExtra *extra = &metadata->extras[i];
        if (extra->format == UF_FORMAT_PNG && uf_png_stands_first(extra->kind) == first &&
            extra_is_true(extra, picture, sample))
            write_chunk(png, extra->kind, extra->content);
    }
}

static void write_head(PngWriter *writer, const UfPicture *picture, UfSample sample, UfOutput *output)
{
    static const int colour_types[] = {0, PNG_COLOR_TYPE_GRAY, PNG_COLOR_TYPE_GRAY_ALPHA, PNG_COLOR_TYPE_RGB,
                                       PNG_COLOR_TYPE_RGB_ALPHA};
    png_structp png = writer->png;
    png_init_io(png, output->stream);
    png_set_user_limits(png, UF_PICTURE_MAX_SIDE_PX, UF_PICTURE_MAX_SIDE_PX);
    png_set_IHDR(png, writer->info, (uint32_t)picture->width_px, (uint32_t)picture->height_px,
                 8 * (int)sample, colour_types[picture->channels], PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_write_info(png, writer->info);
    write_extras(png, picture, sample, true);
    if (writer->icc_chunk.size_bytes > 0)
        write_chunk(png, UF_PNG_ICCP, writer->icc_chunk);
    if (picture->metadata.exif.size_bytes > 0)
        write_chunk(png, UF_PNG_EXIF, picture->metadata.exif);
    if (writer->xmp_chunk.size_bytes > 0)
        write_chunk(png, UF_PNG_ITXT, writer->xmp_chunk);
    write_extras(png, picture, sample, false);
}

/* The kept bytes of the source's stream under a header that allows every window. */
static UfStatus write_kept(PngWriter *writer, UfReport *report)
{
    uint64_t left = writer->kept.bytes;
    for (bool is_first = true; left > 0; is_first = false) {
        size_t got, want = left < PIECE_BYTES ? (size_t)left : PIECE_BYTES;
        UfStatus status = uf_png_stream_read(writer->old, writer->piece, want, &got, report);
        if (status != UF_OK)
            return status;
        if (got != want)
            return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
        if (is_first)
            memcpy(writer->piece, UF_PNG_STREAM_HEADER, 2);
        write_chunk(writer->png, UF_PNG_IDAT, (UfBlob){writer->piece, want});
        left -= want;
    }
    return UF_OK;
}

static UfStatus write_all(PngWriter *writer, const UfPicture *picture, UfSample sample, UfOutput *output,
                          UfReport *report)
{
    if (setjmp(writer->errors.jump))
        return writer->errors.status;
    write_head(writer, picture, sample, output);
    UfStatus status = write_kept(writer, report);
    for (UfBlob piece = {0}; status == UF_OK;) {
        const uint8_t *data = NULL;
        status = uf_png_coder_next(writer->coder, &data, &piece.size_bytes, report);
        if (status != UF_OK || piece.size_bytes == 0)
            break;
        png_write_chunk(writer->png, (png_const_bytep) "IDAT", data, piece.size_bytes);
    }
    if (status == UF_OK) /* png_write_end wants to have seen the rows itself */
        png_write_chunk(writer->png, (png_const_bytep) "IEND", NULL, 0);
    return status;
}

static UfStatus prepare_chunks(PngWriter *writer, const UfMetadata *metadata, UfReport *report)
{
    UfStatus status = UF_OK;
    if (metadata->icc.size_bytes > 0)
        status = uf_png_icc_chunk(metadata->icc, &writer->icc_chunk, report);
    if (status == UF_OK && metadata->xmp.size_bytes > 0)
        status = uf_png_xmp_chunk(metadata->xmp, &writer->xmp_chunk, report);
    return status;
}

/* Writes the picture; writer->kept says what stays of the source. Clears the writer. */
static UfStatus write_with(PngWriter *writer, const UfPicture *picture, UfSample sample,
                           const UfWriteOptions *options, UfOutput *output, UfReport *report)
{
    writer->errors =
        (PngErrors){.report = report, .name = output->final_path, .stream = output->stream, .writing = true};
    UfStatus status = prepare_chunks(writer, &picture->metadata, report);
    if (status == UF_OK)
        status = uf_png_coder_create(picture, sample, &writer->kept, options, &writer->coder, report);
    if (status != UF_OK)
        goto cleanup;
    writer->png = png_create_write_struct(PNG_LIBPNG_VER_STRING, &writer->errors, on_error, on_warning);
    writer->info = writer->png == NULL ? NULL : png_create_info_struct(writer->png);
    writer->piece = uf_alloc(PIECE_BYTES, 1);
    if (writer->piece == NULL || writer->info == NULL)
        status = uf_fail_memory(report);
    else
        status = write_all(writer, picture, sample, output, report);
cleanup:
    png_destroy_write_struct(&writer->png, &writer->info);
    uf_png_coder_free(&writer->coder);
    uf_png_kept_clear(&writer->kept);
    free(writer->piece);
    free(writer->icc_chunk.data);
    free(writer->xmp_chunk.data);
    return status;
}

static UfStatus write_png(const UfPicture *picture, const UfWriteOptions *options, UfOutput *output,
                          UfReport *report)
{
    UfSample sample = picture->sample == UF_SAMPLE_U8 ? UF_SAMPLE_U8 : UF_SAMPLE_U16;
    PngWriter writer = {0};
    if (options->depth_bits != 0)
        sample = options->depth_bits == 8 ? UF_SAMPLE_U8 : UF_SAMPLE_U16;
    return write_with(&writer, picture, sample, options, output, report);
}

/* Rows as they are stored: not interlaced, no palette, no transparent colour, no small samples, upright. */
static bool can_rewrite(UfInput *source)
{
    UfPictureInfo info = {0};
    UfReport *unheard = uf_report_create();
    PngReader *reader = reader_create(source, unheard);
    bool can = reader != NULL && probe_all(reader, source, &info, unheard) == UF_OK && !info.progressive &&
               info.orientation == 1 && reader->bits >= 8 && reader->colour_type != PNG_COLOR_TYPE_PALETTE &&
               png_get_valid(reader->png, reader->info, PNG_INFO_tRNS) == 0;
    if (reader != NULL)
        reader_free(reader);
    uf_report_free(&unheard);
    rewind(source->stream);
    return can;
}

static size_t first_touched_row(const UfPicture *picture, const UfTouched *touched)
{
    size_t y = 0;
    while (y < picture->height_px &&
           !uf_touched_any(touched, 0, y, picture->width_px, y + UF_TOUCHED_CELL_PX))
        y += UF_TOUCHED_CELL_PX;
    return y < picture->height_px ? y : picture->height_px;
}

static UfStatus rewrite_png(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                            const UfWriteOptions *options, UfOutput *output, UfReport *report)
{
    PngWriter writer = {0};
    size_t row_bytes = picture->width_px * picture->channels * (size_t)picture->sample;
    UfStatus status =
        uf_png_keep(source, first_touched_row(picture, touched), row_bytes, &writer.kept, report);
    if (status == UF_OK)
        status = uf_png_stream_open(source, &writer.old, report);
    if (status == UF_OK)
        status = write_with(&writer, picture, picture->sample, options, output, report);
    uf_png_kept_clear(&writer.kept);
    uf_png_stream_close(&writer.old);
    return status;
}

const UfCodec uf_codec_png = {
    .format = UF_FORMAT_PNG,
    .name = "PNG",
    .extensions = ".png",
    .matches = matches,
    .probe = probe_png,
    .read_metadata = uf_png_read_metadata,
    .read = read_png,
    .write = write_png,
    .can_rewrite = can_rewrite,
    .rewrite = rewrite_png,
    .retag = uf_png_retag,
};
