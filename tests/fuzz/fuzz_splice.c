/*
 * JPEGs read in part and changed in their entropy-coded data, held against the whole file read and changed
 * through libjpeg's coefficients. The first four bytes say which rows are wanted and which pixels of them
 * change; the rest is the file. Rows of the part must be those of the whole, blocks of the spliced file those
 * of the recoded one, and a file that the whole way refuses must not come out of the other. Then all of these rows
 * are replaced without having been read.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include "fuzz/fuzz.h"
#include "picture/jpeg_splice.h"

/* A byte as a share of a length, in 255ths. */
static size_t share(uint8_t byte, size_t all)
{
    return all * byte / 255;
}

/* The wanted rows; within them the changed rectangle. */
typedef struct Change {
    size_t first_px, end_px, x0, y0, x1, y1;
} Change;

static Change change_of(const uint8_t *data, size_t width, size_t height)
{
    Change change = {.first_px = share(data[0], height - 1), .x0 = share(data[2], width - 1)};
    change.end_px = change.first_px + 1 + share(data[1], height - 1 - change.first_px);
    change.y0 = change.first_px;
    change.y1 = change.end_px;
    change.x1 = change.x0 + 1 + share(data[3], width - 1 - change.x0);
    return change;
}

static UfTouched *apply(UfPicture *picture, const Change *change)
{
    UfTouched *touched = NULL;
    size_t pixel = uf_picture_stride_bytes(picture) / uf_picture_width_px(picture);
    if (uf_touched_create(uf_picture_width_px(picture), uf_picture_height_px(picture), &touched, NULL) !=
        UF_OK)
        abort();
    uf_touched_add(touched, change->x0, change->y0, change->x1, change->y1);
    for (size_t y = change->y0; y < change->y1; y++) {
        uint8_t *row = uf_picture_row(picture, y);
        for (size_t i = change->x0 * pixel; i < change->x1 * pixel; i++)
            row[i] = (uint8_t)(40 + (i * 37 + y * 101) % 160);
    }
    return touched;
}

typedef struct Blocks {
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    jvirt_barray_ptr *arrays;
    FILE *stream;
} Blocks;

/* What was written is sound: libjpeg has nothing to say about it. */
static void complain(j_common_ptr jpeg)
{
    jpeg->err->output_message(jpeg);
    abort();
}

static void blocks_open(Blocks *blocks, const char *path)
{
    blocks->stream = fopen(path, "rb");
    if (blocks->stream == NULL)
        abort();
    blocks->jpeg.err = jpeg_std_error(&blocks->errors);
    blocks->errors.error_exit = complain;
    jpeg_create_decompress(&blocks->jpeg);
    jpeg_stdio_src(&blocks->jpeg, blocks->stream);
    jpeg_read_header(&blocks->jpeg, TRUE);
    blocks->arrays = jpeg_read_coefficients(&blocks->jpeg);
}

static void blocks_close(Blocks *blocks)
{
    jpeg_destroy_decompress(&blocks->jpeg);
    fclose(blocks->stream);
}

/* Does the change meet the MCU that a block belongs to? The library's cells are 8 x 8 pixels. */
static bool meets(const Change *change, const Blocks *blocks, int number, size_t x, size_t y)
{
    const jpeg_component_info *component = &blocks->jpeg.comp_info[number];
    bool alone = blocks->jpeg.num_components == 1; /* then each block is an MCU */
    size_t mcu_width = (alone ? 1 : (size_t)blocks->jpeg.max_h_samp_factor) * 8;
    size_t mcu_height = (alone ? 1 : (size_t)blocks->jpeg.max_v_samp_factor) * 8;
    size_t left = x / (alone ? 1 : (size_t)component->h_samp_factor) * mcu_width;
    size_t top = y / (alone ? 1 : (size_t)component->v_samp_factor) * mcu_height;
    return left < (change->x1 + 7) / 8 * 8 && left + mcu_width > change->x0 / 8 * 8 &&
           top < (change->y1 + 7) / 8 * 8 && top + mcu_height > change->y0 / 8 * 8;
}

static void check_same_component(Blocks *a, Blocks *b, int number, const Change *but)
{
    const jpeg_component_info *one = &a->jpeg.comp_info[number], *two = &b->jpeg.comp_info[number];
    if (one->width_in_blocks != two->width_in_blocks || one->height_in_blocks != two->height_in_blocks ||
        memcmp(one->quant_table->quantval, two->quant_table->quantval, sizeof one->quant_table->quantval) !=
            0)
        abort();
    for (JDIMENSION y = 0; y < one->height_in_blocks; y++) {
        JBLOCKARRAY row_a =
            a->jpeg.mem->access_virt_barray((j_common_ptr)&a->jpeg, a->arrays[number], y, 1, FALSE);
        JBLOCKARRAY row_b =
            b->jpeg.mem->access_virt_barray((j_common_ptr)&b->jpeg, b->arrays[number], y, 1, FALSE);
        for (JDIMENSION x = 0; x < one->width_in_blocks; x++)
            if (memcmp(row_a[0][x], row_b[0][x], sizeof(JBLOCK)) != 0 &&
                (but == NULL || !meets(but, a, number, x, y)))
                abort();
    }
}

/* All of them, or those that a change leaves alone. */
static void check_same_blocks(const char *path_a, const char *path_b, const Change *but)
{
    Blocks a, b;
    blocks_open(&a, path_a);
    blocks_open(&b, path_b);
    if (a.jpeg.num_components != b.jpeg.num_components || a.jpeg.image_width != b.jpeg.image_width ||
        a.jpeg.image_height != b.jpeg.image_height)
        abort();
    for (int i = 0; i < a.jpeg.num_components; i++)
        check_same_component(&a, &b, i, but);
    blocks_close(&a);
    blocks_close(&b);
}

