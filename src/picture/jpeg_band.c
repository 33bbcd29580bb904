/*
 * A rectangle of pixels as another JPEG would hold it: compressed in memory with that file's quantisation
 * tables and sampling, and, where coefficients are wanted, read back. Blocks know nothing of their neighbours
 * (T.81 A.3.3), so the result is that of compressing the whole picture.
 */
#include "picture/jpeg_band.h"

void uf_jpeg_band_init(UfJpegBand *band, const char *name, UfReport *report)
{
    band->writer.err = uf_jpeg_errors_init(&band->writer_errors, name, report);
    band->reader.err = uf_jpeg_errors_init(&band->reader_errors, name, report);
}

void uf_jpeg_band_clear(UfJpegBand *band)
{
    jpeg_destroy_compress(&band->writer);
    jpeg_destroy_decompress(&band->reader);
    free(band->bytes);
    free(band->pixels);
    band->bytes = NULL;
    band->pixels = NULL;
}

/* Of a picture that is stored as it is shown, the rows are taken where they are. */
static UfStatus take_pixels(UfJpegBand *band, const UfPicture *picture, int orientation, UfReport *report)
{
    size_t stride;
    free(band->pixels);
    band->pixels = NULL;
    if (orientation == 1)
        return UF_OK;
    if (!uf_product(band->width_px, picture->channels, &stride) ||
        (band->pixels = uf_alloc(stride, band->height_px)) == NULL)
        return uf_fail_memory(report);
    uf_orient_stored_rect(picture, orientation, band->left_px, band->top_px, band->width_px, band->height_px,
                          band->pixels, stride);
    return UF_OK;
}

static UfStatus compress(UfJpegBand *band, struct jpeg_decompress_struct *like, const UfPicture *picture)
{
    struct jpeg_compress_struct *writer = &band->writer;
    if (setjmp(band->writer_errors.jump))
        return band->writer_errors.status;
    if (writer->mem == NULL)
        jpeg_create_compress(writer);
    free(band->bytes);
    band->bytes = NULL;
    band->size_bytes = 0;
    jpeg_mem_dest(writer, &band->bytes, &band->size_bytes);
    jpeg_copy_critical_parameters(like, writer);
    if (band->own_codes)
        uf_jpeg_copy_codes(like, writer);
    writer->image_width = (JDIMENSION)band->width_px;
    writer->image_height = (JDIMENSION)band->height_px;
    writer->in_color_space = like->jpeg_color_space == JCS_GRAYSCALE ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_start_compress(writer, TRUE);
    size_t stride = band->width_px * (size_t)writer->input_components;
    while (writer->next_scanline < writer->image_height) {
        const uint8_t *pixels =
            band->pixels != NULL
                ? band->pixels + writer->next_scanline * stride
                : (const uint8_t *)uf_picture_row_const(picture, band->top_px + writer->next_scanline) +
                      band->left_px * picture->channels;
        JSAMPROW row = (JSAMPROW)pixels; /* libjpeg does not change it */
        jpeg_write_scanlines(writer, &row, 1);
    }
    jpeg_finish_compress(writer);
    return UF_OK;
}

static UfStatus read_head(UfJpegBand *band)
{
    struct jpeg_decompress_struct *reader = &band->reader;
    if (setjmp(band->reader_errors.jump))
        return band->reader_errors.status;
    if (reader->mem == NULL)
        jpeg_create_decompress(reader);
    jpeg_abort_decompress(reader);
    jpeg_mem_src(reader, band->bytes, band->size_bytes);
    jpeg_read_header(reader, TRUE);
    band->data_start = band->size_bytes - reader->src->bytes_in_buffer;
    return UF_OK;
}

static UfStatus read_blocks(UfJpegBand *band)
{
    if (setjmp(band->reader_errors.jump))
        return band->reader_errors.status;
    band->blocks = jpeg_read_coefficients(&band->reader);
    return UF_OK;
}

UfStatus uf_jpeg_band_code(UfJpegBand *band, struct jpeg_decompress_struct *like, const UfPicture *picture,
                           int orientation, UfReport *report)
{
    UfStatus status = take_pixels(band, picture, orientation, report);
    if (status == UF_OK)
        status = compress(band, like, picture);
    if (status == UF_OK)
        status = read_head(band);
    return status;
}

UfStatus uf_jpeg_band_make(UfJpegBand *band, struct jpeg_decompress_struct *like, const UfPicture *picture,
                           int orientation, UfReport *report)
{
    UfStatus status = uf_jpeg_band_code(band, like, picture, orientation, report);
    return status == UF_OK ? read_blocks(band) : status;
}
