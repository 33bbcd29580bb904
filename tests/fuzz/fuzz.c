/* Files for fuzz targets. */
#include "fuzz/fuzz.h"

#include <ftw.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static char folder[] = "/dev/shm/uf-fuzz-XXXXXX";
static int is_made;

static int remove_one(const char *path, const struct stat *info, int kind, struct FTW *place)
{
    (void)info;
    (void)kind;
    (void)place;
    return remove(path);
}

static void remove_folder(void)
{
    nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

const char *fuzz_folder(void)
{
    if (!is_made && mkdtemp(folder) == NULL)
        abort();
    if (!is_made)
        atexit(remove_folder);
    is_made = 1;
    return folder;
}

const char *fuzz_file(int slot, const char *name, const uint8_t *data, size_t size)
{
    static char paths[2][PATH_MAX];
    snprintf(paths[slot], sizeof paths[slot], "%s/%s", fuzz_folder(), name);
    FILE *file = fopen(paths[slot], "wb");
    if (file == NULL || fwrite(data, 1, size, file) != size || fclose(file) != 0)
        abort();
    return paths[slot];
}
