/* The soft shade round a thing that lies on the floor. */
#ifndef UF_PATCH_LOGO_CONTACT_H
#define UF_PATCH_LOGO_CONTACT_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

/* How far from the pole the shade of a logo's circle can reach. */
double uf_logo_contact_farthest_rad(double logo_cap_rad, double contact_rad);
/*
 * Black whose alpha is greatest under the logo's opaque parts and dies out over `breadth_px` of the logo's
 * pixels round them. *view says how it lies when the logo lies as `logo_view` says. Grey or colours as the
 * logo, 16-bit. The caller owns *out.
 */
UfStatus uf_logo_contact(const UfPicture *logo, const UfView *logo_view, double breadth_px, UfPicture **out,
                         UfView *view, UfReport *report);

#endif
