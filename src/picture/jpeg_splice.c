/*
 * A JPEG with a part of its MCUs exchanged, in its entropy-coded data.
 *
 * The source's scan is walked through. What lies between touched MCUs is copied as bits. Touched ones come
 * from a JPEG of their pixels alone, coded side by side in bands of rows: as bits, too, where libjpeg can
 * code them with the file's own Huffman tables, symbol by symbol where those may lack a code. DC coefficients
 * are coded as differences to the block before (ITU-T T.81 F.1.1.5.1), so where one kind of MCU follows the
 * other the first differences are coded anew. Restart markers (E.1.4) stay at their MCUs; after each of them
 * the data begin on a byte again, so from there on whole bytes are copied.
 *
 * Rows of which nothing stays are not walked through where another way tells what comes behind them.
 */
#include "picture/jpeg_splice.h"

#include <stdatomic.h>

#include "base/smaller.h"
#include "picture/jpeg_far.h"
#include "picture/jpeg_new.h"

/* Pixels that are coded at once, so that setting libjpeg up costs little beside. */
#define BAND_PIXELS 524288u

/* Where new MCUs are: those between two columns of a row, or several rows of which nothing stays. */
typedef struct Place {
    size_t first_row, end_row, first_column, end_column;
    bool whole; /* nothing stays */
} Place;

/* The MCUs. */
typedef struct NewRows {
    UfJpegNew mcus;
    bool whole;
    UfStatus status;
} NewRows;

typedef struct Splicer {
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfMetadata metadata;
    UfJpegWalk walk;
    size_t walk_row;        /* that `walk` stands before */
    const UfJpegNote *note; /* of this very file, or NULL */
    UfJpegBits bits;
    UfJpegTarget target;
    NewRows *ahead; /* `ahead_room` of them, coded side by side */
    size_t ahead_room;
    int predictors[MAX_COMPS_IN_SCAN]; /* of the output */
    const UfPicture *picture;
    const UfTouched *touched;
    UfInput *source;
    int threads;
    bool damaged;
} Splicer;

static bool same_predictors(const UfJpegWalk *walk, const int predictors[MAX_COMPS_IN_SCAN])
{
    return memcmp(walk->predictors, predictors, walk->components * sizeof *predictors) == 0;
}

bool uf_jpeg_splice_mcu(UfJpegWalk *walk, UfJpegBits *bits, int predictors[MAX_COMPS_IN_SCAN])
{
    UfJpegMcuDc dc[MAX_COMPS_IN_SCAN] = {{{0, 0}, {0, 0}, 0}};
    bool as_it_is = same_predictors(walk, predictors);
    UfJpegPlace from = uf_jpeg_walk_place(walk);
    if (!uf_jpeg_walk_mcu(walk, as_it_is ? NULL : dc))
        return false;
    for (unsigned i = 0; i < walk->block_count && !as_it_is; i++) {
        unsigned c = walk->blocks[i].component;
        if (!walk->blocks[i].first)
            continue;
        uf_jpeg_bits_range(bits, &walk->bytes, from, dc[c].from);
        uf_jpeg_bits_dc(bits, walk->blocks[i].dc, dc[c].value - predictors[c]);
        from = dc[c].to;
    }
    uf_jpeg_bits_range(bits, &walk->bytes, from, uf_jpeg_walk_place(walk));
    memcpy(predictors, walk->predictors, sizeof walk->predictors);
    return true;
}

static bool mcu_is_touched(const Splicer *splicer, size_t column, size_t row)
{
    size_t x = column * splicer->walk.mcu_width_px, y = row * splicer->walk.mcu_height_px;
    return uf_touched_any_stored(splicer->touched, splicer->picture, splicer->picture->orientation, x, y,
                                 x + splicer->walk.mcu_width_px, y + splicer->walk.mcu_height_px);
}

