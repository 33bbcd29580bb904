/*
 * The common part of all that changes a JPEG without decoding it: all coefficients are read, somebody
 * exchanges or moves blocks, and everything is coded again with the source's tables, scans, restart interval
 * and markers. libjpeg's "Really raw data: DCT coefficients" (libjpeg.txt).
 */
#include "picture/jpeg_recode.h"

#include <unistd.h>

/* Notes the scans of the source as they come by; libjpeg calls this before each step of reading. */
static void note_scan(j_common_ptr common)
{
    struct jpeg_decompress_struct *jpeg = (struct jpeg_decompress_struct *)common;
    UfJpegRecoder *recoder = common->client_data;
    int number = jpeg->input_scan_number;
    uf_jpeg_count_scans(common);
    if (number <= recoder->scan_count)
        return;
    jpeg_scan_info *scan = &recoder->scans[number - 1];
    *scan = (jpeg_scan_info){.comps_in_scan = jpeg->comps_in_scan,
                             .Ss = jpeg->progressive_mode ? jpeg->Ss : 0,
                             .Se = jpeg->progressive_mode ? jpeg->Se : DCTSIZE2 - 1,
                             .Ah = jpeg->progressive_mode ? jpeg->Ah : 0,
                             .Al = jpeg->progressive_mode ? jpeg->Al : 0};
    for (int i = 0; i < jpeg->comps_in_scan; i++)
        scan->component_index[i] = jpeg->cur_comp_info[i]->component_index;
    recoder->scan_count = number;
}

void uf_jpeg_recoder_init(UfJpegRecoder *recoder, const char *source, const char *target, UfReport *report)
{
    recoder->source.err = uf_jpeg_errors_init(&recoder->source_errors, source, report);
    recoder->target.err = uf_jpeg_errors_init(&recoder->target_errors, target, report);
}

void uf_jpeg_recoder_clear(UfJpegRecoder *recoder)
{
    jpeg_destroy_compress(&recoder->target);
    jpeg_destroy_decompress(&recoder->source);
    uf_metadata_clear(&recoder->metadata);
}

UfStatus uf_jpeg_recoder_open(UfJpegRecoder *recoder, UfInput *input, UfReport *report)
{
    struct jpeg_decompress_struct *source = &recoder->source;
    jpeg_create_decompress(source);
    UfStatus status = uf_jpeg_open(source, input->stream, report);
    if (status == UF_OK) /* its warnings came when the picture was read */
        status = uf_jpeg_read_metadata(source, input->path, &recoder->metadata, NULL);
    /* T.81 A.2.2: where there is but one component an MCU is one block, whatever its sampling factors say */
    bool alone = source->num_components == 1;
    recoder->mcu_width_px = (alone ? 1 : (size_t)source->max_h_samp_factor) * DCTSIZE;
    recoder->mcu_height_px = (alone ? 1 : (size_t)source->max_v_samp_factor) * DCTSIZE;
    return status;
}

/* What stands behind the picture; an index or a gain map has been spoken of already. */
static void warn_of_trailer(const UfJpegRecoder *recoder, UfInput *input, UfReport *report)
{
    off_t position = ftello(input->stream) - (off_t)recoder->source.src->bytes_in_buffer;
    if (!recoder->metadata.has_multi_picture && !recoder->metadata.has_gain_map && position >= 0)
        uf_jpeg_warn_of_trailer(input, (uint64_t)position, report);
}

