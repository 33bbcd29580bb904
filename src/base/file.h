/*
 * Files in and out. Inputs are regular files, opened for reading only. Outputs are written to a temporary file
 * beside their final name, flushed to the disk, and renamed when all went well: after a failure no output exists.
 */
#ifndef UF_BASE_FILE_H
#define UF_BASE_FILE_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/types.h>

#include <underfoot/signals.h>

#include "base/report.h"

typedef struct UfInput {
    FILE *stream;       /* at position 0, owned by the UfInput */
    const char *path;   /* borrowed from the caller */
    uint64_t size_bytes;
} UfInput;

/* Refuses folders, pipes, devices and empty files with a message that names the path. */
UfStatus uf_input_open(const char *path, UfInput *out, UfReport *report);
void uf_input_close(UfInput *input);
/* Reads up to `size` bytes at the start (for telling the format); returns how many. Leaves the position at 0. */
size_t uf_input_peek(UfInput *input, void *buffer, size_t size);
/* Reads the whole file into memory that the caller frees. */
UfStatus uf_input_read_all(UfInput *input, uint8_t **data, size_t *size_bytes, UfReport *report);

/* A file being written. */
typedef struct UfOutput {
    FILE *stream;         /* opened "w+b" on the temporary file */
    char *temporary_path; /* owned */
    char *final_path;     /* owned; a symbolic link has been followed */
    bool overwrite;
} UfOutput;

/*
 * Opens a temporary file (O_EXCL) in the folder of `path`. An existing `path` is UF_ERROR_EXISTS without overwrite,
 * and UF_ERROR_IO when it is not a regular file. With overwrite the new file gets the old one's permissions.
 */
UfStatus uf_output_open(const char *path, bool overwrite, UfOutput *out, UfReport *report);
/* Appends bytes [from, to) of an input as they are, from file to file where the system can; all is flushed. */
UfStatus uf_output_copy(UfOutput *output, const UfInput *input, uint64_t from, uint64_t to, UfReport *report);
/* Appends a gap of so many bytes, 0 until they are written; all is flushed. */
UfStatus uf_output_skip(UfOutput *output, uint64_t size_bytes, UfReport *report);
/* Flushes, syncs, renames. On failure the temporary file is gone. The UfOutput is closed either way. */
UfStatus uf_output_commit(UfOutput *output, UfReport *report);
/* Removes the temporary file. Fine after a commit and on a zeroed UfOutput. */
void uf_output_discard(UfOutput *output);

#endif