static bool row_is_touched(const Splicer *splicer, size_t row)
{
    size_t height_px = splicer->walk.mcu_height_px;
    return uf_touched_any_stored(splicer->touched, splicer->picture, splicer->picture->orientation, 0,
                                 row * height_px, splicer->jpeg.image_width, (row + 1) * height_px);
}

static bool row_is_whole(const Splicer *splicer, size_t row)
{
    for (size_t column = 0; column < splicer->walk.columns; column++)
        if (!mcu_is_touched(splicer, column, row))
            return false;
    return true;
}

/* From `row`, which is touched, on. */
static Place find_new(const Splicer *splicer, size_t row)
{
    const UfJpegWalk *walk = &splicer->walk;
    size_t most = BAND_PIXELS / (walk->columns * walk->mcu_width_px * walk->mcu_height_px);
    Place place = {.first_row = row,
                   .end_row = row + 1,
                   .end_column = walk->columns,
                   .whole = row_is_whole(splicer, row)};
    while (place.whole && place.end_row - row < most && place.end_row < walk->rows &&
           row_is_whole(splicer, place.end_row))
        place.end_row++;
    while (!mcu_is_touched(splicer, place.first_column, row))
        place.first_column++;
    while (!mcu_is_touched(splicer, place.end_column - 1, row))
        place.end_column--;
    return place;
}

static void code(const Splicer *splicer, const Place *place, NewRows *new)
{
    new->whole = place->whole;
    new->mcus.first_row = place->first_row;
    new->mcus.end_row = place->end_row;
    new->mcus.first_column = place->first_column;
    new->mcus.end_column = place->end_column;
    new->status = uf_jpeg_new_code(&new->mcus, &splicer->target);
}

/* Goes to the beginning of `row` of the source, if it is not there yet. */
static bool catch_up(Splicer *splicer, size_t row)
{
    const UfJpegNote *note = splicer->note;
    UfJpegWalk *walk = &splicer->walk;
    if (note != NULL && row >= note->mcu_row) {
        size_t noted = uf_smaller(row, note->mcu_row + note->count - 1);
        if (noted > splicer->walk_row) {
            uf_jpeg_walk_resume(walk, &note->marks[noted - note->mcu_row]);
            splicer->walk_row = noted;
        }
    }
    size_t count = (row - splicer->walk_row) * walk->columns;
    splicer->walk_row = row;
    return uf_jpeg_walk_far(walk, count, splicer->threads);
}

static bool restart(Splicer *splicer)
{
    UfJpegWalk *walk = &splicer->walk;
    unsigned number = walk->next_restart;
    UfJpegPlace end = uf_jpeg_walk_place(walk);
    if (!uf_jpeg_walk_restart(walk))
        return false;
    if (uf_jpeg_bits_go_on_at(&splicer->bits, &walk->bytes, end))
        uf_jpeg_bits_range(&splicer->bits, &walk->bytes, end, uf_jpeg_walk_place(walk));
    else
        uf_jpeg_bits_restart(&splicer->bits, number);
    memset(splicer->predictors, 0, sizeof splicer->predictors);
    return true;
}

static bool keep_row_by_mcus(Splicer *splicer)
{
    UfJpegWalk *walk = &splicer->walk;
    for (size_t column = 0; column < walk->columns; column++) {
        if (uf_jpeg_walk_restart_is_due(walk) && !restart(splicer))
            return false;
        if (!uf_jpeg_splice_mcu(walk, &splicer->bits, splicer->predictors))
            return false;
    }
    splicer->walk_row++;
    return true;
}

