/* libtiff on a file descriptor with a position of its own, so that nobody else's stream moves. No memory
 * mapping. */
#include "picture/tiff_internal.h"

#include <errno.h>
#include <stdarg.h>
#include <sys/stat.h>
#include <unistd.h>

static tmsize_t read_bytes(thandle_t handle, void *buffer, tmsize_t size)
{
    UfTiffFile *file = handle;
    tmsize_t got = 0;
    while (got < size) {
        ssize_t n = pread(file->fd, (uint8_t *)buffer + got, (size_t)(size - got), file->position);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            file->error = errno;
        if (n <= 0)
            break;
        got += n;
        file->position += n;
    }
    return got;
}

static tmsize_t write_bytes(thandle_t handle, void *buffer, tmsize_t size)
{
    UfTiffFile *file = handle;
    tmsize_t done = 0;
    while (done < size) {
        ssize_t n = pwrite(file->fd, (const uint8_t *)buffer + done, (size_t)(size - done), file->position);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0) {
            file->error = n < 0 ? errno : ENOSPC;
            break;
        }
        done += n;
        file->position += n;
    }
    return done;
}

static toff_t file_size(thandle_t handle)
{
    UfTiffFile *file = handle;
    struct stat facts;
    return fstat(file->fd, &facts) == 0 ? (toff_t)facts.st_size : 0;
}

static toff_t seek_to(thandle_t handle, toff_t offset, int whence)
{
    UfTiffFile *file = handle;
    toff_t base = whence == SEEK_CUR ? (toff_t)file->position : whence == SEEK_END ? file_size(handle) : 0;
    toff_t target = base + offset; /* relative offsets may be negative, in two's complement */
    if (target > INT64_MAX)
        return (toff_t)-1;
    file->position = (off_t)target;
    return target;
}

static int close_nothing(thandle_t handle)
{
    (void)handle;
    return 0;
}

__attribute__((format(printf, 4, 0))) static int on_error(TIFF *tiff, void *user, const char *module,
                                                          const char *format, va_list arguments)
{
    (void)tiff;
    (void)module;
    UfTiffFile *file = user;
    if (file->text[0] == '\0')
        (void)vsnprintf(file->text, sizeof file->text, format, arguments);
    return 1;
}

/* Private tags are no fault of the picture's: they stay as they are. */
__attribute__((format(printf, 4, 0))) static int on_warning(TIFF *tiff, void *user, const char *module,
                                                            const char *format, va_list arguments)
{
    (void)tiff;
    (void)module;
    UfTiffFile *file = user;
    char text[512];
    (void)vsnprintf(text, sizeof text, format, arguments);
    if (strncmp(text, "Unknown field with tag", 22) != 0)
        uf_warn(file->report, "%s: %s", file->name, text);
    return 1;
}

TIFF *uf_tiff_open(UfTiffFile *file, int fd, const char *name, const char *mode, UfReport *report)
{
    *file = (UfTiffFile){.fd = fd, .name = name, .report = report};
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();
    if (options == NULL)
        return NULL;
    TIFFOpenOptionsSetErrorHandlerExtR(options, on_error, file);
    TIFFOpenOptionsSetWarningHandlerExtR(options, on_warning, file);
    TIFF *tiff = TIFFClientOpenExt(name, mode, file, read_bytes, write_bytes, seek_to, close_nothing,
                                   file_size, NULL, NULL, options);
    TIFFOpenOptionsFree(options);
    if (tiff != NULL && file->text[0] != '\0') { /* a tag was lost, and libtiff went on without it */
        uf_warn(report, "%s: %s", name, file->text);
        file->text[0] = '\0';
    }
    return tiff;
}

UfStatus uf_tiff_fail(const UfTiffFile *file, const char *what, UfReport *report)
{
    if (file->error != 0) {
        errno = file->error;
        return uf_fail_errno(report, what, file->name);
    }
    return uf_fail(report, UF_ERROR_FORMAT, "%s (libtiff: %s)", what,
                   file->text[0] == '\0' ? "no details" : file->text);
}
