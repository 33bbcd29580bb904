/* Going through a part's rows by several threads. */
#ifndef UF_PUTBACK_BANDS_H
#define UF_PUTBACK_BANDS_H

#include <stddef.h>

#include <underfoot/status.h>

/* A multiple of the cells and blocks that rows are counted by. */
#define UF_PART_BAND_PX ((size_t)64)

/* Rows [y0, y1), with room of its own. Bands come in any order, and several at once. */
typedef void UfPartBand(void *job, size_t y0_px, size_t y1_px, float *room);

/* `room_count` floats for each call, aligned as doubles are; threads 0: as many as the machine has. */
UfStatus uf_part_bands(size_t height_px, size_t room_count, int threads, UfPartBand *band, void *job,
                       UfReport *report);

#endif