/* Rows that stay, from `row` on: in one step where nothing stands in the way. Returns the row behind them. */
static size_t keep_rows(Splicer *splicer, size_t row)
{
    UfJpegWalk *walk = &splicer->walk;
    size_t end = row + 1;
    splicer->damaged = !catch_up(splicer, row);
    if (splicer->damaged)
        return end;
    UfJpegPlace from = uf_jpeg_walk_place(walk);
    if (!same_predictors(walk, splicer->predictors) ||
        (walk->restart_interval > 0 && !uf_jpeg_bits_go_on_at(&splicer->bits, &walk->bytes, from))) {
        splicer->damaged = !keep_row_by_mcus(splicer);
        return end;
    }
    while (end < walk->rows && !row_is_touched(splicer, end))
        end++;
    splicer->damaged = !catch_up(splicer, end);
    uf_jpeg_bits_range(&splicer->bits, &walk->bytes, from, uf_jpeg_walk_place(walk));
    memcpy(splicer->predictors, walk->predictors, sizeof walk->predictors);
    return end;
}

/* Rows of which nothing stays; their restart markers are those of a source that is not looked at. */
static bool lay_rows(Splicer *splicer, UfJpegNew *new)
{
    size_t interval = splicer->walk.restart_interval;
    size_t first = new->first_row * splicer->walk.columns, end = new->end_row * splicer->walk.columns;
    if (splicer->target.own_codes && interval == 0)
        return uf_jpeg_new_put_all(new, &splicer->bits, splicer->predictors);
    for (size_t mcu = first; mcu < end; mcu++) {
        if (interval > 0 && mcu > 0 && mcu % interval == 0) {
            uf_jpeg_bits_restart(&splicer->bits, (unsigned)((mcu / interval - 1) % 8));
            memset(splicer->predictors, 0, sizeof splicer->predictors);
        }
        if (!uf_jpeg_new_put(new, &splicer->target, &splicer->bits, splicer->predictors))
            return false;
    }
    return true;
}

/* A row of which a part stays. */
static bool lay_among(Splicer *splicer, UfJpegNew *new)
{
    UfJpegWalk *walk = &splicer->walk;
    bool sound = catch_up(splicer, new->first_row);
    for (size_t column = 0; column < walk->columns && sound; column++) {
        bool is_new = column >= new->first_column &&column < new->end_column;
        bool touched = is_new && mcu_is_touched(splicer, column, new->first_row);
        if (uf_jpeg_walk_restart_is_due(walk) && !restart(splicer))
            return false;
        if (touched)
            sound = uf_jpeg_walk_mcu(walk, NULL) &&
                    uf_jpeg_new_put(new, &splicer->target, &splicer->bits, splicer->predictors);
        else
            sound = (!is_new || uf_jpeg_new_drop(new)) &&
                    uf_jpeg_splice_mcu(walk, &splicer->bits, splicer->predictors);
    }
    splicer->walk_row++;
    return sound;
}

/* Coded MCUs come into the output. */
static UfStatus put_rows(Splicer *splicer, NewRows *new, UfReport *report)
{
    if (new->status != UF_OK)
        return new->status == UF_ERROR_MEMORY
                   ? uf_fail_memory(report)
                   : uf_fail(report, new->status, "the new pixels cannot be coded with this file's tables");
    splicer->damaged = !(new->whole ? lay_rows(splicer, &new->mcus) : lay_among(splicer, &new->mcus));
    uf_jpeg_bits_flush(&splicer->bits); /* the band's data are not kept */
    return splicer->bits.status;
}

/*
 * From `row`, which is touched, to the row before one that stays, *end. Some threads code while another puts
 * what is coded into the output, band after band.
 */
static UfStatus replace_rows(Splicer *splicer, size_t row, size_t *end, UfReport *report)
{
    UfStatus status = UF_OK;
    size_t next = row;
    atomic_bool stop = false;
    /* The first thread makes the tasks: libgomp frees what it keeps of their order with the thread that made
     * them, and another one may be about to when the program ends. */
#pragma omp parallel num_threads(splicer->threads)
#pragma omp master
    for (size_t i = 0; next < splicer->walk.rows && row_is_touched(splicer, next); i++) {
        NewRows *new = &splicer->ahead[i % splicer->ahead_room];
        Place place = find_new(splicer, next);
        next = place.end_row;
#pragma omp task firstprivate(new, place) depend(out : *new) shared(stop)
        if (!atomic_load(&stop))
            code(splicer, &place, new);
#pragma omp task firstprivate(new) depend(in : *new) depend(inout : splicer->bits) shared(stop, status)
        if (!atomic_load(&stop)) {
            status = put_rows(splicer, new, report);
            atomic_store(&stop, status != UF_OK || splicer->damaged || splicer->bits.codes_missing);
        }
    }
    *end = next;
    return status;
}