static void check_same_rows(const UfPicture *part, const UfPicture *whole, const Change *change)
{
    size_t from, to;
    uf_picture_held_rows(part, &from, &to);
    if (from > change->first_px || to < change->end_px ||
        uf_picture_stride_bytes(part) != uf_picture_stride_bytes(whole))
        abort();
    for (size_t y = from; y < to; y++)
        if (memcmp(uf_picture_row_const(part, y), uf_picture_row_const(whole, y),
                   uf_picture_stride_bytes(whole)) != 0)
            abort();
}

/* Changed through coefficients only. */
static UfStatus recode(const UfPicture *picture, const char *path, const UfTouched *touched, const char *out,
                       UfReport *report)
{
    UfInput source;
    UfOutput output;
    UfStatus status = uf_input_open(path, &source, NULL);
    if (status != UF_OK || uf_output_open(out, true, &output, NULL) != UF_OK)
        abort();
    status = uf_jpeg_rewrite_coefficients(picture, &source, touched, &output, report);
    if (status == UF_OK)
        status = uf_output_commit(&output, report);
    else
        uf_output_discard(&output);
    uf_input_close(&source);
    return status;
}

static void compare(UfPicture *part, UfPicture *whole, const char *path, const Change *change)
{
    char spliced[200], recoded[200];
    const UfWriteOptions options = {.overwrite = true};
    UfStatus by_splice = UF_ERROR_FORMAT, by_blocks = UF_ERROR_FORMAT;
    UfTouched *touched = NULL;
    UfReport *report = uf_report_create();
    snprintf(spliced, sizeof spliced, "%s/spliced.jpg", fuzz_folder());
    snprintf(recoded, sizeof recoded, "%s/recoded.jpg", fuzz_folder());
    if (part != NULL && whole != NULL)
        check_same_rows(part, whole, change);
    if (part != NULL) {
        touched = apply(part, change);
        by_splice = uf_picture_rewrite(part, path, touched, spliced, &options, report);
        uf_touched_free(&touched);
    }
    if (whole != NULL) {
        touched = apply(whole, change);
        by_blocks = recode(whole, path, touched, recoded, report);
        uf_touched_free(&touched);
    }
    /* libjpeg reads AC coefficients of more than the 10 bits of T.81's table F.2, and does not write them:
     * such blocks are copied as bits, or the file is refused */
    bool is_odd = by_splice == UF_OK && whole != NULL && by_blocks != UF_OK;
    if ((by_splice == UF_OK) != (by_blocks == UF_OK) && !is_odd) {
        fprintf(stderr, "read in part %d, as a whole %d; written %d and %d: %s\n", part != NULL,
                whole != NULL, (int)by_splice, (int)by_blocks, uf_report_error(report));
        abort();
    }
    if (is_odd)
        check_same_blocks(spliced, path, change);
    else if (by_splice == UF_OK)
        check_same_blocks(spliced, recoded, NULL);
    uf_report_free(&report);
}

/* The changed rows from edge to edge, not read before: `whole` is sound, so nothing may fail. */
static void replace(UfPicture *whole, const char *path, const Change *change)
{
    char replaced[200], recoded[200];
    const UfWriteOptions options = {.overwrite = true};
    const UfReadOptions read = {.first_row_px = change->first_px,
                                .end_row_px = change->end_px,
                                .replaced_first_px = change->y0,
                                .replaced_end_px = change->y1,
                                .threads = 2};
    Change all = *change;
    UfPicture *part = NULL;
    snprintf(replaced, sizeof replaced, "%s/replaced.jpg", fuzz_folder());
    snprintf(recoded, sizeof recoded, "%s/recoded.jpg", fuzz_folder());
    if (uf_picture_read(path, &read, &part, NULL) != UF_OK)
        abort();
    all.x0 = 0;
    all.x1 = uf_picture_width_px(whole);
    UfTouched *in_part = apply(part, &all), *in_whole = apply(whole, &all);
    check_same_rows(part, whole, &all);
    if (recode(whole, path, in_whole, recoded, NULL) == UF_OK) {
        if (uf_picture_rewrite(part, path, in_part, replaced, &options, NULL) != UF_OK)
            abort();
        check_same_blocks(replaced, recoded, NULL);
    }
    uf_touched_free(&in_part);
    uf_touched_free(&in_whole);
    uf_picture_free(&part);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    UfPictureInfo info;
    if (size < 8)
        return 0;
    const char *path = fuzz_file(0, "in.jpg", data + 4, size - 4);
    if (uf_picture_probe(path, &info, NULL) != UF_OK || info.format != UF_FORMAT_JPEG ||
        info.orientation != 1 || info.width_px * info.height_px * 3 > FUZZ_MEMORY / 16)
        return 0;
    Change change = change_of(data, info.width_px, info.height_px);
    UfReadOptions options = {.first_row_px = change.first_px, .end_row_px = change.end_px};
    UfPicture *part = NULL, *whole = NULL;
    (void)uf_picture_read(path, &options, &part, NULL);
    (void)uf_picture_read(path, NULL, &whole, NULL);
    if (whole != NULL && part == NULL)
        abort();
    compare(part, whole, path, &change);
    if (whole != NULL)
        replace(whole, path, &change);
    uf_picture_free(&part);
    uf_picture_free(&whole);
    return 0;
}
