/* What every public header wraps its declarations in: C's names, seen outside the shared library. */
#ifndef UNDERFOOT_API_H
#define UNDERFOOT_API_H

#ifdef __cplusplus
#define UF_API_BEGIN                                                                                         \
    extern "C" {                                                                                             \
    _Pragma("GCC visibility push(default)")
#define UF_API_END                                                                                           \
    _Pragma("GCC visibility pop")                                                                            \
    }
#else
#define UF_API_BEGIN _Pragma("GCC visibility push(default)")
#define UF_API_END   _Pragma("GCC visibility pop")
#endif

#endif
