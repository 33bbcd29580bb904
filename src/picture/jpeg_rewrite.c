/*
 * A JPEG with a part of its pixels exchanged: the quantised DCT coefficients of all other MCUs stay what they
 * are.
 *
 * ITU-T T.81: an MCU is the smallest unit that carries all components, Hmax*8 x Vmax*8 pixels. The
 * coefficients of the whole source are read, the MCUs that were touched are replaced by those of the new
 * pixels (made with the source's own quantisation tables and sampling), and everything is coded again with
 * the source's tables, scans, restart interval and markers. libjpeg's "Really raw data: DCT coefficients"
 * (libjpeg.txt).
 */
#include <unistd.h>

#include "picture/jpeg_band.h"

typedef struct Rewriter {
    struct jpeg_decompress_struct source;
    struct jpeg_compress_struct target;
    UfJpegErrors source_errors, target_errors;
    jvirt_barray_ptr *blocks;
    UfMetadata source_metadata;
    UfJpegBand band;
    const UfPicture *picture;
    const UfTouched *touched;
    int orientation;
    size_t mcu_width_px, mcu_height_px;
    bool codes_missing; /* the source's Huffman tables lack a code that the new blocks need */
    jpeg_scan_info scans[UF_JPEG_MAX_SCANS];
    int scan_count;
} Rewriter;

/* Notes the scans of the source as they come by; libjpeg calls this before each step of reading. */
static void note_scan(j_common_ptr common)
{
    struct jpeg_decompress_struct *jpeg = (struct jpeg_decompress_struct *)common;
    Rewriter *rewriter = common->client_data;
    int number = jpeg->input_scan_number;
    uf_jpeg_count_scans(common);
    if (number <= rewriter->scan_count)
        return;
    jpeg_scan_info *scan = &rewriter->scans[number - 1];
    *scan = (jpeg_scan_info){.comps_in_scan = jpeg->comps_in_scan,
                             .Ss = jpeg->progressive_mode ? jpeg->Ss : 0,
                             .Se = jpeg->progressive_mode ? jpeg->Se : DCTSIZE2 - 1,
                             .Ah = jpeg->progressive_mode ? jpeg->Ah : 0,
                             .Al = jpeg->progressive_mode ? jpeg->Al : 0};
    for (int i = 0; i < jpeg->comps_in_scan; i++)
        scan->component_index[i] = jpeg->cur_comp_info[i]->component_index;
    rewriter->scan_count = number;
}

static UfStatus check_same_picture(const Rewriter *rewriter, UfReport *report)
{
    const UfPicture *picture = rewriter->picture;
    size_t width, height;
    uf_orient_stored_size(picture, rewriter->orientation, &width, &height);
    size_t channels = rewriter->source.out_color_space == JCS_RGB ? 3 : 1;
    if (rewriter->source.image_width == width && rewriter->source.image_height == height &&
        picture->channels == channels && picture->sample == UF_SAMPLE_U8 &&
        uf_exif_orientation(rewriter->source_metadata.exif) == rewriter->orientation)
        return UF_OK;
    return uf_fail(
        report, UF_ERROR_ARGUMENT,
        "is not the file that the picture was read from (another size, colour kind or orientation)");
}

/* Header, metadata, then all coefficients. */
static UfStatus load_source(Rewriter *rewriter, UfInput *input, UfReport *report)
{
    struct jpeg_decompress_struct *source = &rewriter->source;
    UfStatus status = uf_jpeg_open(source, input->stream, report);
    if (status == UF_OK) /* its warnings came when the picture was read */
        status = uf_jpeg_read_metadata(source, input->path, &rewriter->source_metadata, NULL);
    if (status == UF_OK)
        status = check_same_picture(rewriter, report);
    if (status == UF_OK)
        status = uf_check_size(source->image_width, source->image_height, rewriter->picture->channels,
                               UF_SAMPLE_U8, uf_jpeg_coefficient_bytes(source), 0, report);
    if (status != UF_OK)
        return status;
    rewriter->source_errors.progress.progress_monitor = note_scan;
    source->progress = &rewriter->source_errors.progress;
    source->client_data = rewriter;
    rewriter->blocks = jpeg_read_coefficients(source);
    rewriter->mcu_width_px = (size_t)source->max_h_samp_factor * DCTSIZE;
    rewriter->mcu_height_px = (size_t)source->max_v_samp_factor * DCTSIZE;
    return UF_OK;
}

