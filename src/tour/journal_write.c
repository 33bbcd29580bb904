/* Appending to the journal so that a record is there whole, or not at all. */
#include "tour/journal.h"

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

#include "base/memory.h"
#include "base/report.h"
#include "tour/journal_line.h"

/* Where the last whole line ends. */
static off_t whole_end(int fd, off_t size)
{
    char chunk[4096];
    while (size > 0) {
        size_t bytes = size < (off_t)sizeof chunk ? (size_t)size : sizeof chunk;
        ssize_t got = pread(fd, chunk, bytes, size - (off_t)bytes);
        if (got != (ssize_t)bytes)
            return -1;
        for (size_t i = bytes; i > 0; i--)
            if (chunk[i - 1] == '\n')
                return size - (off_t)bytes + (off_t)i;
        size -= (off_t)bytes;
    }
    return 0;
}

/* All bytes on the disk, or the file as it was. */
static UfStatus append(const UfJournalWriter *writer, const char *line, UfReport *report)
{
    size_t size = strlen(line);
    size_t wrote = 0;
    off_t before = lseek(writer->fd, 0, SEEK_END);
    while (before >= 0 && wrote < size) {
        ssize_t now = write(writer->fd, line + wrote, size - wrote);
        if (now < 0 && errno == EINTR)
            continue;
        if (now <= 0)
            break;
        wrote += (size_t)now;
    }
    if (before >= 0 && wrote == size && fdatasync(writer->fd) == 0)
        return UF_OK;
    UfStatus status = uf_fail_errno(report, "cannot be written", writer->path);
    if (before >= 0 && ftruncate(writer->fd, before) != 0)
        errno = 0; /* the checksum tells that the line is not whole */
    return status;
}

UfStatus uf_journal_open(const char *path, UfJournalWriter *out, UfReport *report)
{
    UfJournalWriter writer = {.fd = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0666),
                              .path = strdup(path)};
    UfStatus status = UF_OK;
    char *heading = NULL;
    if (writer.path == NULL)
        status = uf_fail_memory(report);
    else if (writer.fd < 0)
        status = uf_fail_errno(report, "cannot be written", path);
    off_t size = status == UF_OK ? lseek(writer.fd, 0, SEEK_END) : 0;
    off_t end = status == UF_OK ? whole_end(writer.fd, size) : 0;
    if (status == UF_OK && (end < 0 || (end < size && ftruncate(writer.fd, end) != 0)))
        status = uf_fail_errno(report, "cannot be mended", path);
    if (status == UF_OK && end == 0) {
        heading = uf_journal_heading();
        status = heading == NULL ? uf_fail_memory(report) : append(&writer, heading, report);
    }
    free(heading);
    if (status == UF_OK)
        *out = writer;
    else
        uf_journal_close(&writer);
    return status;
}

UfStatus uf_journal_append(UfJournalWriter *writer, const UfJournalRecord *record, UfReport *report)
{
    char *line = uf_journal_print(record);
    UfStatus status = line == NULL ? uf_fail_memory(report) : append(writer, line, report);
    free(line);
    return status;
}

void uf_journal_close(UfJournalWriter *writer)
{
    if (writer->fd >= 0)
        close(writer->fd);
    free(writer->path);
    *writer = (UfJournalWriter){.fd = -1};
}