/* What stands behind the picture can't be known to stay true; an index or a gain map has been spoken of
 * already. */
static void warn_of_trailer(const Splicer *splicer, uint64_t end, UfReport *report)
{
    if (!splicer->metadata.has_multi_picture && !splicer->metadata.has_gain_map)
        uf_jpeg_warn_of_trailer(splicer->source, end, report);
}

/* The very file, unchanged since? */
static bool is_same_file(const struct stat *noted, const UfInput *source)
{
    struct stat now;
    return fstat(fileno(source->stream), &now) == 0 && now.st_dev == noted->st_dev &&
           now.st_ino == noted->st_ino && now.st_size == noted->st_size &&
           now.st_mtim.tv_sec == noted->st_mtim.tv_sec && now.st_mtim.tv_nsec == noted->st_mtim.tv_nsec &&
           now.st_ctim.tv_sec == noted->st_ctim.tv_sec && now.st_ctim.tv_nsec == noted->st_ctim.tv_nsec;
}

/* What was noted when the picture was read, if it was from this file. */
static const UfJpegNote *note_of(const Splicer *splicer)
{
    const UfJpegNote *note = splicer->picture->note;
    if (note == NULL || splicer->picture->format != UF_FORMAT_JPEG ||
        !is_same_file(&note->file, splicer->source))
        return NULL;
    return note;
}

/* The end of the picture, behind what has been walked through. */
static bool find_end(Splicer *splicer, uint64_t *end)
{
    UfJpegWalk *walk = &splicer->walk;
    return splicer->walk_row == walk->rows
               ? uf_jpeg_walk_finish(walk, end)
               : uf_jpeg_walk_find_end(walk, (walk->rows - splicer->walk_row) * walk->columns, end);
}

/* The scan: its header as it is, then the data. */
static UfStatus splice_scan(Splicer *splicer, uint64_t scan_start, UfOutput *output, UfReport *report)
{
    UfJpegWalk *walk = &splicer->walk;
    UfJpegBits *bits = &splicer->bits;
    uint64_t end = 0;
    UfStatus status = uf_output_copy(output, splicer->source, scan_start, walk->start, report);
    if (status == UF_OK)
        status = uf_jpeg_bits_open(bits, splicer->source, output, report);
    if (status != UF_OK)
        return status;
    uf_jpeg_bits_range(bits, &walk->bytes, uf_jpeg_walk_place(walk), uf_jpeg_walk_place(walk));
    for (size_t row = 0; row < walk->rows && status == UF_OK;) {
        if (row_is_touched(splicer, row))
            status = replace_rows(splicer, row, &row, report);
        else
            row = keep_rows(splicer, row);
        if (status == UF_OK)
            status = bits->status;
        if (splicer->damaged || bits->codes_missing)
            return status;
    }
    splicer->damaged = !find_end(splicer, &end);
    if (status != UF_OK || splicer->damaged)
        return status;
    uf_jpeg_bits_finish(bits);
    warn_of_trailer(splicer, end, report);
    return bits->status;
}

/* As uf_jpeg_check_quantisation, before decoding has been started. */
static bool has_quantisation(const struct jpeg_decompress_struct *jpeg)
{
    for (int i = 0; i < jpeg->num_components; i++) {
        int number = jpeg->comp_info[i].quant_tbl_no;
        const JQUANT_TBL *table =
            number >= 0 && number < NUM_QUANT_TBLS ? jpeg->quant_tbl_ptrs[number] : NULL;
        for (int k = 0; k < DCTSIZE2; k++)
            if (table == NULL || table->quantval[k] == 0)
                return false;
    }
    return true;
}

