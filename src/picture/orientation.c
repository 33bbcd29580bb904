/*
 * EXIF orientation (CIPA DC-008, tag 0x0112; TIFF 6.0 p. 36): where row 0 and column 0 of the stored pixels
 * are seen. Each of the eight is a swap of the axes or not, then a flip of the upright x, of the upright y,
 * or of both.
 */
#include "picture/picture_internal.h"

#include "base/smaller.h"
typedef struct Turn {
    bool swap, flip_x, flip_y;
} Turn;

static Turn turn_of(int orientation)
{
    static const Turn turns[9] = {
        [1] = {false, false, false}, [2] = {false, true, false}, [3] = {false, true, true},
        [4] = {false, false, true},  [5] = {true, false, false}, [6] = {true, true, false},
        [7] = {true, true, true},    [8] = {true, false, true},
    };
    return orientation >= 1 && orientation <= 8 ? turns[orientation] : turns[1];
}

/* Edge of the squares in which pixels are moved, so that rows of both pictures stay in the cache. */
#define SQUARE_PX 32u

void uf_orient_stored_rect(const UfPicture *picture, int orientation, size_t x0_px, size_t y0_px,
                           size_t width_px, size_t height_px, uint8_t *out, size_t out_stride_bytes)
{
    Turn turn = turn_of(orientation);
    size_t pixel = picture->channels * (size_t)picture->sample;
    for (size_t top = 0; top < height_px; top += SQUARE_PX)
        for (size_t left = 0; left < width_px; left += SQUARE_PX)
            for (size_t j = top; j < uf_smaller(top + SQUARE_PX, height_px); j++)
                for (size_t i = left; i < uf_smaller(left + SQUARE_PX, width_px); i++) {
                    size_t x = turn.swap ? y0_px + j : x0_px + i;
                    size_t y = turn.swap ? x0_px + i : y0_px + j;
                    x = turn.flip_x ? picture->width_px - 1 - x : x;
                    y = turn.flip_y ? picture->height_px - 1 - y : y;
                    memcpy(out + j * out_stride_bytes + i * pixel,
                           picture->data + y * picture->stride_bytes + x * pixel, pixel);
                }
}

/* The orientation that undoes another one: only the two quarter turns differ from their inverse. */
static int inverse_of(int orientation)
{
    return orientation == 6 ? 8 : orientation == 8 ? 6 : orientation;
}

UfStatus uf_orient_upright(UfPicture *picture, int orientation, UfReport *report)
{
    picture->orientation = orientation;
    if (orientation == 1)
        return UF_OK;
    bool swap = turn_of(orientation).swap;
    size_t width = swap ? picture->height_px : picture->width_px;
    size_t height = swap ? picture->width_px : picture->height_px;
    size_t stride = width * picture->channels * (size_t)picture->sample;
    uint8_t *turned = uf_alloc(stride, height);
    if (turned == NULL)
        return uf_fail_memory(report);
    uf_orient_stored_rect(picture, inverse_of(orientation), 0, 0, width, height, turned, stride);
    free(picture->data);
    picture->data = turned;
    picture->width_px = width;
    picture->height_px = picture->held_end_px = height;
    picture->stride_bytes = stride;
    picture->described_width_px = width;
    picture->described_height_px = height;
    return UF_OK;
}

void uf_orient_stored_size(const UfPicture *picture, int orientation, size_t *width_px, size_t *height_px)
{
    bool swap = turn_of(orientation).swap;
    *width_px = swap ? picture->height_px : picture->width_px;
    *height_px = swap ? picture->width_px : picture->height_px;
}

size_t uf_orient_next_cell(const UfPicture *picture, int orientation, bool rows, size_t position)
{
    Turn turn = turn_of(orientation);
    bool upright_y = rows != turn.swap;
    size_t length = upright_y ? picture->height_px : picture->width_px;
    /* cells are counted from the upright top left: seen from the other end, the first one is cut */
    size_t first = (upright_y ? turn.flip_y : turn.flip_x) ? length % UF_TOUCHED_CELL_PX : 0;
    return position < first ? first
                            : first + ((position - first) / UF_TOUCHED_CELL_PX + 1) * UF_TOUCHED_CELL_PX;
}

bool uf_touched_any_stored(const UfTouched *touched, const UfPicture *picture, int orientation, size_t x0_px,
                           size_t y0_px, size_t x1_px, size_t y1_px)
{
    size_t stored_width, stored_height;
    uf_orient_stored_size(picture, orientation, &stored_width, &stored_height);
    x1_px = uf_smaller(x1_px, stored_width);
    y1_px = uf_smaller(y1_px, stored_height);
    if (x0_px >= x1_px || y0_px >= y1_px)
        return false;
    Turn turn = turn_of(orientation);
    size_t left = turn.swap ? y0_px : x0_px, right = turn.swap ? y1_px : x1_px;
    size_t top = turn.swap ? x0_px : y0_px, bottom = turn.swap ? x1_px : y1_px;
    size_t width = picture->width_px, height = picture->height_px;
    return uf_touched_any(touched, turn.flip_x ? width - right : left, turn.flip_y ? height - bottom : top,
                          turn.flip_x ? width - left : right, turn.flip_y ? height - top : bottom);
}
