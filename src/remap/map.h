/*
 * Where the pixels of one view lie in another.
 *
 * A target's row becomes directions in the source's camera frame, and these become places in the source's
 * pixels. For the projections of daily use both steps are written out here with everything that is constant
 * hoisted, and without trigonometry where the formula is rational; the others go through uf_unproject and
 * uf_project. All of it is in double precision. Places are rounded to 2^-20 pixel, so that pixel centres are
 * met exactly.
 *
 * Formulas: J. P. Snyder, Map Projections - A Working Manual, USGS Professional Paper 1395 (1987), sections
 * 12, 21, 22.
 */
#ifndef UF_REMAP_MAP_H
#define UF_REMAP_MAP_H

#include <underfoot/sphere.h>

#include "remap/source.h"

typedef struct UfMap UfMap;
typedef struct UfMapRow UfMapRow;
/* The places of a row whose directions are there, in an equirectangular source. */
typedef void UfMapPlaces(const UfMap *map, size_t count, UfMapRow *row);

struct UfMap {
    UfView target, source;
    double turn[3][3]; /* from the target's camera frame to the source's */
    double round_px;   /* a full turn in source pixels; 0 when the source is not equirectangular */
    bool wraps, over_top, over_bottom; /* of the source */
    UfMapPlaces *places;               /* for this processor */
};

UfMap uf_map_create(const UfView *target, const UfView *source, const UfSource *edges);

#define UF_MAP_RUN 130

/* A piece of a target's row. Directions are in the source's camera frame, not of unit length. NaN: there is
 * none. */
struct UfMapRow {
    double x[UF_MAP_RUN], y[UF_MAP_RUN], z[UF_MAP_RUN];
    double u_px[UF_MAP_RUN], v_px[UF_MAP_RUN];
};

/* Sines and cosines of the longitudes of a run of target columns; needed for equirectangular targets only. */
typedef struct UfMapColumns {
    double sine[UF_MAP_RUN], cosine[UF_MAP_RUN];
} UfMapColumns;

/* `count` columns at x_px, x_px + 1, ...; count <= UF_MAP_RUN. */
void uf_map_columns(const UfMap *map, double x_px, size_t count, UfMapColumns *out);
/*
 * The same columns in the row at y_px: directions and places. Beyond a pole of an equirectangular target the
 * directions go on smoothly over it, for differences, but there are no places.
 */
void uf_map_row(const UfMap *map, const UfMapColumns *columns, double x_px, double y_px, size_t count,
                UfMapRow *out);
/* One point; false where there is no direction or no image of it. */
bool uf_map_point(const UfMap *map, double x_px, double y_px, double *u_px, double *v_px);
/*
 * Brings a place that ran over the seam or a pole of the source back inside; false when it lies beyond an
 * edge where the source ends.
 */
bool uf_map_fold(const UfMap *map, double *u_px, double *v_px);

/* Inside the source as it is, with nothing to fold. */
static inline bool uf_map_holds(const UfMap *map, double u_px, double v_px)
{
    return u_px >= 0 && u_px <= (double)map->source.width_px && v_px >= 0 &&
           v_px <= (double)map->source.height_px;
}

/* Source pixels per target pixel: the steps of (u, v) for one pixel along x and along y. */
typedef struct UfJacobian {
    double ux, vx, uy, vy;
} UfJacobian;

/*
 * At column i (counted from 0) of `here`, from the rows above and below; column i - 1 and i + 1 must be
 * there. For an equirectangular source it is taken on the sphere, so that neither seam nor pole disturb it:
 * towards a pole ux and uy grow without limit. 0 where too little is seen to tell.
 */
UfJacobian uf_map_jacobian(const UfMap *map, const UfMapRow *above, const UfMapRow *here,
                           const UfMapRow *below, size_t i);
/*
 * The same on the sphere: the steps in the source's pixels as large as they are where its plane touches the
 * sphere (at the centre, along the equator). Only the singular values mean anything.
 */
UfJacobian uf_map_angular(const UfMap *map, const UfMapRow *above, const UfMapRow *here,
                          const UfMapRow *below, size_t i);
/* The same from the Jacobian at a place, for equirectangular and rectilinear sources away from their poles.
 */
UfJacobian uf_map_angular_of(const UfMap *map, UfPixelPoint place, const UfJacobian *jacobian);

#endif
