#include "support/rigs.h"

#include <criterion/criterion.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

UfStatus rig_try(const char *text, UfRig **out, UfReport *report)
{
    char path[] = "/tmp/underfoot-rig-XXXXXX";
    int fd = mkstemp(path);
    cr_assert(fd >= 0, "no temporary file");
    FILE *stream = fdopen(fd, "w");
    cr_assert(stream != NULL && fputs(text, stream) >= 0 && fclose(stream) == 0, "the rig cannot be written");
    *out = NULL;
    UfStatus status = uf_rig_read(path, out, report);
    unlink(path);
    return status;
}

UfRig *rig_make(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *text = NULL;
    int length = vasprintf(&text, format, arguments);
    va_end(arguments);
    cr_assert(length >= 0, "no memory");
    UfReport *report = uf_report_create();
    UfRig *rig = NULL;
    UfStatus status = rig_try(text, &rig, report);
    cr_assert_eq(status, UF_OK, "%s\nin\n%s", uf_report_error(report), text);
    uf_report_free(&report);
    free(text);
    return rig;
}

UfPlan rig_plan(const UfRig *rig)
{
    UfPlan plan;
    UfReport *report = uf_report_create();
    UfStatus status = uf_plan(rig, NULL, &plan, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return plan;
}
