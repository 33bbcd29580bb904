/* Pictures of every format: probed, read, checked for holes, and where the pixels could be read, tagged. */
#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *path = fuzz_file(0, "in", data, size);
    UfReport *report = uf_report_create();
    UfReadOptions options = {.max_memory_bytes = FUZZ_MEMORY};
    UfPicture *picture = NULL;
    UfPictureInfo info;
    UfPhotoSphere sphere;
    UfHome home;
    bool found = false;
    (void)uf_picture_probe(path, &info, report);
    if (uf_picture_read(path, &options, &picture, report) == UF_OK) {
        (void)uf_picture_photo_sphere(picture, &sphere, report);
        (void)uf_home_get(picture, &home, &found, report);
    }
    uf_picture_free(&picture);
    uf_report_free(&report);
    return 0;
}
