/*
 * JPEG (ITU-T T.81) through libjpeg-turbo: reading, writing anew, and the codec's entry. Changing a part of a
 * file is in jpeg_rewrite.c, exchanging its XMP in jpeg_retag.c.
 */
#include "picture/jpeg_rows.h"

#define DEFAULT_QUALITY 92
/*
 * From this quality on colour is kept at full resolution: patched edges of saturated logos are where halved
 * colour shows. Below it the file's size matters more, and 4:2:0 is what viewers expect. Common practice, no
 * source.
 */
#define FULL_COLOUR_QUALITY 90

static bool matches(const uint8_t *head, size_t size_bytes)
{
    return size_bytes >= 3 && head[0] == 0xFF && head[1] == 0xD8 && head[2] == 0xFF;
}

UfStatus uf_jpeg_open(struct jpeg_decompress_struct *jpeg, FILE *stream, UfReport *report)
{
    rewind(stream);
    jpeg_stdio_src(jpeg, stream);
    jpeg_save_markers(jpeg, JPEG_COM, 0xFFFF);
    for (int i = 0; i < 16; i++)
        jpeg_save_markers(jpeg, JPEG_APP0 + i, 0xFFFF);
    jpeg_read_header(jpeg, TRUE);
    ((UfJpegErrors *)jpeg->err)->in_image = true;
    switch (jpeg->jpeg_color_space) {
    case JCS_GRAYSCALE:
        jpeg->out_color_space = JCS_GRAYSCALE;
        return UF_OK;
    case JCS_RGB:
    case JCS_YCbCr:
        jpeg->out_color_space = JCS_RGB;
        return UF_OK;
    case JCS_CMYK:
    case JCS_YCCK:
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "is a CMYK picture; convert it to RGB in your image editor first");
    default:
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "has %d colour components of unknown meaning; save it as grey or RGB",
                       jpeg->num_components);
    }
}

UfStatus uf_jpeg_check_quantisation(const struct jpeg_decompress_struct *jpeg, UfReport *report)
{
    for (int i = 0; i < jpeg->num_components; i++) {
        /* a component that no scan has brought has none yet; new blocks of it would be made with this one */
        int number = jpeg->comp_info[i].quant_tbl_no;
        const JQUANT_TBL *table = jpeg->comp_info[i].quant_table != NULL   ? jpeg->comp_info[i].quant_table
                                  : number >= 0 && number < NUM_QUANT_TBLS ? jpeg->quant_tbl_ptrs[number]
                                                                           : NULL;
        for (int k = 0; table != NULL && k < DCTSIZE2; k++)
            if (table->quantval[k] == 0)
                return uf_fail(
                    report, UF_ERROR_FORMAT,
                    "is damaged: a quantisation table holds a zero; take the file from its source again");
    }
    return UF_OK;
}

uint64_t uf_jpeg_data_start(const struct jpeg_decompress_struct *jpeg, const UfInput *input)
{
    return (uint64_t)ftello(input->stream) - jpeg->src->bytes_in_buffer;
}

size_t uf_jpeg_coefficient_bytes(const struct jpeg_decompress_struct *jpeg)
{
    size_t blocks = 0;
    for (int i = 0; i < jpeg->num_components; i++)
        blocks += (size_t)jpeg->comp_info[i].width_in_blocks * jpeg->comp_info[i].height_in_blocks;
    return blocks * sizeof(JBLOCK);
}

/* What libjpeg and the turning need beside the pixels. */
static size_t extra_bytes(struct jpeg_decompress_struct *jpeg, int orientation)
{
    size_t extra = jpeg_has_multiple_scans(jpeg) ? uf_jpeg_coefficient_bytes(jpeg) : 0;
    if (orientation != 1)
        extra +=
            (size_t)jpeg->image_width * jpeg->image_height * (jpeg->out_color_space == JCS_RGB ? 3u : 1u);
    return extra;
}

/* All that reading holds, so that the jump back finds it. */
typedef struct Reader {
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfPicture *picture;
    UfMetadata metadata;
    uint8_t *unwanted; /* room for a row that is not kept */
    bool upright;      /* as it is stored */
    UfRowsRead rows;
} Reader;

