/*
 * A JPEG with a part of its pixels exchanged: the quantised DCT coefficients of all other MCUs stay what they
 * are.
 *
 * Files of one sequential Huffman scan are changed in their entropy-coded data (jpeg_splice.c). This is the
 * way for all others, and where the file's Huffman tables lack a code:
 *
 * ITU-T T.81: an MCU is the smallest unit that carries all components, Hmax*8 x Vmax*8 pixels. The
 * coefficients of the whole source are read, the MCUs that were touched are replaced by those of the new
 * pixels (made with the source's own quantisation tables and sampling), and everything is coded again with
 * the source's tables, scans, restart interval and markers. libjpeg's "Really raw data: DCT coefficients"
 * (libjpeg.txt).
 */
#include "picture/jpeg_band.h"

#include "base/smaller.h"
#include "picture/jpeg_recode.h"
#include "picture/jpeg_splice.h"

#include <omp.h>
#include <unistd.h>

typedef struct Rewriter {
    UfJpegRecoder recoder;
    UfJpegBand band;
    const UfPicture *picture;
    const UfTouched *touched;
    int orientation;
} Rewriter;

static UfStatus check_same_picture(const Rewriter *rewriter, UfReport *report)
{
    const UfPicture *picture = rewriter->picture;
    size_t width, height;
    uf_orient_stored_size(picture, rewriter->orientation, &width, &height);
    size_t channels = rewriter->recoder.source.out_color_space == JCS_RGB ? 3 : 1;
    if (rewriter->recoder.source.image_width == width && rewriter->recoder.source.image_height == height &&
        picture->channels == channels && picture->sample == UF_SAMPLE_U8 &&
        uf_exif_orientation(rewriter->recoder.metadata.exif) == rewriter->orientation)
        return UF_OK;
    return uf_fail(
        report, UF_ERROR_ARGUMENT,
        "is not the file that the picture was read from (another size, colour kind or orientation)");
}

static bool mcu_is_touched(const Rewriter *rewriter, size_t column, size_t row)
{
    size_t x = column * rewriter->recoder.mcu_width_px, y = row * rewriter->recoder.mcu_height_px;
    return uf_touched_any_stored(rewriter->touched, rewriter->picture, rewriter->orientation, x, y,
                                 x + rewriter->recoder.mcu_width_px, y + rewriter->recoder.mcu_height_px);
}

/* Component `index` of one MCU, from the band to the source's blocks. */
static void copy_component(Rewriter *rewriter, int index, size_t column, size_t row)
{
    struct jpeg_decompress_struct *source = &rewriter->recoder.source, *reader = &rewriter->band.reader;
    const jpeg_component_info *component = &source->comp_info[index];
    bool alone = source->num_components == 1;
    size_t h = alone ? 1 : (size_t)component->h_samp_factor, v = alone ? 1 : (size_t)component->v_samp_factor;
    size_t x = column * h, y = row * v;
    size_t band_x = x - rewriter->band.left_px / rewriter->recoder.mcu_width_px * h;
    size_t columns = uf_smaller(x + h, component->width_in_blocks),
           rows = uf_smaller(y + v, component->height_in_blocks);
    const JHUFF_TBL *table = source->ac_huff_tbl_ptrs[component->ac_tbl_no & 3];
    if (columns <= x || rows <= y)
        return; /* an edge MCU may lack blocks of a component */
    for (size_t j = 0; j < rows - y; j++) {
        JBLOCKARRAY to = source->mem->access_virt_barray(
            (j_common_ptr)source, rewriter->recoder.blocks[index], (JDIMENSION)(y + j), 1, TRUE);
        JBLOCKARRAY from = reader->mem->access_virt_barray((j_common_ptr)reader, rewriter->band.blocks[index],
                                                           (JDIMENSION)j, 1, FALSE);
        memcpy(to[0][x], from[0][band_x], (columns - x) * sizeof(JBLOCK));
        if (!rewriter->recoder.codes_missing && !uf_jpeg_ac_codes_exist(table, to[0][x], columns - x))
            rewriter->recoder.codes_missing = true;
    }
}

