/* MCUs of new pixels, as bits or symbols of a JPEG of these pixels alone. */
#include "picture/jpeg_new.h"

#include "base/smaller.h"
void uf_jpeg_new_init(UfJpegNew *new, const char *name)
{
    uf_jpeg_band_init(&new->band, name, NULL); /* side by side they must not share a report */
}

void uf_jpeg_new_clear(UfJpegNew *new)
{
    uf_jpeg_band_clear(&new->band);
    uf_jpeg_walk_clear(&new->walk);
}

static bool begin(UfJpegNew *new)
{
    const UfJpegBytes bytes = {.memory = new->band.bytes, .size_bytes = new->band.size_bytes};
    if (new->walk_is_open)
        uf_jpeg_walk_begin(&new->walk, &bytes, new->band.data_start);
    else
        new->walk_is_open = uf_jpeg_walk_open(&new->walk, &new->band.reader, &bytes, new->band.data_start);
    return new->walk_is_open;
}

/* Where bits are taken as they are, what is known behind the last MCU has to be known, too. */
static bool look_through(UfJpegNew *new, const UfJpegTarget *target)
{
    size_t count = (new->end_row - new->first_row) * (new->end_column - new->first_column);
    if (!begin(new) || !target->own_codes)
        return new->walk_is_open;
    if (!uf_jpeg_walk_skip(&new->walk, count))
        return false;
    new->end = uf_jpeg_walk_place(&new->walk);
    memcpy(new->predictors, new->walk.predictors, sizeof new->predictors);
    return begin(new);
}

UfStatus uf_jpeg_new_code(UfJpegNew *new, const UfJpegTarget *target)
{
    const UfJpegWalk *walk = target->walk;
    UfJpegBand *band = &new->band;
    band->left_px = new->first_column * walk->mcu_width_px;
    band->top_px = new->first_row * walk->mcu_height_px;
    band->width_px =
        uf_smaller(new->end_column * walk->mcu_width_px, target->jpeg->image_width) - band->left_px;
    band->height_px =
        uf_smaller(new->end_row * walk->mcu_height_px, target->jpeg->image_height) - band->top_px;
    band->own_codes = target->own_codes;
    UfStatus status =
        uf_jpeg_band_code(band, target->jpeg, target->picture, target->picture->orientation, NULL);
    return status == UF_OK && !look_through(new, target) ? UF_ERROR_FORMAT : status;
}

bool uf_jpeg_new_put(UfJpegNew *new, const UfJpegTarget *target, UfJpegBits *bits,
                     int predictors[MAX_COMPS_IN_SCAN])
{
    UfJpegSymbols symbols[UF_JPEG_MAX_MCU_BLOCKS];
    if (target->own_codes)
        return uf_jpeg_splice_mcu(&new->walk, bits, predictors);
    if (!uf_jpeg_walk_symbols(&new->walk, symbols))
        return false;
    for (unsigned i = 0; i < target->walk->block_count; i++) {
        const UfJpegWalkBlock *block = &target->walk->blocks[i];
        uf_jpeg_bits_dc(bits, block->dc, symbols[i].dc - predictors[block->component]);
        uf_jpeg_bits_ac(bits, block->ac, &symbols[i]);
        predictors[block->component] = symbols[i].dc;
    }
    return true;
}

bool uf_jpeg_new_drop(UfJpegNew *new)
{
    return uf_jpeg_walk_mcu(&new->walk, NULL);
}

bool uf_jpeg_new_put_all(UfJpegNew *new, UfJpegBits *bits, int predictors[MAX_COMPS_IN_SCAN])
{
    if (!uf_jpeg_splice_mcu(&new->walk, bits, predictors))
        return false;
    uf_jpeg_bits_range(bits, &new->walk.bytes, uf_jpeg_walk_place(&new->walk), new->end);
    memcpy(predictors, new->predictors, sizeof new->predictors);
    return true;
}
