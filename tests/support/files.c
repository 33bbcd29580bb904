/* Whole files and the folder they are in. */
#include "support/files.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

Bytes file_read(const char *path)
{
    FILE *stream = fopen(path, "rb");
    cr_assert_not_null(stream, "%s: %s", path, strerror(errno));
    struct stat facts;
    cr_assert_eq(fstat(fileno(stream), &facts), 0);
    Bytes bytes = {malloc((size_t)facts.st_size + 1), (size_t)facts.st_size};
    cr_assert_not_null(bytes.data);
    cr_assert_eq(fread(bytes.data, 1, bytes.size, stream), bytes.size, "%s", path);
    bytes.data[bytes.size] = 0;
    fclose(stream);
    return bytes;
}

void file_write(const char *path, const void *data, size_t size)
{
    FILE *stream = fopen(path, "wb");
    cr_assert_not_null(stream, "%s: %s", path, strerror(errno));
    cr_assert_eq(fwrite(data, 1, size, stream), size, "%s", path);
    cr_assert_eq(fclose(stream), 0, "%s", path);
}

void bytes_free(Bytes *bytes)
{
    free(bytes->data);
    *bytes = (Bytes){0};
}

void file_cut(const char *from, const char *to, long size)
{
    Bytes bytes = file_read(from);
    size_t kept = size >= 0 ? (size_t)size : bytes.size - (size_t)-size;
    cr_assert(kept <= bytes.size, "%s has only %zu bytes", from, bytes.size);
    file_write(to, bytes.data, kept);
    bytes_free(&bytes);
}

void file_poke(const char *path, size_t offset, const void *data, size_t size)
{
    Bytes bytes = file_read(path);
    cr_assert(offset <= bytes.size && size <= bytes.size - offset, "%s has only %zu bytes", path, bytes.size);
    memcpy(bytes.data + offset, data, size);
    file_write(path, bytes.data, bytes.size);
    bytes_free(&bytes);
}

void file_copy(const char *from, const char *to)
{
    Bytes bytes = file_read(from);
    file_write(to, bytes.data, bytes.size);
    bytes_free(&bytes);
}

size_t bytes_find(Bytes in, size_t start, const void *what, size_t size)
{
    const uint8_t *found = start > in.size ? NULL : memmem(in.data + start, in.size - start, what, size);
    return found == NULL ? SIZE_MAX : (size_t)(found - in.data);
}

bool file_exists(const char *path)
{
    struct stat facts;
    return lstat(path, &facts) == 0;
}

bool file_same(const char *a, const char *b)
{
    Bytes bytes_a = file_read(a);
    Bytes bytes_b = file_read(b);
    bool same = bytes_a.size == bytes_b.size && memcmp(bytes_a.data, bytes_b.data, bytes_a.size) == 0;
    bytes_free(&bytes_a);
    bytes_free(&bytes_b);
    return same;
}

char *folder_list(void)
{
    struct dirent **entries = NULL;
    int count = scandir(".", &entries, NULL, alphasort);
    cr_assert(count >= 0, "%s", strerror(errno));
    char *text = NULL;
    size_t bytes = 0;
    FILE *stream = open_memstream(&text, &bytes);
    cr_assert_not_null(stream);
    for (int i = 0; i < count; i++) {
        if (strcmp(entries[i]->d_name, ".") != 0 && strcmp(entries[i]->d_name, "..") != 0)
            fprintf(stream, "%s\n", entries[i]->d_name);
        free(entries[i]);
    }
    free(entries);
    cr_assert_eq(fclose(stream), 0);
    return text;
}

FileState file_state(const char *path)
{
    struct stat facts;
    cr_assert_eq(stat(path, &facts), 0, "%s: %s", path, strerror(errno));
    return (FileState){file_read(path), facts.st_mtim.tv_sec, facts.st_mtim.tv_nsec, facts.st_mode};
}

bool file_unchanged(const char *path, FileState *state)
{
    FileState now = file_state(path);
    bool same = now.bytes.size == state->bytes.size && now.modified_s == state->modified_s &&
                now.modified_ns == state->modified_ns && now.mode == state->mode &&
                memcmp(now.bytes.data, state->bytes.data, now.bytes.size) == 0;
    bytes_free(&now.bytes);
    bytes_free(&state->bytes);
    return same;
}
