/* Coding: a group of bands at a time, filtered and then deflated by all threads. */
#include "picture/png_coder.h"

#include <omp.h>
#include <zlib.h>

#include "picture/samples.h"

/* About as much as a band holds, filtered: large enough that its own tables and its closing cost nothing. */
#define BAND_BYTES ((size_t)1 << 20)
/*
 * Measured on a noisy 8192 x 4096 RGB picture, seconds and MB: level 1 10 s 39.5, 3 20 s 36.9, 4 23 s 35.5,
 * 6 (zlib's own choice) 58 s 33.9.
 */
#define COMPRESSION_LEVEL 4
#define MEMORY_LEVEL      8
#define ADLER_START       1u

typedef struct Band {
    size_t row, rows;
    uint8_t *filtered; /* the tail of what was kept (first band only), then the rows */
    size_t filtered_bytes;
    uint8_t *coded;
    size_t coded_bytes, coded_room;
    uint8_t *raw; /* scratch for one row more than the band has, and the filters' */
    z_stream stream;
    bool has_stream;
    unsigned long adler;
    UfStatus status;
} Band;

struct UfPngCoder {
    const UfPicture *picture;
    const UfPngKept *kept;
    UfSample sample;
    size_t row_bytes, pixel_bytes, rows_a_band, next_row;
    Band *bands; /* a group, and before it the last band of the group before */
    size_t group, in_group, given;
    uint8_t window[UF_PNG_WINDOW_BYTES]; /* the end of the band before the group */
    size_t window_bytes;
    unsigned long adler;
    UfRowsToWrite rows;
    int threads;
    bool has_head, is_first, is_last;
};

static void to_big_endian(uint8_t *row, size_t bytes)
{
#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    for (size_t i = 0; i + 1 < bytes; i += 2) {
        uint8_t high = row[i + 1];
        row[i + 1] = row[i];
        row[i] = high;
    }
#else
    (void)row;
    (void)bytes;
#endif
}

static void load_row(const UfPngCoder *coder, size_t y, uint8_t *out)
{
    uf_row_as(coder->picture, y, coder->sample, out);
    if (coder->sample == UF_SAMPLE_U16)
        to_big_endian(out, coder->row_bytes);
}

static void filter_band(const UfPngCoder *coder, Band *band)
{
    uint8_t *above = band->raw, *row = band->raw + coder->row_bytes, *scratch = row + coder->row_bytes;
    size_t used = band->filtered_bytes;
    if (band->row == 0)
        memset(above, 0, coder->row_bytes);
    else
        load_row(coder, band->row - 1, above);
    for (size_t y = band->row; y < band->row + band->rows; y++) {
        load_row(coder, y, row);
        uf_png_filter(row, above, coder->row_bytes, coder->pixel_bytes, scratch, band->filtered + used);
        used += coder->row_bytes + 1;
        uint8_t *swap = above;
        above = row;
        row = swap;
    }
    band->adler = adler32_z(ADLER_START, band->filtered + band->filtered_bytes, used - band->filtered_bytes);
    band->filtered_bytes = used;
}

/* Codes all that is in next_in, in a buffer that grows. */
static UfStatus deflate_all(Band *band, int flush)
{
    z_stream *stream = &band->stream;
    for (;;) {
        size_t room = band->coded_room - band->coded_bytes;
        stream->next_out = band->coded + band->coded_bytes;
        stream->avail_out = (uInt)room;
        int result = deflate(stream, flush);
        band->coded_bytes += room - stream->avail_out;
        if (result == Z_STREAM_ERROR)
            return UF_ERROR_MEMORY;
        if (stream->avail_out > 0)
            return UF_OK;
        uint8_t *larger = uf_realloc(band->coded, band->coded_room * 2, 1);
        if (larger == NULL)
            return UF_ERROR_MEMORY;
        band->coded = larger;
        band->coded_room *= 2;
    }
}

