/*
 * For programs that may be killed while they write.
 */
#ifndef UNDERFOOT_SIGNALS_H
#define UNDERFOOT_SIGNALS_H

#include <underfoot/api.h>

UF_API_BEGIN

/*
 * Removes the temporary files of all outputs that are being written. Async-signal-safe: call it from a handler of
 * SIGINT, SIGTERM and the like, and end the program afterwards.
 */
void uf_output_discard_all_on_signal(void);

UF_API_END
#endif
