/*
 * The Poisson equation on a hole of any shape, by multigrid: Laplace(u) = f in the hole with the five-point
 * stencil, u as given around it, no flow across the border of the rectangle.
 *
 * P. Perez, M. Gangnet, A. Blake, Poisson Image Editing, ACM TOG 22(3), 2003; W. L. Briggs, V. E. Henson,
 * S. F. McCormick, A Multigrid Tutorial, 2nd ed., SIAM 2000.
 */
#ifndef UF_PATCH_POISSON_H
#define UF_PATCH_POISSON_H

#include <stddef.h>
#include <stdint.h>

#include "base/report.h"

/*
 * `is_hole` is width x height; `u` and `f` hold four values a pixel. u keeps its values outside the hole;
 * inside they are the first guess and become the solution. The result does not depend on the number of
 * threads.
 */
UfStatus uf_poisson_solve(size_t width, size_t height, const uint8_t *is_hole, float *u, const float *f,
                          int cycles, int threads, UfReport *report);
/*
 * The same for Laplace(u) - hold u = f: with f = Laplace(v) - hold v, u follows v's differences near by and v
 * itself farther than 1/sqrt(hold) pixels from what is given (the screened equation; P. Bhat, B. Curless,
 * M. Cohen, C. L. Zitnick, Fourier Analysis of the 2D Screened Poisson Equation, ECCV 2008). u's rows are
 * `stride` pixels apart.
 */
UfStatus uf_poisson_solve_held(size_t width, size_t height, const uint8_t *is_hole, float hold, size_t stride,
                               float *u, const float *f, int cycles, int threads, UfReport *report);

#endif