/* window: what stands before the band. A band is well below what zlib's counters hold. */
static UfStatus deflate_band(const UfPngCoder *coder, Band *band, const uint8_t *window, size_t window_bytes,
                             bool starts, bool ends)
{
    z_stream *stream = &band->stream;
    size_t skip = 0;
    if (!band->has_stream) {
        if (deflateInit2(stream, COMPRESSION_LEVEL, Z_DEFLATED, -MAX_WBITS, MEMORY_LEVEL, Z_FILTERED) != Z_OK)
            return UF_ERROR_MEMORY;
        band->has_stream = true;
    } else if (deflateReset(stream) != Z_OK) {
        return UF_ERROR_MEMORY;
    }
    band->coded_bytes = 0;
    if (starts && coder->kept != NULL) {
        window = band->filtered;
        window_bytes = skip = coder->kept->window_bytes;
    }
    if (window_bytes > 0 && deflateSetDictionary(stream, window, (uInt)window_bytes) != Z_OK)
        return UF_ERROR_MEMORY;
    if (starts && coder->kept != NULL && coder->kept->bits > 0 &&
        deflatePrime(stream, coder->kept->bits, (int)coder->kept->bit_values) != Z_OK)
        return UF_ERROR_MEMORY;
    stream->next_in = band->filtered + skip;
    stream->avail_in = (uInt)(band->filtered_bytes - skip);
    return deflate_all(band, ends ? Z_FINISH : Z_SYNC_FLUSH);
}

/* The last bytes of the band before: of the group before for its first, of its neighbour otherwise. */
static UfStatus deflate_in_group(const UfPngCoder *coder, size_t index)
{
    Band *band = &coder->bands[index];
    const uint8_t *window = coder->window;
    size_t window_bytes = coder->window_bytes;
    if (index > 0) {
        const Band *before = band - 1;
        window_bytes =
            before->filtered_bytes < UF_PNG_WINDOW_BYTES ? before->filtered_bytes : UF_PNG_WINDOW_BYTES;
        window = before->filtered + before->filtered_bytes - window_bytes;
    }
    return deflate_band(coder, band, window, window_bytes, coder->is_first && index == 0,
                        coder->is_last && index + 1 == coder->in_group);
}

/* Which rows the group's bands get. */
static UfStatus share_rows(UfPngCoder *coder)
{
    size_t height = coder->picture->height_px;
    coder->in_group = 0;
    do {
        Band *band = &coder->bands[coder->in_group++];
        band->row = coder->next_row;
        band->rows = height - band->row < coder->rows_a_band ? height - band->row : coder->rows_a_band;
        band->filtered_bytes = 0;
        coder->next_row += band->rows;
    } while (coder->in_group < coder->group && coder->next_row < height);
    coder->is_last = coder->next_row == height;
    if (!coder->is_first || coder->kept == NULL || coder->kept->tail_bytes == 0)
        return UF_OK;
    Band *first = &coder->bands[0];
    uint8_t *larger =
        uf_realloc(first->filtered, coder->kept->tail_bytes + coder->rows_a_band * (coder->row_bytes + 1), 1);
    if (larger == NULL)
        return UF_ERROR_MEMORY;
    first->filtered = larger;
    memcpy(larger, coder->kept->tail, coder->kept->tail_bytes);
    first->filtered_bytes = coder->kept->tail_bytes;
    return UF_OK;
}

static void keep_window(UfPngCoder *coder)
{
    const Band *last = &coder->bands[coder->in_group - 1];
    size_t bytes = last->filtered_bytes < UF_PNG_WINDOW_BYTES ? last->filtered_bytes : UF_PNG_WINDOW_BYTES;
    memcpy(coder->window, last->filtered + last->filtered_bytes - bytes, bytes);
    coder->window_bytes = bytes;
}

static UfStatus code_group(UfPngCoder *coder, UfReport *report)
{
    UfStatus status = share_rows(coder);
    if (status != UF_OK)
        return uf_fail_memory(report);
    status = uf_rows_wait(&coder->rows, coder->next_row, report);
    if (status != UF_OK)
        return status;
#pragma omp parallel for schedule(dynamic, 1) num_threads(coder->threads)
    for (size_t i = 0; i < coder->in_group; i++)
        filter_band(coder, &coder->bands[i]);
#pragma omp parallel for schedule(dynamic, 1) num_threads(coder->threads)
    for (size_t i = 0; i < coder->in_group; i++)
        coder->bands[i].status = deflate_in_group(coder, i);
    for (size_t i = 0; i < coder->in_group; i++) {
        const Band *band = &coder->bands[i];
        if (band->status != UF_OK)
            return uf_fail_memory(report);
        coder->adler =
            adler32_combine(coder->adler, band->adler, (z_off_t)(band->rows * (coder->row_bytes + 1)));
    }
    keep_window(coder);
    coder->given = 0;
    return UF_OK;
}

