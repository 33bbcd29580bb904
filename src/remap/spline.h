/*
 * The coefficients of the spline that runs through a picture's samples: what the sharp kernel reads.
 *
 * A B-spline of degree 5 takes six taps an axis and is very nearly flat up to the picture's own limit, but it
 * does not go through the numbers it is given: they must be filtered before, so that the curve meets the
 * samples. The filter is two poles, run along every row and down every column, there and back. On a full turn
 * rows close round the seam, and a column goes on over the pole into the opposite meridian, so that it is
 * half of a great circle; where a picture ends it goes on as its own mirror image.
 *
 * Source: M. Unser, A. Aldroubi, M. Eden, B-Spline Signal Processing, IEEE Trans. Signal Processing 41(2),
 * 821-848 (1993); P. Thevenaz, T. Blu, M. Unser, Interpolation Revisited, IEEE Trans. Medical Imaging 19(7),
 * 739-758 (2000).
 */
#ifndef UF_REMAP_SPLINE_H
#define UF_REMAP_SPLINE_H

#include "base/report.h"
#include "remap/seen.h"
#include "remap/source.h"

#define UF_SPLINE_TAPS 6

/*
 * Coefficients are floats, and premultiplied where there is alpha. Those of 8-bit pictures without alpha are
 * 16-bit codes, (coefficient - 127.5) * 4 + 32768: none lies further from 127.5 than 127.5 * 7.5^2, because
 * the filter's gain is at most 7.5 an axis. Either way they take twice the picture's bytes (float pictures:
 * as many; 8-bit ones with alpha: four times).
 */
#define UF_SPLINE_CODE_STEPS 4.0f
#define UF_SPLINE_CODE_ZERO  32768.0f
#define UF_SPLINE_CODE_GREY  127.5f

static inline UfSample uf_spline_sample(UfSample sample, size_t channels)
{
    return sample == UF_SAMPLE_U8 && channels % 2 == 1 ? UF_SAMPLE_U16 : UF_SAMPLE_F32;
}

/* What a row of them takes. The source's row is no longer than memory is. */
static inline size_t uf_spline_row_bytes(const UfSource *source, UfSample sample, size_t channels)
{
    return (size_t)source->width_px * channels * (size_t)uf_spline_sample(sample, channels);
}

typedef struct UfSpline {
    uint8_t *data;         /* owned */
    size_t rows;           /* that it has room for */
    UfSource coefficients; /* edges as those of the source; its data begin where row 0 would be */
} UfSpline;

/* Sets source->spline to it; `out` is zeroed before, or has been made for other rows of the same source, and
 * outlives the source. Rows are low-passed to source->ready_px. Only what is seen is made, and nothing else
 * may be read; NULL: all of it. */
UfStatus uf_spline_create(UfSource *source, UfSample sample, size_t channels, const UfSeen *seen, int threads,
                          UfSpline *out, UfReport *report);
/* Columns are filtered from this far beyond the rows that are seen: 0.43^48 < 3e-18, so that floats cannot
 * tell. */
#define UF_SPLINE_COLD 48
/* The rows of a source of that height that are looked at for it. */
void uf_spline_rows(const UfSeen *seen, ptrdiff_t height, ptrdiff_t *first, ptrdiff_t *end);
void uf_spline_free(UfSpline *spline);

/* Weights of the taps at -2 .. 3 for the place t in [0, 1). Their sum is 1 to rounding. */
static inline void uf_spline_weights(double t, double weights[UF_SPLINE_TAPS])
{
    const double u = 1 - t, t2 = t * t, u2 = u * u, part = 1.0 / 120;
    weights[0] = part * u2 * u2 * u;
    weights[1] = part * (1 + u * (5 + u * (10 + u * (10 + u * (5 - 5 * u)))));
    weights[2] = part * (66 - t2 * (60 - t2 * (30 - 10 * t)));
    weights[3] = part * (66 - u2 * (60 - u2 * (30 - 10 * u)));
    weights[4] = part * (1 + t * (5 + t * (10 + t * (10 + t * (5 - 5 * t)))));
    weights[5] = part * t2 * t2 * t;
}

/*
 * What sample number k (counted from the middle) adds to coefficient 0: the filter's response. Beyond
 * UF_SPLINE_REACH it is below 1e-6.
 */
#define UF_SPLINE_REACH 16
double uf_spline_response(int k);

#endif
