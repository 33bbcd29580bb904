/*
 * Some rows of a JPEG: a smaller JPEG of just these MCU rows is put together in memory, from the file's own
 * tables and the bits of its scan, and decoded. The walk through what lies above finds where they begin and
 * what the DC predictors are there; the first differences are coded anew (ITU-T T.81 F.1.1.5.1).
 *
 * One more row of MCUs on each side is decoded and dropped: libjpeg smooths the seams of subsampled colours
 * with the neighbouring rows.
 */
#include "picture/jpeg_rows.h"

#include "picture/jpeg_splice.h"

#define MARKER_DQT 0xDB
#define MARKER_DHT 0xC4
#define MARKER_SOF 0xC0 /* and SOF1, the extended sequential one */
#define MARKER_SOS 0xDA

typedef struct RowsReader {
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfJpegWalk walk;
    UfJpegBits bits;
    uint8_t *head; /* of the file, up to its data */
    size_t head_bytes;
    size_t first_mcu_row, end_mcu_row;
    size_t first_px, height_px; /* the same in pixels */
    uint8_t *unwanted;
    UfJpegNote *note;
} RowsReader;

/* The segments that a decoder needs, with the smaller height in the frame header (B.2.2). No restart
 * interval. */
static bool put_head(RowsReader *reader)
{
    static const uint8_t start[2] = {0xFF, 0xD8};
    uint8_t *head = reader->head;
    size_t at = 2;
    uf_jpeg_bits_bytes(&reader->bits, start, sizeof start);
    while (at + 4 <= reader->head_bytes) {
        size_t size = 2 + (size_t)(head[at + 2] << 8 | head[at + 3]);
        int marker = head[at + 1];
        bool is_frame = marker == MARKER_SOF || marker == MARKER_SOF + 1;
        if (head[at] != 0xFF || size < 4 || size > reader->head_bytes - at || (is_frame && size < 10))
            return false;
        if (is_frame) {
            head[at + 5] = (uint8_t)(reader->height_px >> 8);
            head[at + 6] = (uint8_t)reader->height_px;
        }
        if (is_frame || marker == MARKER_DQT || marker == MARKER_DHT || marker == MARKER_SOS)
            uf_jpeg_bits_bytes(&reader->bits, head + at, size);
        at += size;
    }
    return at == reader->head_bytes;
}

/* The bits of the wanted MCU rows, without restart markers. */
static bool put_rows(RowsReader *reader)
{
    UfJpegWalk *walk = &reader->walk;
    int predictors[MAX_COMPS_IN_SCAN] = {0};
    size_t count = (reader->end_mcu_row - reader->first_mcu_row) * walk->columns;
    if (!uf_jpeg_walk_skip(walk, reader->first_mcu_row * walk->columns))
        return false;
    reader->note->mcu_row = reader->first_mcu_row;
    reader->note->mark = uf_jpeg_walk_mark(walk);
    for (size_t i = 0; i < count; i++) {
        if (uf_jpeg_walk_restart_is_due(walk) && !uf_jpeg_walk_restart(walk))
            return false;
        if (!uf_jpeg_splice_mcu(walk, &reader->bits, predictors))
            return false;
    }
    uf_jpeg_bits_finish(&reader->bits);
    return reader->bits.status == UF_OK && !reader->bits.codes_missing;
}

static bool put_together(RowsReader *reader, const struct jpeg_decompress_struct *jpeg, UfInput *input,
                         const UfPicture *picture)
{
    const UfJpegBytes bytes = {.fd = fileno(input->stream), .size_bytes = input->size_bytes};
    uint64_t start = uf_jpeg_data_start(jpeg, input);
    UfJpegWalk *walk = &reader->walk;
    if (start > SIZE_MAX || !uf_jpeg_walk_open(walk, jpeg, &bytes, start))
        return false;
    reader->head_bytes = (size_t)start;
    reader->head = uf_alloc(reader->head_bytes, 1);
    if (reader->head == NULL ||
        uf_jpeg_bytes_read(&bytes, 0, reader->head, reader->head_bytes) != reader->head_bytes ||
        uf_jpeg_bits_open(&reader->bits, input, NULL, NULL) != UF_OK)
        return false;
    size_t first = picture->held_first_px / walk->mcu_height_px;
    size_t end = (picture->held_end_px + walk->mcu_height_px - 1) / walk->mcu_height_px;
    reader->first_mcu_row = first > 0 ? first - 1 : 0;
    reader->end_mcu_row = end < walk->rows ? end + 1 : walk->rows;
    reader->first_px = reader->first_mcu_row * walk->mcu_height_px;
    size_t end_px = reader->end_mcu_row * walk->mcu_height_px;
    reader->height_px = (end_px < picture->height_px ? end_px : picture->height_px) - reader->first_px;
    return put_head(reader) && put_rows(reader);
}

static bool decode(RowsReader *reader, const struct jpeg_decompress_struct *like, UfPicture *picture)
{
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    if (setjmp(reader->errors.jump))
        return false;
    jpeg_create_decompress(jpeg);
    jpeg_mem_src(jpeg, reader->bits.buffer, reader->bits.fill);
    jpeg_read_header(jpeg, TRUE);
    jpeg->jpeg_color_space = like->jpeg_color_space;
    jpeg->out_color_space = like->out_color_space;
    jpeg_start_decompress(jpeg);
    if (jpeg->output_width != picture->width_px || jpeg->output_height != reader->height_px ||
        (size_t)jpeg->output_components != picture->channels ||
        uf_jpeg_check_quantisation(jpeg, NULL) != UF_OK)
        return false;
    while (jpeg->output_scanline < jpeg->output_height) {
        size_t y = reader->first_px + jpeg->output_scanline;
        bool wanted = y >= picture->held_first_px && y < picture->held_end_px;
        JSAMPROW row = wanted ? uf_picture_row(picture, y) : reader->unwanted;
        jpeg_read_scanlines(jpeg, &row, 1);
    }
    jpeg_finish_decompress(jpeg);
    return true;
}

bool uf_jpeg_read_rows(const struct jpeg_decompress_struct *jpeg, UfInput *input, UfPicture *picture)
{
    RowsReader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return false;
    reader->jpeg.err = uf_jpeg_errors_init(&reader->errors, input->path, NULL);
    reader->unwanted = uf_alloc(picture->stride_bytes, 1);
    reader->note = uf_alloc_zero(1, sizeof *reader->note);
    bool done = reader->unwanted != NULL && reader->note != NULL &&
                fstat(fileno(input->stream), &reader->note->file) == 0 &&
                put_together(reader, jpeg, input, picture) && decode(reader, jpeg, picture);
    if (done) {
        picture->note = reader->note;
        reader->note = NULL;
    }
    free(reader->note);
    jpeg_destroy_decompress(&reader->jpeg);
    uf_jpeg_bits_clear(&reader->bits);
    uf_jpeg_walk_clear(&reader->walk);
    free(reader->head);
    free(reader->unwanted);
    free(reader);
    return done;
}
