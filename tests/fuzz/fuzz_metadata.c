/*
 * EXIF, XMP and profiles: the first byte chooses one, the rest becomes that block of a small sound JPEG,
 * which is read, corrected and written again in every format.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"

static const char *const heads[] = {"Exif\0", "http://ns.adobe.com/xap/1.0/", "ICC_PROFILE\0\1"};
static const size_t head_bytes[] = {6, 29, 14};
static const uint8_t markers[] = {0xE1, 0xE1, 0xE2};

/* A sound JPEG without metadata, made once by the library itself. */
static uint8_t *plain(size_t *size)
{
    static uint8_t *bytes;
    static size_t count;
    if (bytes == NULL) {
        char path[200];
        UfPicture *picture = NULL;
        UfWriteOptions options = {.overwrite = true};
        snprintf(path, sizeof path, "%s/plain.jpg", fuzz_folder());
        if (uf_picture_create(32, 16, 3, UF_SAMPLE_U8, &picture, NULL) != UF_OK ||
            uf_picture_write(picture, path, &options, NULL) != UF_OK)
            abort();
        uf_picture_free(&picture);
        FILE *file = fopen(path, "rb");
        bytes = malloc(4096);
        count = file == NULL || bytes == NULL ? 0 : fread(bytes, 1, 4096, file);
        if (count == 0)
            abort();
        fclose(file);
    }
    *size = count;
    return bytes;
}

/* SOI, the block, the rest. */
static const char *dressed(unsigned kind, const uint8_t *data, size_t size)
{
    size_t plain_bytes, block = 2 + head_bytes[kind] + size, all;
    const uint8_t *jpeg = plain(&plain_bytes);
    all = plain_bytes + 2 + block;
    uint8_t *out = malloc(all);
    if (out == NULL)
        abort();
    memcpy(out, jpeg, 2);
    out[2] = 0xFF;
    out[3] = markers[kind];
    out[4] = (uint8_t)(block >> 8);
    out[5] = (uint8_t)block;
    memset(out + 6, 1, head_bytes[kind]);
    memcpy(out + 6, heads[kind], strlen(heads[kind]) + 1);
    memcpy(out + 6 + head_bytes[kind], data, size);
    memcpy(out + 4 + block, jpeg + 2, plain_bytes - 2);
    const char *path = fuzz_file(0, "in.jpg", out, all);
    free(out);
    return path;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size < 1 || size > 60000)
        return 0;
    const char *path = dressed(data[0] % 3, data + 1, size - 1);
    UfReport *report = uf_report_create();
    UfPicture *picture = NULL;
    UfTaken taken;
    UfHome home;
    bool found;
    UfWriteOptions options = {.overwrite = true};
    (void)uf_taken_read(path, &taken, report);
    if (uf_picture_read(path, NULL, &picture, report) == UF_OK) {
        static const char *const names[] = {"out.jpg", "out.png", "out.tif"};
        char out[200];
        UfPhotoSphere sphere;
        (void)uf_picture_photo_sphere(picture, &sphere, report);
        (void)uf_home_get(picture, &home, &found, report);
        snprintf(out, sizeof out, "%s/%s", fuzz_folder(), names[size % 3]);
        (void)uf_picture_write(picture, out, &options, report);
        snprintf(out, sizeof out, "%s/tagged.jpg", fuzz_folder());
        UfPhotoSphere pose = {.has_heading = true, .heading_deg = 12};
        (void)uf_picture_tag(path, out, &pose, &options, report);
    }
    uf_picture_free(&picture);
    uf_report_free(&report);
    return 0;
}
