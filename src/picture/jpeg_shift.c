/*
 * A JPEG panorama turned about its vertical axis by whole columns of MCUs: blocks move, no coefficient
 * changes.
 *
 * ITU-T T.81 A.2.3: an MCU is Hmax*8 pixels wide, one of a picture of a single component 8. Only where the
 * width is a whole number of MCUs do the columns behind the right edge follow on those before the left one.
 */
#include "picture/jpeg_recode.h"

static size_t step_of(const UfJpegRecoder *recoder)
{
    size_t step = recoder->mcu_width_px;
    return recoder->source.image_width % step == 0 ? step : 0;
}

static UfStatus read_step(UfJpegRecoder *recoder, UfInput *input, size_t *step_px, UfReport *report)
{
    if (setjmp(recoder->source_errors.jump))
        return recoder->source_errors.status;
    UfStatus status = uf_jpeg_recoder_open(recoder, input, report);
    if (status == UF_OK)
        *step_px = uf_exif_orientation(recoder->metadata.exif) == 1 ? step_of(recoder) : 0;
    return status;
}

UfStatus uf_jpeg_shift_step(UfInput *source, size_t *step_px, UfReport *report)
{
    UfJpegRecoder *recoder = uf_alloc_zero(1, sizeof *recoder);
    if (recoder == NULL)
        return uf_fail_memory(report);
    uf_jpeg_recoder_init(recoder, source->path, source->path, report);
    UfStatus status = read_step(recoder, source, step_px, report);
    uf_jpeg_recoder_clear(recoder);
    free(recoder);
    return status;
}

/* Column x of the result is column x + blocks of what is there. */
static void turn_row(JBLOCKROW row, size_t width, size_t blocks, JBLOCKROW room)
{
    memcpy(room, row, blocks * sizeof *row);
    memmove(row, row + blocks, (width - blocks) * sizeof *row);
    memcpy(row + (width - blocks), room, blocks * sizeof *row);
}

static void shift_blocks(UfJpegRecoder *recoder, size_t shift_px, JBLOCKROW room)
{
    struct jpeg_decompress_struct *source = &recoder->source;
    for (int i = 0; i < source->num_components; i++) {
        const jpeg_component_info *component = &source->comp_info[i];
        size_t width = component->width_in_blocks;
        size_t blocks = width * shift_px / source->image_width;
        for (JDIMENSION y = 0; y < component->height_in_blocks; y++) {
            JBLOCKARRAY rows =
                source->mem->access_virt_barray((j_common_ptr)source, recoder->blocks[i], y, 1, TRUE);
            turn_row(rows[0], width, blocks, room);
        }
    }
}

static UfStatus read_and_shift(UfJpegRecoder *recoder, UfInput *input, size_t shift_px, JBLOCKROW *room,
                               UfReport *report)
{
    if (setjmp(recoder->source_errors.jump))
        return recoder->source_errors.status;
    UfStatus status = uf_jpeg_recoder_open(recoder, input, report);
    if (status != UF_OK)
        return status;
    size_t step = step_of(recoder), width = recoder->source.image_width;
    if (step == 0 || shift_px % step != 0 || shift_px >= width)
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "columns of this JPEG (%zu pixels wide) cannot be moved by %zu pixels without loss",
                       width, shift_px);
    *room = uf_alloc(width / DCTSIZE, sizeof **room);
    if (*room == NULL)
        return uf_fail_memory(report);
    status = uf_jpeg_recoder_read(recoder, input, report);
    if (status == UF_OK)
        shift_blocks(recoder, shift_px, *room);
    return status;
}

UfStatus uf_jpeg_shift(UfInput *source, size_t shift_px, const UfMetadata *metadata, UfOutput *output,
                       UfReport *report)
{
    JBLOCKROW room = NULL;
    UfJpegRecoder *recoder = uf_alloc_zero(1, sizeof *recoder);
    if (recoder == NULL)
        return uf_fail_memory(report);
    uf_jpeg_recoder_init(recoder, source->path, output->final_path, report);
    UfStatus status = read_and_shift(recoder, source, shift_px, &room, report);
    if (status == UF_OK)
        status = uf_jpeg_recoder_write(recoder, metadata, output, report);
    uf_jpeg_recoder_clear(recoder);
    free(recoder);
    free(room);
    return status;
}
