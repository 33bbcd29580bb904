/* JPEG through libjpeg. Its default error handler ends the process, which here ends the test. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include "support/pictures.h"
#include "support/pictures_formats.h"

static void write_markers(struct jpeg_compress_struct *jpeg, const JpegOptions *options)
{
    if (options->exif != NULL)
        jpeg_write_marker(jpeg, JPEG_APP0 + 1, options->exif, (unsigned)options->exif_bytes);
    if (options->xmp != NULL) {
        static const char name[] = "http://ns.adobe.com/xap/1.0/";
        size_t bytes = sizeof name + strlen(options->xmp);
        char *marker = malloc(bytes);
        cr_assert_not_null(marker);
        memcpy(marker, name, sizeof name);
        memcpy(marker + sizeof name, options->xmp, strlen(options->xmp));
        jpeg_write_marker(jpeg, JPEG_APP0 + 1, (const JOCTET *)marker, (unsigned)bytes);
        free(marker);
    }
    if (options->icc != NULL)
        jpeg_write_icc_profile(jpeg, options->icc, (unsigned)options->icc_bytes);
}

static void set_up(struct jpeg_compress_struct *jpeg, const Pixels *pixels, const JpegOptions *options)
{
    jpeg->image_width = (JDIMENSION)pixels->width;
    jpeg->image_height = (JDIMENSION)pixels->height;
    jpeg->input_components = (int)pixels->channels;
    jpeg->in_color_space = pixels->channels == 1 ? JCS_GRAYSCALE : pixels->channels == 3 ? JCS_RGB : JCS_CMYK;
    jpeg_set_defaults(jpeg);
    if (options->colour_space != 0)
        jpeg_set_colorspace(jpeg, (J_COLOR_SPACE)options->colour_space);
    jpeg_set_quality(jpeg, options->quality != 0 ? options->quality : 90, TRUE);
    if (pixels->channels == 3) {
        jpeg->comp_info[0].h_samp_factor = options->horizontal != 0 ? options->horizontal : 2;
        jpeg->comp_info[0].v_samp_factor = options->vertical != 0 ? options->vertical : 2;
    }
    jpeg->restart_in_rows = (int)options->restart_rows;
    if (options->progressive)
        jpeg_simple_progression(jpeg);
}

void jpeg_write(const char *path, const Pixels *pixels, const JpegOptions *options)
{
    static const JpegOptions defaults;
    const JpegOptions *chosen = options != NULL ? options : &defaults;
    struct jpeg_error_mgr errors;
    struct jpeg_compress_struct jpeg = {.err = jpeg_std_error(&errors)};
    FILE *stream = fopen(path, "wb");
    cr_assert_not_null(stream);
    jpeg_create_compress(&jpeg);
    jpeg_stdio_dest(&jpeg, stream);
    set_up(&jpeg, pixels, chosen);
    jpeg_start_compress(&jpeg, TRUE);
    write_markers(&jpeg, chosen);
    size_t row_samples = pixels->width * pixels->channels;
    JSAMPLE *row = malloc(row_samples);
    cr_assert_not_null(row);
    for (size_t y = 0; y < pixels->height; y++) {
        for (size_t i = 0; i < row_samples; i++)
            row[i] = (JSAMPLE)pixels->codes[y * row_samples + i];
        jpeg_write_scanlines(&jpeg, &row, 1);
    }
    free(row);
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    cr_assert_eq(fclose(stream), 0);
}

Pixels jpeg_decode(FILE *stream)
{
    struct jpeg_error_mgr errors;
    struct jpeg_decompress_struct jpeg = {.err = jpeg_std_error(&errors)};
    jpeg_create_decompress(&jpeg);
    jpeg_stdio_src(&jpeg, stream);
    jpeg_read_header(&jpeg, TRUE);
    jpeg.do_fancy_upsampling = FALSE;
    jpeg.dct_method = JDCT_ISLOW;
    jpeg_start_decompress(&jpeg);
    Pixels pixels = {.width = jpeg.output_width,
                     .height = jpeg.output_height,
                     .channels = (size_t)jpeg.output_components,
                     .bits = 8};
    size_t row_samples = pixels.width * pixels.channels;
    pixels.codes = calloc(row_samples * pixels.height, sizeof *pixels.codes);
    JSAMPLE *row = malloc(row_samples);
    cr_assert(pixels.codes != NULL && row != NULL);
    for (size_t y = 0; y < pixels.height; y++) {
        jpeg_read_scanlines(&jpeg, &row, 1);
        for (size_t i = 0; i < row_samples; i++)
            pixels.codes[y * row_samples + i] = row[i];
    }
    free(row);
    jpeg_finish_decompress(&jpeg);
    jpeg_destroy_decompress(&jpeg);
    return pixels;
}

/* Two files whose coefficients are read side by side. */
typedef struct Coefficients {
    struct jpeg_error_mgr errors;
    struct jpeg_decompress_struct jpeg;
    jvirt_barray_ptr *arrays;
    FILE *stream;
} Coefficients;

