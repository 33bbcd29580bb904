/*
 * Some rows of a JPEG: smaller JPEGs of just these MCU rows are put together in memory, from the file's own
 * tables and the bits of its scan, and decoded side by side. The walk through what lies above finds where
 * they begin and what the DC predictors are there; the first differences are coded anew (ITU-T T.81
 * F.1.1.5.1).
 *
 * One more row of MCUs on each side is decoded and dropped: libjpeg smooths the seams of subsampled colours
 * with the neighbouring rows.
 */
#include "picture/jpeg_rows.h"

#include "base/smaller.h"
#include <omp.h>

#include "picture/jpeg_far.h"
#include "picture/jpeg_splice.h"

#define MARKER_DQT 0xDB
#define MARKER_DHT 0xC4
#define MARKER_SOF 0xC0 /* and SOF1, the extended sequential one */
#define MARKER_SOS 0xDA

/* Rows of MCUs that are worth a decoder of their own, which decodes two more. */
#define LEAST_PART_ROWS 8u

/* Rows [first, end), of pixels or of MCUs. */
typedef struct Rows {
    size_t first, end;
} Rows;

typedef struct RowsReader {
    const struct jpeg_decompress_struct *jpeg;
    UfInput *input;
    UfPicture *picture;
    UfJpegWalk walk;
    uint8_t *head; /* of the file, up to its data */
    size_t head_bytes;
    const UfSparseRows *sparse;
    Rows wanted[2]; /* rows of MCUs, above and below the replaced ones */
    UfJpegNote *note;
} RowsReader;

/* What one thread decodes. */
typedef struct Part {
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfJpegWalk walk;
    UfJpegBits bits;
    Rows wanted_px;
    Rows mcu_rows; /* with the neighbours */
    size_t first_px, height_px;
    uint8_t *unwanted;
} Part;

/* The segments that a decoder needs, with the smaller height in the frame header (B.2.2). No restart
 * interval. */
static bool put_head(const RowsReader *reader, Part *part)
{
    static const uint8_t start[2] = {0xFF, 0xD8};
    const uint8_t *head = reader->head;
    size_t at = 2;
    uf_jpeg_bits_bytes(&part->bits, start, sizeof start);
    while (at + 4 <= reader->head_bytes) {
        size_t size = 2 + (size_t)(head[at + 2] << 8 | head[at + 3]);
        int marker = head[at + 1];
        bool is_frame = marker == MARKER_SOF || marker == MARKER_SOF + 1;
        if (head[at] != 0xFF || size < 4 || size > reader->head_bytes - at || (is_frame && size < 10))
            return false;
        const uint8_t height[2] = {(uint8_t)(part->height_px >> 8), (uint8_t)part->height_px};
        if (is_frame) {
            uf_jpeg_bits_bytes(&part->bits, head + at, 5);
            uf_jpeg_bits_bytes(&part->bits, height, sizeof height);
            uf_jpeg_bits_bytes(&part->bits, head + at + 7, size - 7);
        } else if (marker == MARKER_DQT || marker == MARKER_DHT || marker == MARKER_SOS) {
            uf_jpeg_bits_bytes(&part->bits, head + at, size);
        }
        at += size;
    }
    return at == reader->head_bytes;
}

static const UfJpegMark *mark_of(const RowsReader *reader, size_t mcu_row)
{
    return &reader->note->marks[mcu_row - reader->note->mcu_row];
}

/* The bits of its MCU rows; where there are restart markers, without them. */
static bool put_rows(const RowsReader *reader, Part *part)
{
    UfJpegWalk *walk = &part->walk;
    int predictors[MAX_COMPS_IN_SCAN] = {0};
    size_t count =
        walk->restart_interval == 0 ? 1 : (part->mcu_rows.end - part->mcu_rows.first) * walk->columns;
    uf_jpeg_walk_resume(walk, mark_of(reader, part->mcu_rows.first));
    for (size_t i = 0; i < count; i++) {
        if (uf_jpeg_walk_restart_is_due(walk) && !uf_jpeg_walk_restart(walk))
            return false;
        if (!uf_jpeg_splice_mcu(walk, &part->bits, predictors))
            return false;
    }
    if (walk->restart_interval == 0)
        uf_jpeg_bits_range(&part->bits, &walk->bytes, uf_jpeg_walk_place(walk),
                           mark_of(reader, part->mcu_rows.end)->place);
    uf_jpeg_bits_finish(&part->bits);
    return part->bits.status == UF_OK && !part->bits.codes_missing;
}