/* The rows that are wanted; libjpeg has to pass through the others, too, but they are not kept. */
static UfStatus read_pixels(Reader *reader, const UfReadOptions *options, UfReport *report)
{
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    jpeg_start_decompress(jpeg);
    UfStatus status = uf_jpeg_check_quantisation(jpeg, report);
    if (status == UF_OK && reader->picture->reserved_bytes > 0)
        reader->unwanted = uf_alloc(jpeg->output_width, (size_t)jpeg->output_components);
    if (status == UF_OK && reader->picture->reserved_bytes > 0 && reader->unwanted == NULL)
        status = uf_fail_memory(report);
    while (status == UF_OK && jpeg->output_scanline < jpeg->output_height) {
        size_t y = jpeg->output_scanline;
        bool wanted = y >= reader->picture->held_first_px && y < reader->picture->held_end_px &&
                      (reader->unwanted == NULL || !uf_row_is_passed_over(&options->sparse, y));
        JSAMPROW row = wanted ? uf_picture_row(reader->picture, y) : reader->unwanted;
        jpeg_read_scanlines(jpeg, &row, 1);
        if (reader->upright)
            uf_rows_tell(&reader->rows, reader->picture, y + 1);
    }
    if (status == UF_OK)
        jpeg_finish_decompress(jpeg);
    return status;
}

static UfStatus make_picture(Reader *reader, const UfReadOptions *options, int orientation, UfReport *report)
{
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    size_t channels = jpeg->out_color_space == JCS_RGB ? 3 : 1;
    size_t first = 0, end = jpeg->image_height;
    if (orientation == 1) /* whole MCU rows: the rewriting codes them anew */
        uf_rows_wanted(options, jpeg->image_height, DCTSIZE * (size_t)jpeg->max_v_samp_factor, &first, &end);
    UfStatus status = uf_check_size(jpeg->image_width, jpeg->image_height, 0, UF_SAMPLE_U8, 0, 0, report);
    if (status == UF_OK)
        status = uf_check_size(jpeg->image_width, end - first, channels, UF_SAMPLE_U8,
                               extra_bytes(jpeg, orientation), options->max_memory_bytes, report);
    return status == UF_OK ? uf_picture_create_part(jpeg->image_width, jpeg->image_height, channels,
                                                    UF_SAMPLE_U8, first, end, &reader->picture, report)
                           : status;
}

static UfStatus read_all(Reader *reader, UfInput *input, const UfReadOptions *options, UfReport *report)
{
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    if (setjmp(reader->errors.jump))
        return ferror(input->stream) ? uf_fail_errno(report, "cannot be read", input->path)
                                     : reader->errors.status;
    jpeg_create_decompress(jpeg);
    uf_jpeg_limit_scans(jpeg, &reader->errors);
    UfStatus status = uf_jpeg_open(jpeg, input->stream, report);
    if (status == UF_OK)
        status = uf_jpeg_read_metadata(jpeg, input->path, &reader->metadata, report);
    if (status != UF_OK)
        return status;
    int orientation = uf_exif_orientation(reader->metadata.exif);
    status = make_picture(reader, options, orientation, report);
    if (status != UF_OK)
        return status;
    reader->picture->format = UF_FORMAT_JPEG;
    reader->picture->metadata = reader->metadata;
    reader->metadata = (UfMetadata){0};
    reader->upright = orientation == 1;
    bool in_part = reader->upright && (reader->picture->reserved_bytes > 0 || options->replaced_end_px > 0);
    if (in_part && uf_jpeg_read_rows(jpeg, input, options, reader->picture))
        return UF_OK;
    status = read_pixels(reader, options, report);
    return status == UF_OK ? uf_orient_upright(reader->picture, orientation, report) : status;
}

static UfStatus read_jpeg(UfInput *input, const UfReadOptions *options, UfPicture **out, UfReport *report)
{
    Reader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return uf_fail_memory(report);
    reader->jpeg.err = uf_jpeg_errors_init(&reader->errors, input->path, report);
    reader->rows.options = options;
    UfStatus status = read_all(reader, input, options, report);
    jpeg_destroy_decompress(&reader->jpeg);
    if (status == UF_OK) {
        *out = reader->picture;
    } else {
        uf_rows_gone(&reader->rows);
        uf_metadata_clear(&reader->metadata);
        uf_picture_free(&reader->picture);
    }
    free(reader->unwanted);
    free(reader);
    return status;
}

