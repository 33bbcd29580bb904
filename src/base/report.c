/* The report: one error text, a growing list of warnings. */
#include "base/report.h"

#include <errno.h>
#include <stdarg.h>

#include "base/memory.h"

#define TEXT_BYTES 1024u

struct UfReport {
    char error[TEXT_BYTES];
    char **warnings;
    size_t warning_count;
};

UfReport *uf_report_create(void)
{
    return uf_alloc_zero(1, sizeof(UfReport));
}

void uf_report_clear(UfReport *report)
{
    if (report == NULL)
        return;
    for (size_t i = 0; i < report->warning_count; i++)
        free(report->warnings[i]);
    free(report->warnings);
    report->warnings = NULL;
    report->warning_count = 0;
    report->error[0] = '\0';
}

void uf_report_free(UfReport **report)
{
    if (report == NULL || *report == NULL)
        return;
    uf_report_clear(*report);
    free(*report);
    *report = NULL;
}

const char *uf_report_error(const UfReport *report)
{
    return report == NULL ? "" : report->error;
}

size_t uf_report_warning_count(const UfReport *report)
{
    return report == NULL ? 0 : report->warning_count;
}

const char *uf_report_warning(const UfReport *report, size_t index)
{
    return report == NULL || index >= report->warning_count ? "" : report->warnings[index];
}

UfStatus uf_fail(UfReport *report, UfStatus status, const char *format, ...)
{
    if (report != NULL) {
        va_list arguments;
        va_start(arguments, format);
        vsnprintf(report->error, sizeof report->error, format, arguments);
        va_end(arguments);
    }
    return status;
}

UfStatus uf_fail_errno(UfReport *report, const char *what, const char *path)
{
    return uf_fail(report, UF_ERROR_IO, "%s: %s: %s", path, what, strerror(errno));
}

/* A warning that finds no memory is dropped: it must not turn success into failure. */
void uf_warn(UfReport *report, const char *format, ...)
{
    if (report == NULL)
        return;
    char text[TEXT_BYTES];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    for (size_t i = 0; i < report->warning_count; i++)
        if (strcmp(report->warnings[i], text) == 0)
            return;
    char **grown = uf_realloc(report->warnings, report->warning_count + 1, sizeof *grown);
    if (grown == NULL)
        return;
    report->warnings = grown;
    char *copy = uf_duplicate(text, strlen(text) + 1);
    if (copy != NULL)
        report->warnings[report->warning_count++] = copy;
}

void uf_report_add(UfReport *report, const UfReport *from)
{
    for (size_t i = 0; i < uf_report_warning_count(from); i++)
        uf_warn(report, "%s", from->warnings[i]);
    if (report != NULL && uf_report_error(from)[0] != '\0')
        memcpy(report->error, from->error, sizeof report->error);
}