static bool decode(const RowsReader *reader, Part *part)
{
    struct jpeg_decompress_struct *jpeg = &part->jpeg;
    UfPicture *picture = reader->picture;
    if (setjmp(part->errors.jump))
        return false;
    jpeg_create_decompress(jpeg);
    jpeg_mem_src(jpeg, part->bits.buffer, part->bits.fill);
    jpeg_read_header(jpeg, TRUE);
    jpeg->jpeg_color_space = reader->jpeg->jpeg_color_space;
    jpeg->out_color_space = reader->jpeg->out_color_space;
    jpeg_start_decompress(jpeg);
    if (jpeg->output_width != picture->width_px || jpeg->output_height != part->height_px ||
        (size_t)jpeg->output_components != picture->channels ||
        uf_jpeg_check_quantisation(jpeg, NULL) != UF_OK)
        return false;
    while (part->first_px + jpeg->output_scanline < part->wanted_px.end) {
        size_t y = part->first_px + jpeg->output_scanline;
        bool wanted = y >= part->wanted_px.first && !uf_row_is_passed_over(reader->sparse, y);
        JSAMPROW row = wanted ? uf_picture_row(picture, y) : part->unwanted;
        jpeg_read_scanlines(jpeg, &row, 1);
    }
    return true;
}

/* The memory of those that are not passed over. */
static void bring_rows(const RowsReader *reader, Rows rows)
{
    size_t end;
    for (size_t y = rows.first; y < rows.end; y = end) {
        const bool passed = uf_row_is_passed_over(reader->sparse, y);
        for (end = y + 1; end < rows.end && uf_row_is_passed_over(reader->sparse, end) == passed;)
            end++;
        if (!passed)
            uf_bring_pages(uf_picture_row(reader->picture, y), (end - y) * reader->picture->stride_bytes);
    }
}

/* Rows [first, end) of MCUs. */
static bool read_part(const RowsReader *reader, Rows wanted)
{
    Part *part = uf_alloc_zero(1, sizeof *part);
    if (part == NULL)
        return false;
    size_t step = reader->walk.mcu_height_px, height = reader->picture->height_px;
    part->wanted_px = (Rows){wanted.first * step, uf_smaller(wanted.end * step, height)};
    bring_rows(reader, part->wanted_px);
    part->mcu_rows.first = wanted.first > 0 ? wanted.first - 1 : 0;
    part->mcu_rows.end = uf_smaller(wanted.end + 1, reader->walk.rows);
    part->first_px = part->mcu_rows.first * step;
    part->height_px = uf_smaller(part->mcu_rows.end * step, height) - part->first_px;
    part->jpeg.err = uf_jpeg_errors_init(&part->errors, reader->input->path, NULL);
    part->unwanted = uf_alloc(reader->picture->stride_bytes, 1);
    bool done = part->unwanted != NULL && uf_jpeg_walk_share(&reader->walk, &part->walk) &&
                uf_jpeg_bits_open(&part->bits, reader->input, NULL, NULL) == UF_OK &&
                put_head(reader, part) && put_rows(reader, part) && decode(reader, part);
    jpeg_destroy_decompress(&part->jpeg);
    uf_jpeg_bits_clear(&part->bits);
    uf_jpeg_walk_clear(&part->walk);
    free(part->unwanted);
    free(part);
    return done;
}

/* Divided among threads. */
static bool read_parts(const RowsReader *reader, Rows wanted, int threads)
{
    size_t rows = wanted.end - wanted.first, parts = uf_larger(rows / LEAST_PART_ROWS, 1);
    bool done = true;
    parts = uf_smaller(parts, (size_t)threads);
#pragma omp parallel for schedule(static, 1) num_threads(threads) reduction(&& : done)
    for (size_t i = 0; i < parts; i++)
        done = done && read_part(reader, (Rows){wanted.first + i * rows / parts,
                                                wanted.first + (i + 1) * rows / parts});
    return done;
}