/* "progressive 4:2:0", "baseline grey", ... J:a:b as usual; other samplings as the components' factors. */
static void describe(const struct jpeg_decompress_struct *jpeg, char *text, size_t text_bytes)
{
    const char *process = jpeg->arith_code         ? "arithmetic"
                          : jpeg->progressive_mode ? "progressive"
                                                   : "baseline";
    const jpeg_component_info *c = jpeg->comp_info;
    const char *sampling = "";
    int h = c[0].h_samp_factor, v = c[0].v_samp_factor;
    bool plain = jpeg->num_components == 3 && c[1].h_samp_factor == 1 && c[1].v_samp_factor == 1 &&
                 c[2].h_samp_factor == 1 && c[2].v_samp_factor == 1;
    if (jpeg->num_components == 1)
        sampling = " grey";
    else if (jpeg->jpeg_color_space == JCS_RGB)
        sampling = " RGB";
    else if (plain)
        sampling = h == 1 && v == 1   ? " 4:4:4"
                   : h == 2 && v == 1 ? " 4:2:2"
                   : h == 2 && v == 2 ? " 4:2:0"
                   : h == 1 && v == 2 ? " 4:4:0"
                   : h == 4 && v == 1 ? " 4:1:1"
                   : h == 4 && v == 2 ? " 4:1:0"
                                      : " YCbCr";
    (void)snprintf(text, text_bytes, "%s%s%s", process,
                   jpeg->arith_code && jpeg->progressive_mode ? " progressive" : "", sampling);
}

static UfStatus probe_open(Reader *reader, UfInput *input, UfReport *report)
{
    if (setjmp(reader->errors.jump))
        return reader->errors.status;
    jpeg_create_decompress(&reader->jpeg);
    UfStatus status = uf_jpeg_open(&reader->jpeg, input->stream, report);
    if (status == UF_OK)
        status = uf_jpeg_read_metadata(&reader->jpeg, input->path, &reader->metadata, report);
    return status;
}

static UfStatus read_jpeg_metadata(UfInput *input, UfMetadata *out, UfReport *report)
{
    Reader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return uf_fail_memory(report);
    reader->jpeg.err = uf_jpeg_errors_init(&reader->errors, input->path, report);
    UfStatus status = probe_open(reader, input, report);
    jpeg_destroy_decompress(&reader->jpeg);
    *out = reader->metadata;
    free(reader);
    return status;
}

static UfStatus probe_jpeg(UfInput *input, UfPictureInfo *out, UfReport *report)
{
    Reader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return uf_fail_memory(report);
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    jpeg->err = uf_jpeg_errors_init(&reader->errors, input->path, report);
    UfStatus status = probe_open(reader, input, report);
    if (status == UF_OK) {
        out->width_px = jpeg->image_width;
        out->height_px = jpeg->image_height;
        out->channels = jpeg->out_color_space == JCS_RGB ? 3 : 1;
        out->sample = UF_SAMPLE_U8;
        out->orientation = uf_exif_orientation(reader->metadata.exif);
        out->progressive = jpeg->progressive_mode;
        describe(jpeg, out->encoding, sizeof out->encoding);
    }
    jpeg_destroy_decompress(jpeg);
    uf_metadata_clear(&reader->metadata);
    free(reader);
    return status;
}

/* JFIF 1.02: version at 5, units at 7, densities at 8 and 10. */
static void set_density(struct jpeg_compress_struct *jpeg, const UfMetadata *metadata)
{
    for (size_t i = 0; i < metadata->extra_count; i++) {
        const UfExtra *extra = &metadata->extras[i];
        if (extra->format != UF_FORMAT_JPEG || extra->content.size_bytes < 12 ||
            uf_jpeg_segment_kind((int)extra->kind, extra->content.data, extra->content.size_bytes) !=
                UF_JPEG_JFIF)
            continue;
        const uint8_t *jfif = extra->content.data;
        jpeg->density_unit = jfif[7];
        jpeg->X_density = (UINT16)(jfif[8] << 8 | jfif[9]);
        jpeg->Y_density = (UINT16)(jfif[10] << 8 | jfif[11]);
    }
}

static void write_extras(struct jpeg_compress_struct *jpeg, const UfMetadata *metadata)
{
    for (size_t i = 0; i < metadata->extra_count; i++) {
        const UfExtra *extra = &metadata->extras[i];
        if (extra->format != UF_FORMAT_JPEG || extra->content.size_bytes > UF_JPEG_MAX_PAYLOAD_BYTES ||
            uf_jpeg_segment_kind((int)extra->kind, extra->content.data, extra->content.size_bytes) ==
                UF_JPEG_JFIF)
            continue;
        jpeg_write_marker(jpeg, (int)extra->kind, extra->content.data, (unsigned)extra->content.size_bytes);
    }
}

typedef struct Writer {
    struct jpeg_compress_struct jpeg;
    UfJpegErrors errors;
    uint8_t *row;
} Writer;

