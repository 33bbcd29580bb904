/*
 * Which pixels the retoucher changed.
 *
 * An edit that went through nothing but lossless files differs exactly where it was painted on: every
 * difference counts. After JPEG, another size or another colour space everything differs a little, most where
 * the picture is busy; then the noise is measured first (see noise.h).
 */
#ifndef UF_PUTBACK_CHANGES_H
#define UF_PUTBACK_CHANGES_H

#include "putback/part.h"

/* A difference counts only above this part of a step, which hides the rounding of floats. */
#define UF_CHANGE_LEAST (1.0 / 65536)

typedef struct UfFound {
    bool exact;
    bool all; /* the noise could not be told from the change: all of it counts */
    double tolerance;
    size_t changed_px;
} UfFound;

/* part->weight becomes 1 where the edit differs, 0 elsewhere; `tolerance` in steps of 1/255, below 0: choose
 * it. */
UfStatus uf_changes_find(UfPart *part, double tolerance, int threads, UfFound *out, UfReport *report);

#endif