/* T.81 B.2.3: a scan has its components in the order of the frame; new ones will have it. */
static bool in_order(const struct jpeg_decompress_struct *jpeg)
{
    for (int i = 0; i < jpeg->comps_in_scan; i++)
        if (jpeg->cur_comp_info[i]->component_index != i)
            return false;
    return true;
}

/* False: not a file for this way, or damaged. */
static bool open_source(Splicer *splicer)
{
    const UfPicture *picture = splicer->picture;
    UfInput *source = splicer->source;
    const UfJpegBytes bytes = {.fd = fileno(source->stream), .size_bytes = source->size_bytes};
    size_t width, height;
    if (setjmp(splicer->errors.jump))
        return false;
    jpeg_create_decompress(&splicer->jpeg);
    if (uf_jpeg_open(&splicer->jpeg, source->stream, NULL) != UF_OK ||
        uf_jpeg_read_metadata(&splicer->jpeg, source->path, &splicer->metadata, NULL) != UF_OK)
        return false;
    uf_orient_stored_size(picture, picture->orientation, &width, &height);
    if (splicer->jpeg.image_width != width || splicer->jpeg.image_height != height ||
        picture->channels != (splicer->jpeg.out_color_space == JCS_RGB ? 3 : 1) ||
        picture->sample != UF_SAMPLE_U8 ||
        uf_exif_orientation(splicer->metadata.exif) != picture->orientation ||
        !has_quantisation(&splicer->jpeg) || !in_order(&splicer->jpeg))
        return false;
    splicer->target = (UfJpegTarget){.jpeg = &splicer->jpeg,
                                     .walk = &splicer->walk,
                                     .picture = picture,
                                     .own_codes = uf_jpeg_codes_complete(&splicer->jpeg)};
    splicer->note = note_of(splicer);
    return uf_jpeg_walk_open(&splicer->walk, &splicer->jpeg, &bytes,
                             uf_jpeg_data_start(&splicer->jpeg, source));
}

UfStatus uf_jpeg_splice(const UfPicture *picture, UfInput *source, const UfTouched *touched, UfOutput *output,
                        int threads, bool *served, UfReport *report)
{
    uint64_t scan_start = 0;
    UfStatus status = UF_OK;
    *served = false;
    Splicer *splicer = uf_alloc_zero(1, sizeof *splicer);
    if (splicer == NULL)
        return uf_fail_memory(report);
    splicer->threads = threads;
    splicer->ahead_room = threads > 1 ? 4 * (size_t)threads : 1;
    splicer->ahead = uf_alloc_zero(splicer->ahead_room, sizeof *splicer->ahead);
    if (splicer->ahead == NULL) {
        free(splicer);
        return uf_fail_memory(report);
    }
    splicer->picture = picture;
    splicer->touched = touched;
    splicer->source = source;
    splicer->jpeg.err = uf_jpeg_errors_init(&splicer->errors, source->path, NULL);
    for (size_t i = 0; i < splicer->ahead_room; i++)
        uf_jpeg_new_init(&splicer->ahead[i].mcus, source->path);
    if (open_source(splicer) &&
        uf_jpeg_copy_head_with_metadata(source, &picture->metadata, output, &scan_start, NULL) == UF_OK &&
        scan_start < splicer->walk.start) {
        status = splice_scan(splicer, scan_start, output, report);
        *served = !splicer->damaged && !splicer->bits.codes_missing;
    }
    uf_jpeg_bits_clear(&splicer->bits);
    uf_jpeg_walk_clear(&splicer->walk);
    for (size_t i = 0; i < splicer->ahead_room; i++)
        uf_jpeg_new_clear(&splicer->ahead[i].mcus);
    free(splicer->ahead);
    jpeg_destroy_decompress(&splicer->jpeg);
    uf_metadata_clear(&splicer->metadata);
    free(splicer);
    return status;
}