/* What has to be decoded: the held rows without those that are replaced, in whole MCUs. */
static void find_wanted(RowsReader *reader, const UfReadOptions *options)
{
    size_t step = reader->walk.mcu_height_px, height = reader->picture->height_px;
    Rows held = {reader->picture->held_first_px / step, (reader->picture->held_end_px + step - 1) / step};
    size_t end_px = uf_smaller(options->replaced_end_px, height);
    Rows replaced = {(options->replaced_first_px + step - 1) / step,
                     end_px == height ? reader->walk.rows : end_px / step};
    replaced.first = uf_smaller(uf_larger(replaced.first, held.first), held.end);
    replaced.end = uf_larger(uf_smaller(replaced.end, held.end), replaced.first);
    reader->wanted[0] = (Rows){held.first, replaced.first};
    reader->wanted[1] = (Rows){replaced.end, held.end};
    if (replaced.first == replaced.end) {
        reader->wanted[0] = held;
        reader->wanted[1] = (Rows){held.end, held.end};
    }
}

/* Walks to the first row that is wanted, or before it, and notes all rows up to the last one. */
static bool walk_rows(RowsReader *reader, int threads)
{
    UfJpegWalk *walk = &reader->walk;
    const Rows *wanted = reader->wanted;
    size_t first = wanted[0].first < wanted[0].end ? wanted[0].first : wanted[1].first;
    size_t last = wanted[1].first < wanted[1].end ? wanted[1].end : wanted[0].end;
    uint64_t end;
    if (first >= last)
        return false;
    first = first > 0 ? first - 1 : 0;
    last = uf_smaller(last + 1, walk->rows);
    reader->note = uf_alloc_zero(1, sizeof *reader->note + (last - first + 1) * sizeof *reader->note->marks);
    if (reader->note == NULL || fstat(fileno(reader->input->stream), &reader->note->file) != 0 ||
        !uf_jpeg_walk_far(walk, first * walk->columns, threads))
        return false;
    reader->note->mcu_row = first;
    for (size_t row = first; row < last; row++) {
        reader->note->marks[reader->note->count++] = uf_jpeg_walk_mark(walk);
        if (!uf_jpeg_walk_skip(walk, walk->columns))
            return false;
    }
    reader->note->marks[reader->note->count++] = uf_jpeg_walk_mark(walk);
    return last == walk->rows ? uf_jpeg_walk_finish(walk, &end)
                              : uf_jpeg_walk_find_end(walk, (walk->rows - last) * walk->columns, &end);
}

static bool open_rows(RowsReader *reader)
{
    const UfJpegBytes bytes = {.fd = fileno(reader->input->stream), .size_bytes = reader->input->size_bytes};
    uint64_t start = uf_jpeg_data_start(reader->jpeg, reader->input);
    if (start > SIZE_MAX || !uf_jpeg_walk_open(&reader->walk, reader->jpeg, &bytes, start))
        return false;
    reader->head_bytes = (size_t)start;
    reader->head = uf_alloc(reader->head_bytes, 1);
    return reader->head != NULL &&
           uf_jpeg_bytes_read(&bytes, 0, reader->head, reader->head_bytes) == reader->head_bytes;
}

static bool read_wanted(RowsReader *reader, const UfReadOptions *options)
{
    int threads = options->threads > 0 ? options->threads : omp_get_max_threads();
    if (!open_rows(reader))
        return false;
    find_wanted(reader, options);
    if (!walk_rows(reader, threads))
        return false;
    for (size_t i = 0; i < 2; i++)
        if (reader->wanted[i].first < reader->wanted[i].end &&
            !read_parts(reader, reader->wanted[i], threads))
            return false;
    return true;
}

bool uf_jpeg_read_rows(const struct jpeg_decompress_struct *jpeg, UfInput *input,
                       const UfReadOptions *options, UfPicture *picture)
{
    RowsReader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return false;
    reader->jpeg = jpeg;
    reader->input = input;
    reader->picture = picture;
    reader->sparse = &options->sparse;
    bool done = read_wanted(reader, options);
    if (done) {
        picture->note = reader->note;
        reader->note = NULL;
    }
    free(reader->note);
    uf_jpeg_walk_clear(&reader->walk);
    free(reader->head);
    free(reader);
    return done;
}
