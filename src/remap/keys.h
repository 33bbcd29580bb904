/* Keys' cubic in single precision, for loops over places that the compiler makes vectors of. */
#ifndef UF_REMAP_KEYS_H
#define UF_REMAP_KEYS_H

/* Weights of the taps at -1, 0, 1, 2 for t in [0, 1): R. G. Keys, IEEE Trans. ASSP 29(6), 1153-1160 (1981), a
 * = -1/2, by Horner's rule. In double precision: uf_keys_weights (remap/kernels.h). */
static inline __attribute__((always_inline)) void uf_keys_weights_single(float t, float *w0, float *w1,
                                                                         float *w2, float *w3)
{
    *w0 = ((-0.5f * t + 1.0f) * t - 0.5f) * t;
    *w2 = ((-1.5f * t + 2.0f) * t + 0.5f) * t;
    *w3 = (0.5f * t - 0.5f) * t * t;
    *w1 = 1.0f - (*w0 + *w3) - *w2;
}

#endif
