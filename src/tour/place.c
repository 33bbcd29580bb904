/* Listing, moving and removing files of the output folder. */
#include "tour/place.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <fts.h>
#include <limits.h>
#include <signal.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/memory.h"
#include "base/report.h"

UfStatus uf_place_make_folder(const char *path, UfReport *report)
{
    char *copy = strdup(path);
    if (copy == NULL)
        return uf_fail_memory(report);
    UfStatus status = UF_OK;
    for (char *at = copy + 1; status == UF_OK && *at != '\0'; at++) {
        if (*at != '/')
            continue;
        *at = '\0';
        if (mkdir(copy, 0777) != 0 && errno != EEXIST)
            status = uf_fail_errno(report, "this folder cannot be made", copy);
        *at = '/';
    }
    struct stat facts;
    if (status == UF_OK && mkdir(copy, 0777) != 0 && errno != EEXIST)
        status = uf_fail_errno(report, "this folder cannot be made", path);
    else if (status == UF_OK && (stat(copy, &facts) != 0 || !S_ISDIR(facts.st_mode)))
        status =
            uf_fail(report, UF_ERROR_IO, "%s: is there already and is no folder; give another name", path);
    free(copy);
    return status;
}

UfStatus uf_place_remove(const char *path, UfReport *report)
{
    char *copy = strdup(path);
    if (copy == NULL)
        return uf_fail_memory(report);
    char *roots[] = {copy, NULL};
    UfStatus status = UF_OK;
    FTS *walk = fts_open(roots, FTS_PHYSICAL | FTS_NOCHDIR, NULL);
    for (FTSENT *entry; walk != NULL && status == UF_OK && (entry = fts_read(walk)) != NULL;) {
        if (entry->fts_info == FTS_D || entry->fts_info == FTS_NS)
            continue;
        bool is_folder = entry->fts_info == FTS_DP || entry->fts_info == FTS_DNR;
        if ((is_folder ? rmdir(entry->fts_path) : unlink(entry->fts_path)) != 0 && errno != ENOENT)
            status = uf_fail_errno(report, "cannot be removed", entry->fts_path);
    }
    if (walk != NULL)
        fts_close(walk);
    free(copy);
    return status;
}

/* "PID-N" behind ".NAME.uf-": does that process still live? */
static bool is_left_over(const char *behind)
{
    char *end = NULL;
    long pid = strtol(behind, &end, 10);
    return pid > 0 && *end == '-' && kill((pid_t)pid, 0) != 0 && errno == ESRCH;
}

void uf_place_sweep(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash == NULL ? path : slash + 1;
    char folder[PATH_MAX];
    char prefix[NAME_MAX + 1];
    snprintf(folder, sizeof folder, "%.*s", slash == NULL ? 1 : (int)(slash - path) + 1,
             slash == NULL ? "." : path);
    snprintf(prefix, sizeof prefix, ".%.160s.uf-", name); /* as base/file.c names them */
    DIR *stream = opendir(folder);
    for (const struct dirent *entry; stream != NULL && (entry = readdir(stream)) != NULL;)
        if (strncmp(entry->d_name, prefix, strlen(prefix)) == 0 &&
            is_left_over(entry->d_name + strlen(prefix)))
            (void)unlinkat(dirfd(stream), entry->d_name, 0);
    if (stream != NULL)
        closedir(stream);
}

static int compare_names(const FTSENT **a, const FTSENT **b)
{
    return strcmp((*a)->fts_name, (*b)->fts_name);
}

static UfStatus add_file(UfArena *arena, const char *path, const char *below, const char *prefix,
                         UfJournalFile **files, size_t *count, UfReport *report)
{
    UfDigest digest;
    uint64_t size_bytes;
    UfStatus status = uf_digest_file(path, &digest, &size_bytes, report);
    if (status != UF_OK)
        return status;
    UfJournalFile *file = uf_arena_grow(arena, files, count, sizeof *file);
    if (file == NULL)
        return uf_fail_memory(report);
    *file = (UfJournalFile){uf_arena_print(arena, "%s%s", prefix, below), size_bytes, digest};
    return file->path == NULL ? uf_fail_memory(report) : UF_OK;
}

UfStatus uf_place_list(UfArena *arena, const char *folder, const char *prefix, UfJournalFile **out,
                       size_t *count, UfReport *report)
{
    char *root = strdup(folder);
    if (root == NULL)
        return uf_fail_memory(report);
    char *roots[] = {root, NULL};
    UfJournalFile *files = NULL;
    size_t found = 0;
    UfStatus status = UF_OK;
    FTS *walk = fts_open(roots, FTS_PHYSICAL | FTS_NOCHDIR, compare_names);
    for (FTSENT *entry; walk != NULL && status == UF_OK && (entry = fts_read(walk)) != NULL;)
        if (entry->fts_info == FTS_F)
            status = add_file(arena, entry->fts_path, entry->fts_path + strlen(folder) + 1, prefix, &files,
                              &found, report);
    if (walk != NULL)
        fts_close(walk);
    free(root);
    if (status != UF_OK)
        return status;
    *out = files;
    *count = found;
    return UF_OK;
}

UfPlaceState uf_place_state(const char *root, const UfJournalFile *file)
{
    char *path = NULL;
    struct stat facts;
    UfDigest digest;
    uint64_t size_bytes = 0;
    UfPlaceState state = UF_PLACE_OTHER;
    if (asprintf(&path, "%s%s", root, file->path) < 0)
        return UF_PLACE_OTHER;
    if (lstat(path, &facts) != 0 && (errno == ENOENT || errno == ENOTDIR))
        state = UF_PLACE_MISSING;
    else if (stat(path, &facts) == 0 && S_ISREG(facts.st_mode) &&
             (uint64_t)facts.st_size == file->size_bytes &&
             uf_digest_file(path, &digest, &size_bytes, NULL) == UF_OK &&
             uf_digest_same(&digest, &file->digest))
        state = UF_PLACE_SAME;
    free(path);
    return state;
}

/* The folder's entry, too, is on the disk. Failure here loses nothing: the result would be made again. */
static void sync_folder(const char *path)
{
    char folder[PATH_MAX];
    const char *slash = strrchr(path, '/');
    snprintf(folder, sizeof folder, "%.*s", slash == NULL ? 1 : (int)(slash - path) + 1,
             slash == NULL ? "." : path);
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return;
    if (fsync(fd) != 0)
        errno = 0;
    close(fd);
}

UfStatus uf_place_move(const char *from, const char *to, UfReport *report)
{
    if (rename(from, to) != 0)
        return uf_fail_errno(report, "cannot be put in place", to);
    sync_folder(to);
    return UF_OK;
}
