/* How a picture's edges continue. */
#include "remap/source.h"

#include <math.h>

UfSource uf_source_of_picture(const UfPicture *picture, const UfTransfer *transfer)
{
    UfSource source = {
        .data = uf_picture_row_const(picture, 0),
        .stride_bytes = uf_picture_stride_bytes(picture),
        .width_px = (ptrdiff_t)uf_picture_width_px(picture),
        .height_px = (ptrdiff_t)uf_picture_height_px(picture),
    };
    if (transfer == NULL)
        return source;
    bool curved = uf_transfer_table_u16(transfer) != NULL;
    if (uf_picture_sample(picture) == UF_SAMPLE_U8)
        source.linear = uf_transfer_table_u8(transfer);
    else if (uf_picture_sample(picture) == UF_SAMPLE_U16)
        source.linear = uf_transfer_table_u16(transfer);
    if (curved)
        source.transfer = transfer;
    return source;
}

void uf_source_set_edges(UfSource *source, const UfView *view)
{
    source->wraps = uf_view_is_full_turn(view);
    if (!source->wraps)
        return;
    /* Half a pixel of slack: a picture of odd width has no height that is half of it. */
    double pole_px = view->scale_px * UF_PI / 2;
    source->over_top = fabs(view->centre_y_px - pole_px) <= 0.5;
    source->over_bottom = fabs((double)view->height_px - view->centre_y_px - pole_px) <= 0.5;
}