/* What stands behind the picture can't be known to stay true; an index or a gain map has been spoken of
 * already. */
static void warn_of_trailer(const Rewriter *rewriter, UfInput *input, UfReport *report)
{
    off_t position = ftello(input->stream) - (off_t)rewriter->source.src->bytes_in_buffer;
    bool known = rewriter->source_metadata.has_multi_picture || rewriter->source_metadata.has_gain_map;
    if (!known && position >= 0 && (uint64_t)position < input->size_bytes)
        uf_warn(report, "%s: holds %llu bytes behind the picture, which are left out", input->path,
                (unsigned long long)(input->size_bytes - (uint64_t)position));
}

static bool mcu_is_touched(const Rewriter *rewriter, size_t column, size_t row)
{
    size_t x = column * rewriter->mcu_width_px, y = row * rewriter->mcu_height_px;
    return uf_touched_any_stored(rewriter->touched, rewriter->picture, rewriter->orientation, x, y,
                                 x + rewriter->mcu_width_px, y + rewriter->mcu_height_px);
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Component `index` of one MCU, from the band to the source's blocks. */
static void copy_component(Rewriter *rewriter, int index, size_t column, size_t row)
{
    struct jpeg_decompress_struct *source = &rewriter->source, *reader = &rewriter->band.reader;
    const jpeg_component_info *component = &source->comp_info[index];
    size_t h = (size_t)component->h_samp_factor, v = (size_t)component->v_samp_factor;
    size_t x = column * h, y = row * v;
    size_t band_x = x - rewriter->band.left_px / rewriter->mcu_width_px * h;
    size_t columns = smaller(x + h, component->width_in_blocks),
           rows = smaller(y + v, component->height_in_blocks);
    const JHUFF_TBL *table = source->ac_huff_tbl_ptrs[component->ac_tbl_no & 3];
    if (columns <= x || rows <= y)
        return; /* an edge MCU may lack blocks of a component */
    for (size_t j = 0; j < rows - y; j++) {
        JBLOCKARRAY to = source->mem->access_virt_barray((j_common_ptr)source, rewriter->blocks[index],
                                                         (JDIMENSION)(y + j), 1, TRUE);
        JBLOCKARRAY from = reader->mem->access_virt_barray((j_common_ptr)reader, rewriter->band.blocks[index],
                                                           (JDIMENSION)j, 1, FALSE);
        memcpy(to[0][x], from[0][band_x], (columns - x) * sizeof(JBLOCK));
        if (!rewriter->codes_missing && !uf_jpeg_ac_codes_exist(table, to[0][x], columns - x))
            rewriter->codes_missing = true;
    }
}

/* One row of MCUs: compress from the first to the last that was touched, copy those that were. */
static UfStatus replace_row(Rewriter *rewriter, size_t row, size_t columns, UfReport *report)
{
    size_t first = columns, end = 0;
    for (size_t column = 0; column < columns; column++)
        if (mcu_is_touched(rewriter, column, row)) {
            first = smaller(first, column);
            end = column + 1;
        }
    if (first >= end)
        return UF_OK;
    struct jpeg_decompress_struct *source = &rewriter->source;
    UfJpegBand *band = &rewriter->band;
    band->left_px = first * rewriter->mcu_width_px;
    band->top_px = row * rewriter->mcu_height_px;
    band->width_px = smaller(end * rewriter->mcu_width_px, source->image_width) - band->left_px;
    band->height_px = smaller(rewriter->mcu_height_px, source->image_height - band->top_px);
    UfStatus status = uf_jpeg_band_make(band, source, rewriter->picture, rewriter->orientation, report);
    for (size_t column = first; column < end && status == UF_OK; column++)
        if (mcu_is_touched(rewriter, column, row))
            for (int i = 0; i < source->num_components; i++)
                copy_component(rewriter, i, column, row);
    return status;
}

static UfStatus replace_touched(Rewriter *rewriter, UfReport *report)
{
    size_t columns = (rewriter->source.image_width + rewriter->mcu_width_px - 1) / rewriter->mcu_width_px;
    size_t rows = (rewriter->source.image_height + rewriter->mcu_height_px - 1) / rewriter->mcu_height_px;
    UfStatus status = UF_OK;
    for (size_t row = 0; row < rows && status == UF_OK; row++)
        status = replace_row(rewriter, row, columns, report);
    return status;
}

/* A progressive source whose scans don't send every bit of every coefficient: they would cut the new blocks
 * too. */
static bool scans_are_complete(const struct jpeg_decompress_struct *source)
{
    if (!source->progressive_mode)
        return true;
    for (int i = 0; i < source->num_components; i++)
        for (int k = 0; k < DCTSIZE2; k++)
            if (source->coef_bits == NULL || source->coef_bits[i][k] != 0)
                return false;
    return true;
}

static void copy_table(j_common_ptr owner, const JHUFF_TBL *from, JHUFF_TBL **to)
{
    if (from == NULL)
        return;
    if (*to == NULL)
        *to = jpeg_alloc_huff_table(owner);
    memcpy((*to)->bits, from->bits, sizeof from->bits);
    memcpy((*to)->huffval, from->huffval, sizeof from->huffval);
    (*to)->sent_table = FALSE;
}

/* A file of several scans may have had other tables for its earlier ones: every block is looked at. */
static bool all_codes_exist(Rewriter *rewriter)
{
    struct jpeg_decompress_struct *source = &rewriter->source;
    for (int i = 0; i < source->num_components; i++) {
        const jpeg_component_info *component = &source->comp_info[i];
        const JHUFF_TBL *table = source->ac_huff_tbl_ptrs[component->ac_tbl_no & 3];
        for (JDIMENSION y = 0; y < component->height_in_blocks; y++) {
            JBLOCKARRAY row =
                source->mem->access_virt_barray((j_common_ptr)source, rewriter->blocks[i], y, 1, FALSE);
            if (!uf_jpeg_ac_codes_exist(table, row[0][0], component->width_in_blocks))
                return false;
        }
    }
    return true;
}

/* The source's Huffman tables, or a wish for new ones. */
static void set_huffman(Rewriter *rewriter)
{
    struct jpeg_decompress_struct *source = &rewriter->source;
    struct jpeg_compress_struct *target = &rewriter->target;
    bool keep = !source->progressive_mode && !rewriter->codes_missing;
    for (int i = 0; i < source->num_components && keep; i++)
        keep = uf_jpeg_dc_codes_complete(source->dc_huff_tbl_ptrs[source->comp_info[i].dc_tbl_no & 3]);
    if (keep && rewriter->scan_count > 1)
        keep = all_codes_exist(rewriter);
    target->optimize_coding = keep ? FALSE : TRUE;
    if (!keep)
        return;
    for (int i = 0; i < NUM_HUFF_TBLS; i++) {
        copy_table((j_common_ptr)target, source->dc_huff_tbl_ptrs[i], &target->dc_huff_tbl_ptrs[i]);
        copy_table((j_common_ptr)target, source->ac_huff_tbl_ptrs[i], &target->ac_huff_tbl_ptrs[i]);
    }
    for (int i = 0; i < source->num_components; i++) {
        target->comp_info[i].dc_tbl_no = source->comp_info[i].dc_tbl_no;
        target->comp_info[i].ac_tbl_no = source->comp_info[i].ac_tbl_no;
    }
}

static void set_coding(Rewriter *rewriter, bool own_scans)
{
    struct jpeg_decompress_struct *source = &rewriter->source;
    struct jpeg_compress_struct *target = &rewriter->target;
    jpeg_copy_critical_parameters(source, target);
    target->restart_interval = source->restart_interval;
    target->restart_in_rows = 0;
    target->write_JFIF_header = FALSE; /* the source's own markers come instead */
    target->write_Adobe_marker = FALSE;
    target->arith_code = source->arith_code;
    if (source->arith_code) {
        memcpy(target->arith_dc_L, source->arith_dc_L, sizeof target->arith_dc_L);
        memcpy(target->arith_dc_U, source->arith_dc_U, sizeof target->arith_dc_U);
        memcpy(target->arith_ac_K, source->arith_ac_K, sizeof target->arith_ac_K);
    } else {
        set_huffman(rewriter);
    }
    if (own_scans && (source->progressive_mode || rewriter->scan_count > 1)) {
        target->scan_info = rewriter->scans;
        target->num_scans = rewriter->scan_count;
    } else if (source->progressive_mode) {
        jpeg_simple_progression(target);
    }
}

static UfStatus write_target(Rewriter *rewriter, UfOutput *output, bool own_scans, UfReport *report)
{
    if (setjmp(rewriter->target_errors.jump))
        return rewriter->target_errors.status;
    if (setjmp(rewriter->source_errors.jump))
        return rewriter->source_errors.status;
    jpeg_create_compress(&rewriter->target);
    jpeg_stdio_dest(&rewriter->target, output->stream);
    set_coding(rewriter, own_scans);
    jpeg_write_coefficients(&rewriter->target, rewriter->blocks);
    const UfJpegSink sink = {.jpeg = &rewriter->target};
    uf_jpeg_repeat_markers(&sink, rewriter->source.marker_list, &rewriter->source_metadata,
                           &rewriter->picture->metadata, report);
    jpeg_finish_compress(&rewriter->target);
    return UF_OK;
}

/* A script of scans that decoders take and the encoder doesn't: begin again with the usual one. */
static UfStatus write_again(Rewriter *rewriter, UfOutput *output, UfReport *report)
{
    jpeg_destroy_compress(&rewriter->target);
    rewind(output->stream);
    if (ftruncate(fileno(output->stream), 0) != 0)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    return write_target(rewriter, output, false, report);
}

static UfStatus read_and_replace(Rewriter *rewriter, UfInput *input, UfReport *report)
{
    if (setjmp(rewriter->source_errors.jump))
        return rewriter->source_errors.status;
    jpeg_create_decompress(&rewriter->source);
    UfStatus status = load_source(rewriter, input, report);
    if (status != UF_OK)
        return status;
    warn_of_trailer(rewriter, input, report);
    return replace_touched(rewriter, report);
}

static UfStatus rewrite_all(Rewriter *rewriter, UfInput *input, UfOutput *output, UfReport *report)
{
    UfStatus status = read_and_replace(rewriter, input, report);
    if (status != UF_OK)
        return status;
    bool own_scans = scans_are_complete(&rewriter->source);
    status = write_target(rewriter, output, own_scans, report);
    if (status == UF_ERROR_FORMAT && own_scans && rewriter->scan_count > 1)
        status = write_again(rewriter, output, report);
    return status;
}

UfStatus uf_jpeg_rewrite(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                         UfOutput *output, UfReport *report)
{
    if (!uf_touched_any(touched, 0, 0, picture->width_px, picture->height_px))
        return uf_jpeg_copy_with_metadata(source, &picture->metadata, output, report);
    Rewriter *rewriter = uf_alloc_zero(1, sizeof *rewriter);
    if (rewriter == NULL)
        return uf_fail_memory(report);
    rewriter->picture = picture;
    rewriter->touched = touched;
    rewriter->orientation = picture->orientation;
    rewriter->source.err = uf_jpeg_errors_init(&rewriter->source_errors, source->path, report);
    rewriter->target.err = uf_jpeg_errors_init(&rewriter->target_errors, output->final_path, report);
    uf_jpeg_band_init(&rewriter->band, source->path, report);
    UfStatus status = rewrite_all(rewriter, source, output, report);
    jpeg_destroy_compress(&rewriter->target);
    jpeg_destroy_decompress(&rewriter->source);
    uf_jpeg_band_clear(&rewriter->band);
    uf_metadata_clear(&rewriter->source_metadata);
    free(rewriter);
    return status;
}
