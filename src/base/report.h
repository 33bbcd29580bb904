/* How the library fills a UfReport. */
#ifndef UF_BASE_REPORT_H
#define UF_BASE_REPORT_H

#include <underfoot/status.h>

#include "base/banned.h"

/* Sets the error text and returns `status`, so that `return uf_fail(...)` reads well. A NULL report is fine.
 */
UfStatus uf_fail(UfReport *report, UfStatus status, const char *format, ...)
    __attribute__((format(printf, 3, 4), cold));
/* UF_ERROR_MEMORY with the usual text. */
static inline UfStatus uf_fail_memory(UfReport *report)
{
    uf_fail(report, UF_ERROR_MEMORY, "not enough memory");
    return UF_ERROR_MEMORY; /* inline, so that whoever analyses a caller sees that it never succeeds */
}
/* UF_ERROR_IO with what, the path and the text of errno. */
UfStatus uf_fail_errno(UfReport *report, const char *what, const char *path);
/* Adds a warning; the same text is kept once. */
void uf_warn(UfReport *report, const char *format, ...) __attribute__((format(printf, 2, 3), cold));

#endif
