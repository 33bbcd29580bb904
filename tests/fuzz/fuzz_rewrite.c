/*
 * A picture with one touched corner is written back: the parser of the coded data, the coefficients, the
 * strips. The first byte says which corner; the rest is the file.
 */
#include <stdio.h>
#include <string.h>

#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"

static void rewrite(UfPicture *picture, const char *path, unsigned corner, UfReport *report)
{
    char out[200];
    size_t width = uf_picture_width_px(picture), height = uf_picture_height_px(picture);
    size_t x0 = (corner & 1) != 0 && width > 20 ? width - 20 : 0;
    size_t y0 = (corner & 2) != 0 && height > 20 ? height - 20 : 0;
    UfTouched *touched = NULL;
    UfWriteOptions options = {.overwrite = true};
    if (uf_touched_create(width, height, &touched, report) != UF_OK)
        return;
    uf_touched_add(touched, x0, y0, x0 + 20, y0 + 20);
    for (size_t y = y0; y < height && y < y0 + 20; y++)
        memset((uint8_t *)uf_picture_row(picture, y) + (x0 * uf_picture_stride_bytes(picture)) / width, 90,
               1);
    static const char *const names[] = {"", "out.jpg", "out.png", "out.tif"};
    snprintf(out, sizeof out, "%s/%s", fuzz_folder(), names[uf_picture_format(picture) & 3]);
    (void)uf_picture_rewrite(picture, path, touched, out, &options, report);
    uf_touched_free(&touched);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size < 2)
        return 0;
    const char *path = fuzz_file(0, "in", data + 1, size - 1);
    UfReport *report = uf_report_create();
    UfReadOptions options = {.max_memory_bytes = FUZZ_MEMORY};
    UfPicture *picture = NULL;
    if (uf_picture_read(path, &options, &picture, report) == UF_OK)
        rewrite(picture, path, data[0], report);
    uf_picture_free(&picture);
    uf_report_free(&report);
    return 0;
}
