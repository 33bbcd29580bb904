/* Adding the differences of all parts to the panorama. */
#ifndef UF_PUTBACK_LAY_H
#define UF_PUTBACK_LAY_H

#include "putback/part.h"

typedef struct UfLaid {
    size_t changed_px;
    size_t top_px, bottom_px; /* rows [top, bottom); both 0 when nothing changed */
    double sphere_percent;
    size_t contradictions_px; /* pixels that two edits changed in two ways */
} UfLaid;

/* Parts without weights are passed over. Later parts win over earlier ones. */
UfStatus uf_lay(UfPicture *panorama, const UfPart *parts, size_t count, int threads, UfTouched *touched,
                UfLaid *out, UfReport *report);

#endif