/* One row of MCUs: compress from the first to the last that was touched, copy those that were. */
static UfStatus replace_row(Rewriter *rewriter, size_t row, size_t columns, UfReport *report)
{
    size_t first = columns, end = 0;
    for (size_t column = 0; column < columns; column++)
        if (mcu_is_touched(rewriter, column, row)) {
            first = uf_smaller(first, column);
            end = column + 1;
        }
    if (first >= end)
        return UF_OK;
    struct jpeg_decompress_struct *source = &rewriter->recoder.source;
    UfJpegBand *band = &rewriter->band;
    band->left_px = first * rewriter->recoder.mcu_width_px;
    band->top_px = row * rewriter->recoder.mcu_height_px;
    band->width_px = uf_smaller(end * rewriter->recoder.mcu_width_px, source->image_width) - band->left_px;
    band->height_px = uf_smaller(rewriter->recoder.mcu_height_px, source->image_height - band->top_px);
    UfStatus status = uf_jpeg_band_make(band, source, rewriter->picture, rewriter->orientation, report);
    for (size_t column = first; column < end && status == UF_OK; column++)
        if (mcu_is_touched(rewriter, column, row))
            for (int i = 0; i < source->num_components; i++)
                copy_component(rewriter, i, column, row);
    return status;
}

static UfStatus replace_touched(Rewriter *rewriter, UfReport *report)
{
    size_t columns = (rewriter->recoder.source.image_width + rewriter->recoder.mcu_width_px - 1) /
                     rewriter->recoder.mcu_width_px;
    size_t rows = (rewriter->recoder.source.image_height + rewriter->recoder.mcu_height_px - 1) /
                  rewriter->recoder.mcu_height_px;
    UfStatus status = UF_OK;
    for (size_t row = 0; row < rows && status == UF_OK; row++)
        status = replace_row(rewriter, row, columns, report);
    return status;
}

static UfStatus read_and_replace(Rewriter *rewriter, UfInput *input, UfReport *report)
{
    UfJpegRecoder *recoder = &rewriter->recoder;
    if (setjmp(recoder->source_errors.jump))
        return recoder->source_errors.status;
    UfStatus status = uf_jpeg_recoder_open(recoder, input, report);
    if (status == UF_OK)
        status = check_same_picture(rewriter, report);
    if (status == UF_OK)
        status = uf_jpeg_recoder_read(recoder, input, report);
    return status == UF_OK ? replace_touched(rewriter, report) : status;
}

UfStatus uf_jpeg_rewrite_coefficients(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                                      UfOutput *output, UfReport *report)
{
    Rewriter *rewriter = uf_alloc_zero(1, sizeof *rewriter);
    if (rewriter == NULL)
        return uf_fail_memory(report);
    rewriter->picture = picture;
    rewriter->touched = touched;
    rewriter->orientation = picture->orientation;
    uf_jpeg_recoder_init(&rewriter->recoder, source->path, output->final_path, report);
    uf_jpeg_band_init(&rewriter->band, source->path, report);
    UfStatus status = read_and_replace(rewriter, source, report);
    if (status == UF_OK)
        status = uf_jpeg_recoder_write(&rewriter->recoder, &picture->metadata, output, report);
    uf_jpeg_recoder_clear(&rewriter->recoder);
    uf_jpeg_band_clear(&rewriter->band);
    free(rewriter);
    return status;
}

UfStatus uf_jpeg_rewrite(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                         const UfWriteOptions *options, UfOutput *output, UfReport *report)
{
    bool served = false;
    int threads = options->threads > 0 ? options->threads : omp_get_max_threads();
    if (!uf_touched_any(touched, 0, 0, picture->width_px, picture->height_px))
        return uf_jpeg_copy_with_metadata(source, &picture->metadata, output, report);
    UfStatus status = uf_jpeg_splice(picture, source, touched, output, threads, &served, report);
    if (served || status != UF_OK)
        return status;
    rewind(output->stream);
    if (ftruncate(fileno(output->stream), 0) != 0)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    return uf_jpeg_rewrite_coefficients(picture, source, touched, output, report);
}
