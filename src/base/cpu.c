/* Asked once by the compiler's own run-time support; reading it again costs nothing. */
#include "base/cpu.h"

#include <stdatomic.h>

static atomic_uint mask = UF_CPU_ALL;

static unsigned flags_there(void)
{
    unsigned flags = 0;
#if defined(__x86_64__)
    __builtin_cpu_init();
    if (__builtin_cpu_supports("avx2"))
        flags |= UF_CPU_AVX2;
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512bw") &&
        __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512vl"))
        flags |= UF_CPU_AVX512;
#endif
    return flags;
}

unsigned uf_cpu_flags(void)
{
    return flags_there() & atomic_load(&mask);
}

void uf_cpu_set_mask(unsigned wanted)
{
    atomic_store(&mask, wanted);
}
