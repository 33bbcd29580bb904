/*
 * A JPEG with a part of its MCUs exchanged, in its entropy-coded data.
 *
 * The source's scan is walked through. What lies between touched MCUs is copied as bits; touched MCUs are
 * coded with the file's own Huffman tables. DC coefficients are coded as differences to the block before
 * (ITU-T T.81 F.1.1.5.1), so behind a touched MCU the first differences of the next one are coded anew.
 * Restart markers (E.1.4) stay at their MCUs; after each of them the data begin on a byte again, so from
 * there on whole bytes are copied.
 */
#include "picture/jpeg_splice.h"

#include "picture/jpeg_band.h"

/* The new coefficients of a row of MCUs, from the first touched one to the last. */
typedef struct NewRow {
    UfJpegBand band;
    size_t first, end; /* empty: nothing of the row was touched */
    UfStatus status;
} NewRow;

typedef struct Splicer {
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfMetadata metadata;
    UfJpegWalk walk;
    UfJpegBits bits;
    NewRow *ahead; /* `ahead_room` rows from `ahead_row` on, coded side by side; `ahead_count` are there */
    size_t ahead_row, ahead_count, ahead_room;
    const NewRow *now;                   /* the one that is being spliced in */
    JBLOCKARRAY rows[MAX_COMPS_IN_SCAN]; /* its blocks */
    int predictors[MAX_COMPS_IN_SCAN];   /* of the output */
    const UfPicture *picture;
    const UfTouched *touched;
    UfInput *source;
    int threads;
    bool damaged;
} Splicer;

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

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
        uf_jpeg_bits_range(bits, from, dc[c].from);
        uf_jpeg_bits_dc(bits, walk->blocks[i].dc, dc[c].value - predictors[c]);
        from = dc[c].to;
    }
    uf_jpeg_bits_range(bits, from, uf_jpeg_walk_place(walk));
    memcpy(predictors, walk->predictors, sizeof walk->predictors);
    return true;
}

static bool mcu_is_touched(const Splicer *splicer, size_t column, size_t row)
{
    size_t x = column * splicer->walk.mcu_width_px, y = row * splicer->walk.mcu_height_px;
    return uf_touched_any_stored(splicer->touched, splicer->picture, splicer->picture->orientation, x, y,
                                 x + splicer->walk.mcu_width_px, y + splicer->walk.mcu_height_px);
}

static void find_touched(const Splicer *splicer, size_t row, NewRow *out)
{
    out->first = splicer->walk.columns;
    out->end = 0;
    for (size_t column = 0; column < splicer->walk.columns; column++)
        if (mcu_is_touched(splicer, column, row)) {
            out->first = smaller(out->first, column);
            out->end = column + 1;
        }
}

static void make_new_row(Splicer *splicer, size_t row, NewRow *out)
{
    const UfJpegWalk *walk = &splicer->walk;
    UfJpegBand *band = &out->band;
    find_touched(splicer, row, out);
    out->status = UF_OK;
    if (out->first >= out->end)
        return;
    band->left_px = out->first * walk->mcu_width_px;
    band->top_px = row * walk->mcu_height_px;
    band->width_px = smaller(out->end * walk->mcu_width_px, splicer->jpeg.image_width) - band->left_px;
    band->height_px = smaller(walk->mcu_height_px, splicer->jpeg.image_height - band->top_px);
    out->status =
        uf_jpeg_band_make(band, &splicer->jpeg, splicer->picture, splicer->picture->orientation, NULL);
}

/* Row `row` and those behind it. */
static void make_ahead(Splicer *splicer, size_t row)
{
    splicer->ahead_row = row;
    splicer->ahead_count = smaller(splicer->ahead_room, splicer->walk.rows - row);
#pragma omp parallel for schedule(dynamic, 1) num_threads(splicer->threads)
    for (size_t i = 0; i < splicer->ahead_count; i++)
        make_new_row(splicer, row + i, &splicer->ahead[i]);
}

