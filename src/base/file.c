/* Inputs that are opened for reading only, outputs that appear whole or not at all. */
#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/memory.h"

/* Copied in one piece. */
#define WORTH_WRITING_BYTES 1048576u

/* Temporary paths of open outputs, for the signal handler. */
#define LIVE_OUTPUTS 64
static _Atomic(char *) live_paths[LIVE_OUTPUTS];

static void live_add(char *path)
{
    for (int i = 0; i < LIVE_OUTPUTS; i++) {
        char *none = NULL;
        if (atomic_compare_exchange_strong(&live_paths[i], &none, path))
            return;
    }
}

static void live_remove(char *path)
{
    for (int i = 0; i < LIVE_OUTPUTS; i++) {
        char *same = path;
        if (atomic_compare_exchange_strong(&live_paths[i], &same, NULL))
            return;
    }
}

void uf_output_discard_all_on_signal(void)
{
    for (int i = 0; i < LIVE_OUTPUTS; i++) {
        char *path = atomic_load(&live_paths[i]);
        if (path != NULL)
            unlink(path);
    }
}

static const char *kind_of_file(mode_t mode)
{
    if (S_ISDIR(mode))
        return "a folder";
    if (S_ISFIFO(mode))
        return "a pipe";
    if (S_ISSOCK(mode))
        return "a socket";
    return "a device";
}

UfStatus uf_input_open(const char *path, UfInput *out, UfReport *report)
{
    /* O_NONBLOCK: opening a pipe that nobody writes to must not hang */
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0 && errno == ENXIO)
        return uf_fail(report, UF_ERROR_IO, "%s: is a socket or a device, not a picture file", path);
    if (fd < 0)
        return uf_fail_errno(report, "cannot be opened", path);
    UfStatus status = UF_OK;
    FILE *stream = NULL;
    struct stat facts;
    if (fstat(fd, &facts) != 0)
        status = uf_fail_errno(report, "cannot be examined", path);
    else if (!S_ISREG(facts.st_mode))
        status = uf_fail(report, UF_ERROR_IO, "%s: is %s, not a file that can be read%s", path,
                         kind_of_file(facts.st_mode), S_ISDIR(facts.st_mode) ? "; name a file in it" : "");
    else if (facts.st_size == 0)
        status = uf_fail(report, UF_ERROR_FORMAT, "%s: is empty", path);
    else if ((stream = fdopen(fd, "rb")) == NULL)
        status = uf_fail_errno(report, "cannot be opened", path);
    if (status != UF_OK) {
        close(fd);
        return status;
    }
    out->stream = stream;
    out->path = path;
    out->size_bytes = (uint64_t)facts.st_size;
    return UF_OK;
}

void uf_input_close(UfInput *input)
{
    if (input->stream != NULL)
        fclose(input->stream);
    input->stream = NULL;
}

size_t uf_input_peek(UfInput *input, void *buffer, size_t size)
{
    rewind(input->stream);
    size_t got = fread(buffer, 1, size, input->stream);
    rewind(input->stream);
    return got;
}

UfStatus uf_input_read_all(UfInput *input, uint8_t **data, size_t *size_bytes, UfReport *report)
{
    if (input->size_bytes > SIZE_MAX / 2)
        return uf_fail(report, UF_ERROR_MEMORY, "%s: is too large to be read at once", input->path);
    size_t size = (size_t)input->size_bytes;
    uint8_t *buffer = uf_alloc(size, 1);
    if (buffer == NULL)
        return uf_fail_memory(report);
    rewind(input->stream);
    if (fread(buffer, 1, size, input->stream) != size) {
        free(buffer);
        return uf_fail(report, UF_ERROR_IO, "%s: cannot be read to its end", input->path);
    }
    *data = buffer;
    *size_bytes = size;
    return UF_OK;
}

/* The path that will be replaced: a symbolic link's target when there is one. */
static char *followed_path(const char *path)
{
    struct stat facts;
    if (lstat(path, &facts) == 0 && S_ISLNK(facts.st_mode)) {
        char *target = realpath(path, NULL);
        if (target != NULL)
            return target;
    }
    return uf_duplicate(path, strlen(path) + 1);
}

