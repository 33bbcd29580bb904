/* From the pixels that differ to the weight with which the difference comes home. */
#ifndef UF_PUTBACK_MASK_H
#define UF_PUTBACK_MASK_H

#include "putback/part.h"

/* How far the mask may reach round what differs, in pixels. */
#define UF_MASK_REACH_MAX_PX 250.0

/*
 * In place: `mask` holds 1 where a pixel differs and 0 elsewhere, and gets 255 there, in gaps of up to
 * `gap_px` between them and up to `grow_px` round them, and less over the `feather_px` behind that. *box is
 * where it is not 0.
 */
UfStatus uf_mask_soften(uint8_t *mask, size_t width_px, size_t height_px, double gap_px, double grow_px,
                        double feather_px, UfBox *box, UfReport *report);

#endif
