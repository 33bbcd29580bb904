/* What this machine's processor can do beyond what every processor of its kind can. */
#ifndef UF_BASE_CPU_H
#define UF_BASE_CPU_H

#define UF_CPU_AVX2   1u
#define UF_CPU_AVX512 2u /* F, BW, DQ and VL */
#define UF_CPU_ALL    3u

/* The flags that the processor has and the mask lets through. */
unsigned uf_cpu_flags(void);
/* For tests and measurements: flags outside the mask count as missing. UF_CPU_ALL, as it is at the start,
 * hides none. */
void uf_cpu_set_mask(unsigned mask);

#endif