/* "folder/.name.uf-PID-N" beside `path`. */
static char *temporary_name(const char *path, unsigned attempt)
{
    const char *slash = strrchr(path, '/');
    size_t folder = slash == NULL ? 0 : (size_t)(slash - path) + 1;
    size_t size = strlen(path) + 64;
    char *name = uf_alloc(size, 1);
    /* the name itself is cut so that the whole stays below NAME_MAX */
    if (name != NULL)
        snprintf(name, size, "%.*s.%.160s.uf-%ld-%u", (int)folder, path, path + folder, (long)getpid(),
                 attempt);
    return name;
}

/* The name is known to the signal handler before the file is there: no instant is left in which it would
 * stay. */
static int create_temporary(char *name, mode_t mode)
{
    live_add(name);
    int fd = open(name, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, mode);
    if (fd < 0)
        live_remove(name);
    return fd;
}

static UfStatus open_temporary(UfOutput *output, mode_t mode, UfReport *report)
{
    for (unsigned attempt = 0; attempt < 1000; attempt++) {
        char *name = temporary_name(output->final_path, attempt);
        if (name == NULL)
            return uf_fail_memory(report);
        int fd = create_temporary(name, mode);
        if (fd < 0) {
            int reason = errno;
            free(name);
            if (reason == EEXIST)
                continue;
            errno = reason;
            return uf_fail_errno(report, "cannot be written", output->final_path);
        }
        output->stream = fdopen(fd, "w+b");
        if (output->stream == NULL) {
            UfStatus status = uf_fail_errno(report, "cannot be written", output->final_path);
            close(fd);
            unlink(name);
            live_remove(name);
            free(name);
            return status;
        }
        output->temporary_path = name;
        return UF_OK;
    }
    return uf_fail(report, UF_ERROR_IO, "%s: no temporary name is free beside it", output->final_path);
}

UfStatus uf_output_open(const char *path, bool overwrite, UfOutput *out, UfReport *report)
{
    UfOutput output = {.final_path = followed_path(path), .overwrite = overwrite};
    if (output.final_path == NULL)
        return uf_fail_memory(report);
    UfStatus status = UF_OK;
    mode_t mode = 0666;
    struct stat facts;
    bool exists = stat(output.final_path, &facts) == 0;
    if (exists && !S_ISREG(facts.st_mode))
        status = uf_fail(report, UF_ERROR_IO, "%s: is %s; give the name of a file to write", path,
                         kind_of_file(facts.st_mode));
    else if (exists && !overwrite)
        status =
            uf_fail(report, UF_ERROR_EXISTS, "%s: is there already; add --overwrite to replace it", path);
    else if (exists)
        mode = facts.st_mode & 0777;
    if (status == UF_OK)
        status = open_temporary(&output, mode, report);
    if (status != UF_OK) {
        free(output.final_path);
        return status;
    }
    if (exists && fchmod(fileno(output.stream), mode) != 0)
        errno = 0; /* a file system without permissions: the new file is still whole */
    *out = output;
    return UF_OK;
}

/* Bytes copied by the system, which may share the blocks of both files; 0 when it can't. */
static uint64_t copy_by_system(int to_fd, int from_fd, uint64_t from, uint64_t to)
{
    off_t at = (off_t)from;
    while ((uint64_t)at < to) {
        ssize_t n = copy_file_range(from_fd, &at, to_fd, NULL, (size_t)(to - (uint64_t)at), 0);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            break;
    }
    return (uint64_t)at - from;
}

static UfStatus copy_by_hand(UfOutput *output, const UfInput *input, uint64_t from, uint64_t to,
                             UfReport *report)
{
    uint8_t buffer[65536];
    while (from < to) {
        size_t part = to - from < sizeof buffer ? (size_t)(to - from) : sizeof buffer;
        ssize_t n = pread(fileno(input->stream), buffer, part, (off_t)from);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return uf_fail_errno(report, "cannot be read", input->path);
        if (n == 0)
            return uf_fail(report, UF_ERROR_FORMAT, "ends too early");
        if (fwrite(buffer, 1, (size_t)n, output->stream) != (size_t)n)
            return uf_fail_errno(report, "cannot be written", output->final_path);
        from += (uint64_t)n;
    }
    return fflush(output->stream) == 0 ? UF_OK
                                       : uf_fail_errno(report, "cannot be written", output->final_path);
}

