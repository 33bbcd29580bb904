/* A picture laid flat on the floor (or the ceiling) over the cap. */
#ifndef UF_PATCH_LOGO_H
#define UF_PATCH_LOGO_H

#include <underfoot/picture.h>

#include "patch/cap.h"

/*
 * Blends options->logo over the panorama: the circle of half-angle `logo_cap_rad` holds the whole rectangle,
 * its top points to options->heading_rad; a shade round it, when asked for, first. Rows 0 .. *rings - 1 from
 * the pole may have changed. Pixels outside logo and shade stay as they are.
 */
UfStatus uf_logo_lay(UfPicture *panorama, const UfPatchOptions *options, const UfCap *cap,
                     double logo_cap_rad, UfTouched *touched, size_t *rings, UfReport *report);

#endif