/* Makes `row` the one that is spliced in. */
static UfStatus take_new_row(Splicer *splicer, size_t row, UfReport *report)
{
    if (row < splicer->ahead_row || row - splicer->ahead_row >= splicer->ahead_count)
        make_ahead(splicer, row);
    NewRow *now = &splicer->ahead[row - splicer->ahead_row];
    splicer->now = now;
    if (now->status != UF_OK)
        return now->status == UF_ERROR_MEMORY
                   ? uf_fail_memory(report)
                   : uf_fail(report, now->status, "the new pixels cannot be coded with this file's tables");
    for (unsigned c = 0; now->first < now->end && c < splicer->walk.components; c++) {
        int index = splicer->jpeg.cur_comp_info[c]->component_index;
        int height = splicer->walk.components == 1 ? 1 : splicer->jpeg.cur_comp_info[c]->v_samp_factor;
        splicer->rows[c] = now->band.reader.mem->access_virt_barray(
            (j_common_ptr)&now->band.reader, now->band.blocks[index], 0, (JDIMENSION)height, FALSE);
    }
    return UF_OK;
}

/* Blocks beyond the component's edge say the same as the one before them, as libjpeg's do. */
static void code_block(Splicer *splicer, const UfJpegWalkBlock *block, size_t x, size_t y)
{
    int index = splicer->jpeg.cur_comp_info[block->component]->component_index;
    const jpeg_component_info *stored = &splicer->now->band.reader.comp_info[index];
    if (x >= stored->width_in_blocks || y >= stored->height_in_blocks) {
        uf_jpeg_bits_dc(&splicer->bits, block->dc, 0);
        uf_jpeg_bits_no_ac(&splicer->bits, block->ac);
        return;
    }
    const JCOEF *coefficients = splicer->rows[block->component][y][x];
    uf_jpeg_bits_dc(&splicer->bits, block->dc, coefficients[0] - splicer->predictors[block->component]);
    uf_jpeg_bits_ac(&splicer->bits, block->ac, coefficients);
    splicer->predictors[block->component] = coefficients[0];
}

/* A touched MCU: stepped over in the source, coded from the band. */
static bool code_mcu(Splicer *splicer, size_t column)
{
    UfJpegWalk *walk = &splicer->walk;
    size_t number = 0; /* of the block within its component */
    if (!uf_jpeg_walk_mcu(walk, NULL))
        return false;
    for (unsigned i = 0; i < walk->block_count; i++) {
        const UfJpegWalkBlock *block = &walk->blocks[i];
        const jpeg_component_info *component = splicer->jpeg.cur_comp_info[block->component];
        size_t across = walk->components == 1 ? 1 : (size_t)component->h_samp_factor;
        number = block->first ? 0 : number + 1;
        code_block(splicer, block, (column - splicer->now->first) * across + number % across,
                   number / across);
    }
    return true;
}

static bool restart(Splicer *splicer)
{
    UfJpegWalk *walk = &splicer->walk;
    unsigned number = walk->next_restart;
    UfJpegPlace end = uf_jpeg_walk_place(walk);
    if (!uf_jpeg_walk_restart(walk))
        return false;
    uf_jpeg_bits_restart(&splicer->bits, end, uf_jpeg_walk_place(walk), number);
    memset(splicer->predictors, 0, sizeof splicer->predictors);
    return true;
}

static bool row_is_touched(const Splicer *splicer, size_t row)
{
    size_t height_px = splicer->walk.mcu_height_px;
    return uf_touched_any_stored(splicer->touched, splicer->picture, splicer->picture->orientation, 0,
                                 row * height_px, splicer->jpeg.image_width, (row + 1) * height_px);
}

