/*
 * Detail in a panorama's rows that a target cannot hold, taken out before it is sampled.
 *
 * Towards a pole an equirectangular row has ever more pixels to the radian: 1/cos(latitude) times as many as
 * at the equator. What was made from photographs has no finer detail there, and is sampled as it is; but a
 * drawn edge, a patch or a map has, and it would alias. So each row that the target shows is low-passed in
 * longitude to what the target's own pixels hold at that latitude. A row is a closed circle, so the filter is
 * exact in the row's Fourier series; its gain falls as a raised cosine, which hardly rings. What the target
 * can hold is left as it is.
 */
#ifndef UF_REMAP_THIN_H
#define UF_REMAP_THIN_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

/*
 * `panorama` is a full turn. *out is the thinned copy, owned by the caller, or NULL when the target holds all
 * that there is. The result depends on the panorama and the whole target view, not on the number of threads.
 */
UfStatus uf_thin_rows(const UfPicture *panorama, const UfView *target, int threads, UfPicture **out,
                      UfReport *report);

#endif
