/*
 * What the fuzz targets share. Each target is one file with LLVMFuzzerTestOneInput (libFuzzer, LLVM); its
 * bytes are handed to the library as a file, since files are what the library reads from outside.
 */
#ifndef UF_TESTS_FUZZ_FUZZ_H
#define UF_TESTS_FUZZ_FUZZ_H

#include <stddef.h>
#include <stdint.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Larger pictures only cost time: the limit is part of what is tested. */
#define FUZZ_MEMORY ((size_t)48 << 20)

/* The folder of this process in memory (/dev/shm), made at the first call and removed at exit. */
const char *fuzz_folder(void);
/* Writes the bytes as `name` there; the path is valid until the next call with that name's slot (0 or 1). */
const char *fuzz_file(int slot, const char *name, const uint8_t *data, size_t size);

#endif
