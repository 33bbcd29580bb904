/* Pictures of every format: probed, read, checked for holes, and where the pixels could be read, tagged. */
#include <stdlib.h>

#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"

/* What one is told of can be looked at: the ends of every row. */
typedef struct Look {
    size_t end_px;
    unsigned sum;
} Look;

static void look(void *data, UfPicture *picture, size_t end_px)
{
    Look *seen = data;
    if (picture == NULL)
        return;
    if (end_px <= seen->end_px || end_px > uf_picture_height_px(picture))
        abort();
    for (; seen->end_px < end_px; seen->end_px++) {
        const uint8_t *row = uf_picture_row_const(picture, seen->end_px);
        const size_t bytes =
            uf_picture_width_px(picture) * uf_picture_channels(picture) * (size_t)uf_picture_sample(picture);
        seen->sum += row[0] + row[bytes - 1];
    }
    seen->sum += (unsigned)uf_picture_xmp(picture).size_bytes;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *path = fuzz_file(0, "in", data, size);
    UfReport *report = uf_report_create();
    Look seen = {0};
    UfReadOptions options = {.max_memory_bytes = FUZZ_MEMORY, .rows_read = look, .rows_read_data = &seen};
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
