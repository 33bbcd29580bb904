/* flock(2) on files in the hidden folder; they stay there, empty. */
#include "tour/lock.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

#include "base/report.h"

/* A run that was killed a moment ago may still have a step that is about to end with it. */
#define PATIENCE_MS 3000
#define STEP_MS     20

static UfStatus take(const char *folder, const char *name, int how, int *fd, UfReport *report)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    /* not O_CLOEXEC: the lock is held until the last step of the run has ended */
    int opened = open(path, O_RDWR | O_CREAT, 0666);
    if (opened < 0)
        return uf_fail_errno(report, "cannot be written", path);
    for (int waited = 0; flock(opened, how | LOCK_NB) != 0; waited += STEP_MS) {
        if (errno == EWOULDBLOCK && waited < PATIENCE_MS) {
            (void)nanosleep(&(struct timespec){.tv_nsec = STEP_MS * 1000000L}, NULL);
            continue;
        }
        UfStatus status =
            errno == EWOULDBLOCK
                ? uf_fail(report, UF_ERROR_EXISTS,
                          "%s: another run is at work in this folder; wait for its end, or give another "
                          "output folder",
                          folder)
                : uf_fail_errno(report, "cannot be locked", path);
        close(opened);
        return status;
    }
    *fd = opened;
    return UF_OK;
}

/* Is a division into another number of parts under way? */
static UfStatus refuse_other_divisions(const char *folder, const char *own, UfReport *report)
{
    DIR *stream = opendir(folder);
    if (stream == NULL)
        return uf_fail_errno(report, "cannot be read", folder);
    UfStatus status = UF_OK;
    for (const struct dirent *entry; status == UF_OK && (entry = readdir(stream)) != NULL;) {
        if (strncmp(entry->d_name, "lock-of-", 8) != 0 || strcmp(entry->d_name, own) == 0)
            continue;
        int fd = -1;
        status = take(folder, entry->d_name, LOCK_EX, &fd, report);
        if (fd >= 0)
            close(fd);
    }
    closedir(stream);
    return status;
}

UfStatus uf_lock_take(const char *folder, size_t part, size_t parts, UfLock *out, UfReport *report)
{
    UfLock lock = UF_LOCK_NONE;
    char division[64];
    char own[64];
    snprintf(division, sizeof division, "lock-of-%zu", parts);
    snprintf(own, sizeof own, "lock-%zu-of-%zu", part, parts);
    UfStatus status = take(folder, "lock", parts > 0 ? LOCK_SH : LOCK_EX, &lock.fds[0], report);
    if (status == UF_OK && parts > 0)
        status = take(folder, division, LOCK_SH, &lock.fds[1], report);
    if (status == UF_OK && parts > 0)
        status = refuse_other_divisions(folder, division, report);
    if (status == UF_OK && parts > 0)
        status = take(folder, own, LOCK_EX, &lock.fds[2], report);
    if (status == UF_OK)
        *out = lock;
    else
        uf_lock_drop(&lock);
    return status;
}

void uf_lock_drop(UfLock *lock)
{
    for (size_t i = 0; i < sizeof lock->fds / sizeof lock->fds[0]; i++)
        if (lock->fds[i] >= 0)
            close(lock->fds[i]);
    *lock = UF_LOCK_NONE;
}
