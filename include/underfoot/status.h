/*
 * What every call of the library says when it fails.
 *
 * Calls that can fail return a UfStatus; 0 is success. The text for the person goes into a UfReport that the
 * caller supplies (NULL where the caller does not care). Results come through trailing out-pointers, which
 * are untouched on failure. Warnings pile up in the same report: the call still succeeds.
 */
#ifndef UNDERFOOT_STATUS_H
#define UNDERFOOT_STATUS_H

#include <stddef.h>

#include <underfoot/api.h>

UF_API_BEGIN

typedef enum UfStatus {
    UF_OK = 0,
    UF_ERROR_ARGUMENT,    /* a value that makes no sense here */
    UF_ERROR_IO,          /* the file system said no */
    UF_ERROR_EXISTS,      /* the output is there already */
    UF_ERROR_FORMAT,      /* the file is damaged or not what it claims */
    UF_ERROR_UNSUPPORTED, /* sound, but a kind that this library does not handle */
    UF_ERROR_MEMORY,      /* over the memory limit, or none left */
    UF_ERROR_UNCLEAR      /* the picture does not say what was asked of it (no hole found, ...) */
} UfStatus;

/* Error text and warnings of one or more calls. Owned by the caller; not shared between threads. */
typedef struct UfReport UfReport;

/* NULL when there is no memory; a NULL report may be passed to every call. */
UfReport *uf_report_create(void);
/* Frees the report and clears the pointer; accepts NULL and a pointer to NULL. */
void uf_report_free(UfReport **report);
/* The text of the last failure, "" when there was none. Valid until the next call that takes the report. */
const char *uf_report_error(const UfReport *report);
size_t uf_report_warning_count(const UfReport *report);
/* Warning number `index`, counted from 0 in the order of their coming; "" when there is no such warning. */
const char *uf_report_warning(const UfReport *report, size_t index);
/* Adds what `from` says: its warnings, and its error when there is one. */
void uf_report_add(UfReport *report, const UfReport *from);
/* Forgets error and warnings. */
void uf_report_clear(UfReport *report);

UF_API_END
#endif