/* Adler-32 behind the last block (RFC 1950, 2.2); the caller has made room. */
static void close_stream(UfPngCoder *coder, Band *band)
{
    for (int shift = 24; shift >= 0; shift -= 8)
        band->coded[band->coded_bytes++] = (uint8_t)(coder->adler >> shift);
}

UfStatus uf_png_coder_next(UfPngCoder *coder, const uint8_t **data, size_t *size, UfReport *report)
{
    if (!coder->has_head) {
        coder->has_head = true;
        *data = (const uint8_t *)UF_PNG_STREAM_HEADER;
        *size = 2;
        return UF_OK;
    }
    if (coder->given == coder->in_group) {
        if (coder->is_last) {
            *size = 0;
            return UF_OK;
        }
        UfStatus status = code_group(coder, report);
        if (status != UF_OK)
            return status;
        coder->is_first = false;
    }
    Band *band = &coder->bands[coder->given++];
    if (coder->is_last && coder->given == coder->in_group) {
        uint8_t *larger = uf_realloc(band->coded, band->coded_bytes + 4, 1);
        if (larger == NULL)
            return uf_fail_memory(report);
        band->coded = larger;
        band->coded_room = band->coded_bytes + 4;
        close_stream(coder, band);
    }
    *data = band->coded;
    *size = band->coded_bytes;
    return UF_OK;
}

static UfStatus make_buffers(UfPngCoder *coder)
{
    size_t band_bytes;
    coder->bands = uf_alloc_zero(coder->group, sizeof *coder->bands);
    if (coder->bands == NULL || !uf_product(coder->rows_a_band, coder->row_bytes + 1, &band_bytes))
        return UF_ERROR_MEMORY;
    for (size_t i = 0; i < coder->group; i++) {
        Band *band = &coder->bands[i];
        band->filtered = uf_alloc(band_bytes, 1);
        band->coded_room = band_bytes / 2 + 4096;
        band->coded = uf_alloc(band->coded_room, 1);
        band->raw = uf_alloc(coder->row_bytes, 7);
        if (band->filtered == NULL || band->coded == NULL || band->raw == NULL)
            return UF_ERROR_MEMORY;
    }
    return UF_OK;
}

UfStatus uf_png_coder_create(const UfPicture *picture, UfSample sample, const UfPngKept *kept,
                             const UfWriteOptions *options, UfPngCoder **out, UfReport *report)
{
    UfPngCoder *coder = uf_alloc_zero(1, sizeof *coder);
    if (coder == NULL)
        return uf_fail_memory(report);
    coder->picture = picture;
    coder->sample = sample;
    coder->kept = kept != NULL && kept->bytes > 0 ? kept : NULL;
    coder->pixel_bytes = picture->channels * (size_t)sample;
    coder->row_bytes = picture->width_px * coder->pixel_bytes;
    coder->rows_a_band = coder->row_bytes < BAND_BYTES ? BAND_BYTES / (coder->row_bytes + 1) : 1;
    coder->rows_a_band += coder->rows_a_band == 0;
    coder->next_row = coder->kept != NULL ? kept->row : 0;
    coder->adler = coder->kept != NULL ? kept->adler : ADLER_START;
    coder->rows.options = options;
    coder->threads = options->threads > 0 ? options->threads : omp_get_max_threads();
    coder->group = 2 * (size_t)coder->threads;
    coder->is_first = true;
    coder->has_head = coder->kept != NULL;
    if (make_buffers(coder) != UF_OK) {
        uf_png_coder_free(&coder);
        return uf_fail_memory(report);
    }
    *out = coder;
    return UF_OK;
}

void uf_png_coder_free(UfPngCoder **coder)
{
    if (coder == NULL || *coder == NULL)
        return;
    for (size_t i = 0; (*coder)->bands != NULL && i < (*coder)->group; i++) {
        Band *band = &(*coder)->bands[i];
        if (band->has_stream)
            (void)deflateEnd(&band->stream);
        free(band->filtered);
        free(band->coded);
        free(band->raw);
    }
    free((*coder)->bands);
    free(*coder);
    *coder = NULL;
}
