/*
 * Covering the nadir (or the zenith) of a panorama.
 *
 * The cap is the circle of half-angle cap_rad about the pole. It is filled completely; from the cap's edge to
 * cap_rad + feather_rad the fill fades into the picture. Nothing beyond that changes.
 */
#ifndef UNDERFOOT_PATCH_H
#define UNDERFOOT_PATCH_H

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/plate.h>
#include <underfoot/sphere.h>

UF_API_BEGIN

typedef enum UfFill {
    UF_FILL_FLOOR = 0, /* texture rebuilt from the surrounding ring, in the floor plane */
    UF_FILL_SMOOTH,    /* membrane: the ring's colours continued, with the ring's grain */
    UF_FILL_COLOUR,    /* one colour */
    UF_FILL_NONE       /* leave the picture (under a logo) */
} UfFill;

#define UF_CAP_MAX_DEG 75.0
#define UF_LOGO_CONTACT_MIN_DEG 0.2
#define UF_LOGO_CONTACT_MAX_DEG 5.0

/* Beside the cap, or instead of it, a painted mask and the shadow of camera and tripod can be covered. */
typedef struct UfPatchOptions {
    bool at_zenith;
    double cap_rad;          /* half-angle, > 0, at most UF_CAP_MAX_DEG; 0: found from a hole in the picture */
    double feather_rad;      /* >= 0 */
    bool without_cap;        /* only mask and shadow are covered; cap_rad is not looked at */
    /*
     * White (or opaque, where alpha varies) is covered, black stays, grey in between. A 2:1 panorama of any size, or,
     * with mask_view, any picture that was taken out of the panorama so. Borrowed; NULL: none.
     */
    const UfPicture *mask;
    const UfView *mask_view;
    bool has_sun;            /* cover the shadow that the sun throws, at the nadir only */
    UfLonLat sun;            /* where it stands in the panorama; latitude above 0 */
    double height_m;         /* of the camera above the floor; 0: 1.5 */
    double shadow_width_m;   /* of the camera's and tripod's shadow; 0: 0.6 */
    UfFill fill;
    double colour[3];        /* for UF_FILL_COLOUR: sRGB, encoded, 0..1 */
    const UfPlate *plate;    /* for UF_FILL_FLOOR: a photograph of the bare floor, or NULL; borrowed */
    const UfPicture *logo;   /* laid flat on the floor over the fill, or NULL; borrowed */
    double logo_cap_rad;     /* half-angle of the circle that holds the whole logo; 0: cap_rad */
    double logo_contact_rad; /* breadth of a soft shade round the logo, within the limits above; 0: none */
    double heading_rad;      /* longitude towards which the logo's top points */
    unsigned seed;           /* the same seed gives the same floor, and the same grain on a smooth fill */
    int threads;             /* 0: all cores; never changes the result */
} UfPatchOptions;

typedef struct UfPatchResult {
    double cap_rad;          /* the cap that was covered */
    UfFill fill_used;        /* SMOOTH when the ring was too small or too uniform for FLOOR (with a warning) */
    UfPlateFit plate;        /* zeros without a plate */
    double shadow_length_m;  /* from the foot, as far as it was covered; 0 without the sun */
    bool shadow_is_cut;      /* it runs further than the floor can be used; a warning says so, too */
    size_t first_row_px;     /* rows first_row .. last_row - 1 were touched */
    size_t last_row_px;
} UfPatchResult;

/*
 * Covers the cap in place. `panorama` is a full 2:1 equirectangular picture, otherwise UF_ERROR_ARGUMENT; cap auto
 * that finds nothing is UF_ERROR_UNCLEAR, and so is a plate that does not fit. On failure the picture may be partly changed: discard it. When the
 * panorama has alpha, the covered cap becomes opaque. `touched` gets the changed cells added.
 */
UfStatus uf_patch(UfPicture *panorama, const UfPatchOptions *options, UfTouched *touched, UfPatchResult *result,
                  UfReport *report);

/*
 * The rows [*first_px, *end_px) of the panorama that uf_patch looks at or changes, for UfReadOptions; all of them where
 * the picture itself says how large the cap is, and for masks, shadows and
 * plates.
 */
void uf_patch_rows_needed(const UfPatchOptions *options, size_t width_px, size_t height_px, size_t *first_px,
                          size_t *end_px);
/*
 * Bytes that uf_patch works in beside the panorama's rows, at least: a floor's plane and what is searched in it; 0 where
 * that is little (other fills) or known only from the picture (cap auto, masks, shadows).
 */
size_t uf_patch_bytes_needed(const UfPatchOptions *options, size_t width_px, size_t height_px);

/*
 * Of these, the rows [*first_px, *end_px) that uf_patch writes to in all their pixels before it looks at them;
 * *end_px is 0 when there are none.
 */
void uf_patch_rows_replaced(const UfPatchOptions *options, size_t width_px, size_t height_px, size_t *first_px,
                            size_t *end_px);

/*
 * Of the rows that are needed, those far from the cap that uf_patch looks at, where these are not all: in large pictures
 * a part of them tells as much.
 */
UfSparseRows uf_patch_rows_sparse(const UfPatchOptions *options, size_t width_px, size_t height_px);

/*
 * The hole about a pole: the smallest cap that holds the connected transparent, black or flat area around it.
 * UF_ERROR_UNCLEAR when there is none.
 */
UfStatus uf_find_hole(const UfPicture *panorama, bool at_zenith, double *cap_rad, UfReport *report);

UF_API_END
#endif