/* What will be flushed at the end can as well be written while work goes on. Advice: failure loses nothing.
 */
static void begin_writing(int fd, off_t from, uint64_t size_bytes)
{
#ifdef SYNC_FILE_RANGE_WRITE
    if (size_bytes >= WORTH_WRITING_BYTES)
        (void)sync_file_range(fd, from, (off_t)size_bytes, SYNC_FILE_RANGE_WRITE);
#else
    (void)fd;
    (void)from;
    (void)size_bytes;
#endif
}

UfStatus uf_output_copy(UfOutput *output, const UfInput *input, uint64_t from, uint64_t to, UfReport *report)
{
    if (fflush(output->stream) != 0)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    off_t position = ftello(output->stream);
    uint64_t copied = copy_by_system(fileno(output->stream), fileno(input->stream), from, to);
    if (position < 0 || fseeko(output->stream, position + (off_t)copied, SEEK_SET) != 0)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    begin_writing(fileno(output->stream), position, copied);
    return copy_by_hand(output, input, from + copied, to, report);
}

UfStatus uf_output_skip(UfOutput *output, uint64_t size_bytes, UfReport *report)
{
    const off_t position = fflush(output->stream) == 0 ? ftello(output->stream) : -1;
    if (position < 0 || ftruncate(fileno(output->stream), position + (off_t)size_bytes) != 0 ||
        fseeko(output->stream, position + (off_t)size_bytes, SEEK_SET) != 0)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    return UF_OK;
}

static void forget(UfOutput *output)
{
    live_remove(output->temporary_path);
    free(output->temporary_path);
    free(output->final_path);
    *output = (UfOutput){0};
}

void uf_output_discard(UfOutput *output)
{
    if (output->temporary_path == NULL)
        return;
    if (output->stream != NULL)
        fclose(output->stream);
    unlink(output->temporary_path);
    forget(output);
}

/* Makes the rename itself last: the folder's entry is flushed too. Failure here loses nothing. */
static void sync_folder(const char *path)
{
    char *folder = uf_duplicate(path, strlen(path) + 1);
    if (folder == NULL)
        return;
    char *slash = strrchr(folder, '/');
    if (slash != NULL)
        slash[slash == folder ? 1 : 0] = '\0';
    int fd = open(slash == NULL ? "." : folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        if (fsync(fd) != 0)
            errno = 0;
        close(fd);
    }
    free(folder);
}

/* Without overwrite a link is made, which fails when somebody else made the file meanwhile. */
static int move_into_place(const UfOutput *output)
{
    if (output->overwrite)
        return rename(output->temporary_path, output->final_path);
    if (link(output->temporary_path, output->final_path) == 0)
        return unlink(output->temporary_path);
    if (errno == EEXIST)
        return -1;
    return rename(output->temporary_path, output->final_path); /* a file system without hard links */
}

UfStatus uf_output_commit(UfOutput *output, UfReport *report)
{
    UfStatus status = UF_OK;
    bool wrote = !ferror(output->stream) && fflush(output->stream) == 0 && fsync(fileno(output->stream)) == 0;
    if (!wrote)
        status = uf_fail_errno(report, "cannot be written", output->final_path);
    if (fclose(output->stream) != 0 && status == UF_OK)
        status = uf_fail_errno(report, "cannot be written", output->final_path);
    output->stream = NULL;
    if (status == UF_OK && move_into_place(output) != 0)
        status = uf_fail_errno(report, "cannot be put in place", output->final_path);
    if (status != UF_OK) {
        uf_output_discard(output);
        return status;
    }
    sync_folder(output->final_path);
    forget(output);
    return UF_OK;
}
