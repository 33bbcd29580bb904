/* The cubic that leaves 0 and reaches 1 without a corner. */
#ifndef UF_BASE_SMOOTHSTEP_H
#define UF_BASE_SMOOTHSTEP_H

/* 3 t^2 - 2 t^3; 0 below 0, 1 above 1. */
static inline double uf_smoothstep(double t)
{
    return t <= 0 ? 0 : t >= 1 ? 1 : t * t * (3 - 2 * t);
}

#endif
