/*
 * Makes one call of a kind fail in a program that is started with this library preloaded.
 *
 *     UF_FAULT        which: memory, fsync, rename, open (of a file to be made), copy (copy_file_range,
 * pwrite) UF_FAULT_AT     the how manieth such call fails, counted from 1; 0: none UF_FAULT_COUNT  a file
 * that gets the number of such calls when the program ends
 */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* glibc's own names of what is replaced here; dlsym itself allocates. */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);

enum { MEMORY, FSYNC, RENAME, OPEN, COPY, KINDS };
static const char *const names[KINDS] = {"memory", "fsync", "rename", "open", "copy"};
static const int errors[KINDS] = {ENOMEM, EIO, EACCES, ENOSPC, ENOSPC};

static int watched = -1;
static long fails_at;
static atomic_long calls;

__attribute__((constructor)) static void begin(void)
{
    const char *kind = getenv("UF_FAULT"), *at = getenv("UF_FAULT_AT");
    fails_at = at != NULL ? atol(at) : 0;
    for (int i = 0; kind != NULL && i < KINDS; i++)
        if (strcmp(kind, names[i]) == 0)
            watched = i;
}

__attribute__((destructor)) static void end(void)
{
    const char *path = getenv("UF_FAULT_COUNT");
    char text[32];
    long count = atomic_load(&calls);
    watched = -1;
    int fd = path == NULL ? -1 : open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    if (fd < 0)
        return;
    int length = snprintf(text, sizeof text, "%ld\n", count);
    if (write(fd, text, (size_t)length) != length)
        _exit(99);
    close(fd);
}

static bool fails(int kind)
{
    if (kind != watched || atomic_fetch_add(&calls, 1) + 1 != fails_at)
        return false;
    errno = errors[kind];
    return true;
}

void *malloc(size_t size)
{
    return fails(MEMORY) ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    return fails(MEMORY) ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size)
{
    return size > 0 && fails(MEMORY) ? NULL : __libc_realloc(old, size);
}

int posix_memalign(void **out, size_t alignment, size_t size)
{
    if (fails(MEMORY))
        return ENOMEM;
    void *got = __libc_memalign(alignment, size);
    if (got == NULL)
        return ENOMEM;
    *out = got;
    return 0;
}

void *aligned_alloc(size_t alignment, size_t size)
{
    return fails(MEMORY) ? NULL : __libc_memalign(alignment, size);
}

#define NEXT(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

int fsync(int fd)
{
    return fails(FSYNC) ? -1 : NEXT(fsync)(fd);
}

int rename(const char *from, const char *to)
{
    return fails(RENAME) ? -1 : NEXT(rename)(from, to);
}

int link(const char *from, const char *to)
{
    return fails(RENAME) ? -1 : NEXT(link)(from, to);
}

int open(const char *path, int flags, ...)
{
    va_list arguments;
    va_start(arguments, flags);
    mode_t mode = (flags & O_CREAT) != 0 ? va_arg(arguments, mode_t) : 0;
    va_end(arguments);
    return (flags & O_CREAT) != 0 && fails(OPEN) ? -1 : NEXT(open)(path, flags, mode);
}

/* What programs call that are compiled for large files. */
int open64(const char *path, int flags, ...) __attribute__((alias("open")));

ssize_t copy_file_range(int in, off_t *in_at, int out, off_t *out_at, size_t size, unsigned flags)
{
    return fails(COPY) ? -1 : NEXT(copy_file_range)(in, in_at, out, out_at, size, flags);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t at)
{
    return fails(COPY) ? -1 : NEXT(pwrite)(fd, data, size, at);
}

ssize_t pwrite64(int fd, const void *data, size_t size, off_t at) __attribute__((alias("pwrite")));
