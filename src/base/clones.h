/* Functions that are compiled a second time for processors with AVX2; the bits are the same. */
#ifndef UF_BASE_CLONES_H
#define UF_BASE_CLONES_H

/* Not under clang's ThreadSanitizer, which is not there yet when a program's loading chooses. */
#if defined(__has_feature)
#if __has_feature(thread_sanitizer)
#define UF_CLONES_ONCE 1
#endif
#endif
#if defined(__x86_64__) && !defined(UF_CLONES_ONCE)
#define UF_CLONES __attribute__((target_clones("avx2", "default")))
#else
#define UF_CLONES
#endif

#endif
