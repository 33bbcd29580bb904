/* Files in tests: whole contents, comparisons, what is left over. Every call fails the test when it cannot do
 * it. */
#ifndef UF_TESTS_SUPPORT_FILES_H
#define UF_TESTS_SUPPORT_FILES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct Bytes {
    uint8_t *data; /* owned; one zero byte follows the last */
    size_t size;
} Bytes;

Bytes file_read(const char *path);
void file_write(const char *path, const void *data, size_t size);
void bytes_free(Bytes *bytes);
/* The first `size` bytes of a file, or the file but for its last bytes when size is negative. */
void file_cut(const char *from, const char *to, long size);
/* Overwrites bytes inside a file. */
void file_poke(const char *path, size_t offset, const void *data, size_t size);
void file_copy(const char *from, const char *to);
/* Offset of the first occurrence of some bytes at or after `start`; SIZE_MAX when there is none. */
size_t bytes_find(Bytes in, size_t start, const void *what, size_t size);

bool file_exists(const char *path);
bool file_same(const char *a, const char *b);

/* Everything in the working folder but "." and "..", sorted, joined by '\n', each name ended by it; free it.
 */
char *folder_list(void);

/* What a file was, to see later whether it was touched: size, contents, time of change, permissions. */
typedef struct FileState {
    Bytes bytes;
    int64_t modified_s, modified_ns;
    unsigned mode;
} FileState;
FileState file_state(const char *path);
/* Compares, and frees the state. */
bool file_unchanged(const char *path, FileState *state);

#endif