static void coefficients_open(Coefficients *file, const char *path)
{
    file->stream = fopen(path, "rb");
    cr_assert_not_null(file->stream);
    file->jpeg = (struct jpeg_decompress_struct){.err = jpeg_std_error(&file->errors)};
    jpeg_create_decompress(&file->jpeg);
    jpeg_stdio_src(&file->jpeg, file->stream);
    jpeg_read_header(&file->jpeg, TRUE);
    file->arrays = jpeg_read_coefficients(&file->jpeg);
}

static void coefficients_close(Coefficients *file)
{
    jpeg_destroy_decompress(&file->jpeg);
    fclose(file->stream);
}

static bool same_component(Coefficients *a, Coefficients *b, int number, size_t end_row)
{
    const jpeg_component_info *info_a = &a->jpeg.comp_info[number];
    const jpeg_component_info *info_b = &b->jpeg.comp_info[number];
    if (info_a->width_in_blocks != info_b->width_in_blocks ||
        info_a->height_in_blocks != info_b->height_in_blocks)
        return false;
    if (memcmp(info_a->quant_table->quantval, info_b->quant_table->quantval, sizeof(UINT16) * DCTSIZE2) != 0)
        return false;
    size_t mcu_rows = end_row / (DCTSIZE * (size_t)a->jpeg.max_v_samp_factor);
    JDIMENSION block_rows = (JDIMENSION)(mcu_rows * (size_t)info_a->v_samp_factor);
    for (JDIMENSION y = 0; y < block_rows && y < info_a->height_in_blocks; y++) {
        JBLOCKARRAY row_a =
            a->jpeg.mem->access_virt_barray((j_common_ptr)&a->jpeg, a->arrays[number], y, 1, FALSE);
        JBLOCKARRAY row_b =
            b->jpeg.mem->access_virt_barray((j_common_ptr)&b->jpeg, b->arrays[number], y, 1, FALSE);
        if (memcmp(row_a[0], row_b[0], sizeof(JBLOCK) * info_a->width_in_blocks) != 0)
            return false;
    }
    return true;
}

bool jpeg_same_blocks(const char *path_a, const char *path_b, size_t end_row)
{
    Coefficients a;
    Coefficients b;
    coefficients_open(&a, path_a);
    coefficients_open(&b, path_b);
    bool same = a.jpeg.num_components == b.jpeg.num_components;
    for (int i = 0; same && i < a.jpeg.num_components; i++)
        same = same_component(&a, &b, i, end_row);
    coefficients_close(&a);
    coefficients_close(&b);
    return same;
}

static bool moved_component(Coefficients *a, Coefficients *b, int number, size_t shift_px)
{
    const jpeg_component_info *info_a = &a->jpeg.comp_info[number];
    const jpeg_component_info *info_b = &b->jpeg.comp_info[number];
    size_t width = info_a->width_in_blocks;
    size_t shift = shift_px * width / a->jpeg.image_width;
    if (info_b->width_in_blocks != width || info_b->height_in_blocks != info_a->height_in_blocks ||
        memcmp(info_a->quant_table->quantval, info_b->quant_table->quantval, sizeof(UINT16) * DCTSIZE2) != 0)
        return false;
    for (JDIMENSION y = 0; y < info_a->height_in_blocks; y++) {
        JBLOCKARRAY row_a =
            a->jpeg.mem->access_virt_barray((j_common_ptr)&a->jpeg, a->arrays[number], y, 1, FALSE);
        JBLOCKARRAY row_b =
            b->jpeg.mem->access_virt_barray((j_common_ptr)&b->jpeg, b->arrays[number], y, 1, FALSE);
        for (size_t x = 0; x < width; x++)
            if (memcmp(row_a[0][(x + shift) % width], row_b[0][x], sizeof(JBLOCK)) != 0)
                return false;
    }
    return true;
}

bool jpeg_moved_blocks(const char *path_a, const char *path_b, size_t shift_px)
{
    Coefficients a;
    Coefficients b;
    coefficients_open(&a, path_a);
    coefficients_open(&b, path_b);
    bool moved = a.jpeg.num_components == b.jpeg.num_components && a.jpeg.image_width == b.jpeg.image_width;
    for (int i = 0; moved && i < a.jpeg.num_components; i++)
        moved = moved_component(&a, &b, i, shift_px);
    coefficients_close(&a);
    coefficients_close(&b);
    return moved;
}