/* A row of MCUs that stays: in one step where nothing stands in the way. */
static bool keep_row(Splicer *splicer)
{
    UfJpegWalk *walk = &splicer->walk;
    UfJpegPlace from = uf_jpeg_walk_place(walk);
    bool at_once = same_predictors(walk, splicer->predictors) &&
                   (walk->restart_interval == 0 || uf_jpeg_bits_go_on_at(&splicer->bits, from));
    if (at_once) {
        if (!uf_jpeg_walk_skip(walk, walk->columns))
            return false;
        uf_jpeg_bits_range(&splicer->bits, from, uf_jpeg_walk_place(walk));
        memcpy(splicer->predictors, walk->predictors, sizeof walk->predictors);
        return true;
    }
    for (size_t column = 0; column < walk->columns; column++) {
        if (uf_jpeg_walk_restart_is_due(walk) && !restart(splicer))
            return false;
        if (!uf_jpeg_splice_mcu(walk, &splicer->bits, splicer->predictors))
            return false;
    }
    return true;
}

static UfStatus splice_row(Splicer *splicer, size_t row, UfReport *report)
{
    UfJpegWalk *walk = &splicer->walk;
    if (!row_is_touched(splicer, row)) {
        splicer->damaged = !keep_row(splicer);
        return UF_OK;
    }
    UfStatus status = take_new_row(splicer, row, report);
    if (status != UF_OK)
        return status;
    size_t first = splicer->now->first, end = splicer->now->end;
    for (size_t column = 0; column < walk->columns && status == UF_OK && !splicer->damaged; column++) {
        if (uf_jpeg_walk_restart_is_due(walk) && !restart(splicer))
            splicer->damaged = true;
        else if (column >= first && column < end && mcu_is_touched(splicer, column, row))
            splicer->damaged = !code_mcu(splicer, column);
        else
            splicer->damaged = !uf_jpeg_splice_mcu(walk, &splicer->bits, splicer->predictors);
    }
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

/* Goes where the rows that were read begin, if nothing above them was touched; returns that row, or 0. */
static size_t go_to_note(Splicer *splicer)
{
    const UfJpegNote *note = splicer->picture->note;
    UfJpegWalk *walk = &splicer->walk;
    if (note == NULL || splicer->picture->format != UF_FORMAT_JPEG || note->mcu_row == 0 ||
        !is_same_file(&note->file, splicer->source) ||
        uf_touched_any_stored(splicer->touched, splicer->picture, splicer->picture->orientation, 0, 0,
                              splicer->jpeg.image_width, note->mcu_row * walk->mcu_height_px))
        return 0;
    UfJpegPlace from = uf_jpeg_walk_place(walk);
    uf_jpeg_walk_resume(walk, &note->mark);
    uf_jpeg_bits_range(&splicer->bits, from, note->mark.place);
    memcpy(splicer->predictors, walk->predictors, sizeof walk->predictors);
    return note->mcu_row;
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
    uf_jpeg_bits_range(bits, uf_jpeg_walk_place(walk), uf_jpeg_walk_place(walk));
    for (size_t row = go_to_note(splicer); row < walk->rows && status == UF_OK; row++) {
        status = splice_row(splicer, row, report);
        if (status == UF_OK)
            status = bits->status;
        if (splicer->damaged || bits->codes_missing)
            return status;
    }
    splicer->damaged = !uf_jpeg_walk_finish(walk, &end);
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
        !has_quantisation(&splicer->jpeg))
        return false;
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
    for (size_t i = 0; i < splicer->ahead_room; i++) /* side by side they must not share a report */
        uf_jpeg_band_init(&splicer->ahead[i].band, source->path, NULL);
    if (open_source(splicer) &&
        uf_jpeg_copy_head_with_metadata(source, &picture->metadata, output, &scan_start, NULL) == UF_OK &&
        scan_start < splicer->walk.start) {
        status = splice_scan(splicer, scan_start, output, report);
        *served = !splicer->damaged && !splicer->bits.codes_missing;
    }
    uf_jpeg_bits_clear(&splicer->bits);
    uf_jpeg_walk_clear(&splicer->walk);
    for (size_t i = 0; i < splicer->ahead_room; i++)
        uf_jpeg_band_clear(&splicer->ahead[i].band);
    free(splicer->ahead);
    jpeg_destroy_decompress(&splicer->jpeg);
    uf_metadata_clear(&splicer->metadata);
    free(splicer);
    return status;
}