static void set_parameters(struct jpeg_compress_struct *jpeg, const UfPicture *picture, int quality)
{
    jpeg->image_width = (JDIMENSION)picture->width_px;
    jpeg->image_height = (JDIMENSION)picture->height_px;
    jpeg->input_components = (int)picture->channels;
    jpeg->in_color_space = picture->channels == 1 ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_set_defaults(jpeg);
    jpeg_set_quality(jpeg, quality, TRUE);
    if (quality >= FULL_COLOUR_QUALITY)
        jpeg->comp_info[0].h_samp_factor = jpeg->comp_info[0].v_samp_factor = 1;
    set_density(jpeg, &picture->metadata);
}

static UfStatus write_all(Writer *writer, const UfPicture *picture, const UfWriteOptions *options,
                          UfOutput *output, UfReport *report)
{
    struct jpeg_compress_struct *jpeg = &writer->jpeg;
    const UfMetadata *metadata = &picture->metadata;
    if (setjmp(writer->errors.jump))
        return writer->errors.status;
    jpeg_create_compress(jpeg);
    jpeg_stdio_dest(jpeg, output->stream);
    set_parameters(jpeg, picture, options->quality == 0 ? DEFAULT_QUALITY : options->quality);
    jpeg_start_compress(jpeg, TRUE);
    const UfJpegSink sink = {.jpeg = jpeg};
    uf_jpeg_put_exif(&sink, metadata->exif, report);
    uf_jpeg_put_xmp(&sink, metadata->xmp, report);
    uf_jpeg_put_xmp_extended(&sink, metadata->xmp, metadata->xmp_extended);
    uf_jpeg_put_icc(&sink, metadata->icc, report);
    write_extras(jpeg, metadata);
    UfRowsToWrite rows = {.options = options};
    while (jpeg->next_scanline < jpeg->image_height) {
        UfStatus status = uf_rows_wait(&rows, jpeg->next_scanline + 1, report);
        if (status != UF_OK)
            return status;
        uf_row_as(picture, jpeg->next_scanline, UF_SAMPLE_U8, writer->row);
        jpeg_write_scanlines(jpeg, &writer->row, 1);
    }
    jpeg_finish_compress(jpeg);
    return UF_OK;
}

static UfStatus refuse_what_jpeg_cannot_hold(const UfPicture *picture, const UfWriteOptions *options,
                                             UfReport *report)
{
    if (uf_picture_has_alpha(picture))
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "the picture has transparency, which JPEG cannot hold; write a .png or .tif instead");
    if (picture->width_px > JPEG_MAX_DIMENSION || picture->height_px > JPEG_MAX_DIMENSION)
        return uf_fail(
            report, UF_ERROR_UNSUPPORTED,
            "%zu x %zu pixels are too many for a JPEG, whose sides end at %ld; write a .png or .tif instead",
            picture->width_px, picture->height_px, (long)JPEG_MAX_DIMENSION);
    if (options->quality < 0 || options->quality > 100)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a JPEG quality of %d makes no sense; give 1 to 100",
                       options->quality);
    if (options->depth_bits == 16)
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "JPEG holds 8 bits a sample; write a .png or .tif for 16");
    return UF_OK;
}

static UfStatus write_jpeg(const UfPicture *picture, const UfWriteOptions *options, UfOutput *output,
                           UfReport *report)
{
    UfStatus status = refuse_what_jpeg_cannot_hold(picture, options, report);
    if (status != UF_OK)
        return status;
    Writer *writer = uf_alloc_zero(1, sizeof *writer);
    uint8_t *row = uf_alloc(picture->width_px, picture->channels);
    if (writer == NULL || row == NULL) {
        free(writer);
        free(row);
        return uf_fail_memory(report);
    }
    writer->row = row;
    writer->jpeg.err = uf_jpeg_errors_init(&writer->errors, output->final_path, report);
    status = write_all(writer, picture, options, output, report);
    jpeg_destroy_compress(&writer->jpeg);
    free(row);
    free(writer);
    return status;
}

const UfCodec uf_codec_jpeg = {
    .format = UF_FORMAT_JPEG,
    .name = "JPEG",
    .extensions = ".jpg .jpeg",
    .matches = matches,
    .probe = probe_jpeg,
    .read_metadata = read_jpeg_metadata,
    .read = read_jpeg,
    .write = write_jpeg,
    .rewrite = uf_jpeg_rewrite,
    .shift_step = uf_jpeg_shift_step,
    .shift = uf_jpeg_shift,
    .retag = uf_jpeg_retag,
};
