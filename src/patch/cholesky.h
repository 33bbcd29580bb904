/* Symmetric positive definite systems, n x n, by Cholesky's factors. */
#ifndef UF_PATCH_CHOLESKY_H
#define UF_PATCH_CHOLESKY_H

#include <stdbool.h>
#include <stddef.h>

/* The lower triangle becomes its factor L. False where a pivot is not above `least` plus `share` of its
 * diagonal. */
bool uf_cholesky_factorise(size_t n, double *a, double least, double share);
/* x becomes the solution for the right side x. */
void uf_cholesky_solve(size_t n, const double *l, double *x);

#endif