UfStatus uf_jpeg_recoder_read(UfJpegRecoder *recoder, UfInput *input, UfReport *report)
{
    struct jpeg_decompress_struct *source = &recoder->source;
    UfStatus status = uf_check_size(source->image_width, source->image_height, (size_t)source->num_components,
                                    UF_SAMPLE_U8, uf_jpeg_coefficient_bytes(source), 0, report);
    if (status != UF_OK)
        return status;
    recoder->source_errors.progress.progress_monitor = note_scan;
    source->progress = &recoder->source_errors.progress;
    source->client_data = recoder;
    recoder->blocks = jpeg_read_coefficients(source);
    status = uf_jpeg_check_quantisation(source, report);
    if (status == UF_OK)
        warn_of_trailer(recoder, input, report);
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

/* A file of several scans may have had other tables for its earlier ones: every block is looked at. */
static bool all_codes_exist(UfJpegRecoder *recoder)
{
    struct jpeg_decompress_struct *source = &recoder->source;
    for (int i = 0; i < source->num_components; i++) {
        const jpeg_component_info *component = &source->comp_info[i];
        const JHUFF_TBL *table = source->ac_huff_tbl_ptrs[component->ac_tbl_no & 3];
        for (JDIMENSION y = 0; y < component->height_in_blocks; y++) {
            JBLOCKARRAY row =
                source->mem->access_virt_barray((j_common_ptr)source, recoder->blocks[i], y, 1, FALSE);
            if (!uf_jpeg_ac_codes_exist(table, row[0][0], component->width_in_blocks))
                return false;
        }
    }
    return true;
}

/* The source's Huffman tables, or a wish for new ones. */
static void set_huffman(UfJpegRecoder *recoder)
{
    struct jpeg_decompress_struct *source = &recoder->source;
    struct jpeg_compress_struct *target = &recoder->target;
    bool keep = !source->progressive_mode && !recoder->codes_missing;
    for (int i = 0; i < source->num_components && keep; i++)
        keep = uf_jpeg_dc_codes_complete(source->dc_huff_tbl_ptrs[source->comp_info[i].dc_tbl_no & 3]) &&
               uf_jpeg_codes_are_unique(source->dc_huff_tbl_ptrs[source->comp_info[i].dc_tbl_no & 3]) &&
               uf_jpeg_codes_are_unique(source->ac_huff_tbl_ptrs[source->comp_info[i].ac_tbl_no & 3]);
    if (keep && recoder->scan_count > 1)
        keep = all_codes_exist(recoder);
    target->optimize_coding = keep ? FALSE : TRUE;
    if (keep)
        uf_jpeg_copy_codes(source, target);
}

static void set_coding(UfJpegRecoder *recoder, bool own_scans)
{
    struct jpeg_decompress_struct *source = &recoder->source;
    struct jpeg_compress_struct *target = &recoder->target;
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
        set_huffman(recoder);
    }
    if (own_scans && (source->progressive_mode || recoder->scan_count > 1)) {
        target->scan_info = recoder->scans;
        target->num_scans = recoder->scan_count;
    } else if (source->progressive_mode) {
        jpeg_simple_progression(target);
    }
}

static UfStatus write_target(UfJpegRecoder *recoder, const UfMetadata *metadata, UfOutput *output,
                             bool own_scans, UfReport *report)
{
    if (setjmp(recoder->target_errors.jump))
        return recoder->target_errors.status;
    if (setjmp(recoder->source_errors.jump))
        return recoder->source_errors.status;
    jpeg_create_compress(&recoder->target);
    jpeg_stdio_dest(&recoder->target, output->stream);
    set_coding(recoder, own_scans);
    jpeg_write_coefficients(&recoder->target, recoder->blocks);
    const UfJpegSink sink = {.jpeg = &recoder->target};
    uf_jpeg_repeat_markers(&sink, recoder->source.marker_list, &recoder->metadata, metadata, report);
    jpeg_finish_compress(&recoder->target);
    return UF_OK;
}

/* A script of scans that decoders take and the encoder doesn't: begin again with the usual one. */
static UfStatus write_again(UfJpegRecoder *recoder, const UfMetadata *metadata, UfOutput *output,
                            UfReport *report)
{
    jpeg_destroy_compress(&recoder->target);
    rewind(output->stream);
    if (ftruncate(fileno(output->stream), 0) != 0)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    return write_target(recoder, metadata, output, false, report);
}

UfStatus uf_jpeg_recoder_write(UfJpegRecoder *recoder, const UfMetadata *metadata, UfOutput *output,
                               UfReport *report)
{
    bool own_scans = scans_are_complete(&recoder->source);
    UfStatus status = write_target(recoder, metadata, output, own_scans, report);
    if (status == UF_ERROR_FORMAT && own_scans && recoder->scan_count > 1)
        status = write_again(recoder, metadata, output, report);
    return status;
}
