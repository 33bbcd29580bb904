/*
 * The library in one page: covers the tripod of a panorama and leaves everything else as it is.
 *
 *     cc -o cover cover.c $(pkg-config --cflags --libs underfoot)
 *     ./cover hall.jpg hall-clean.jpg 25
 */
#include <stdio.h>
#include <stdlib.h>

#include <underfoot/underfoot.h>

static UfStatus cover(const char *from, const char *to, double cap_deg, UfReport *report)
{
    UfPicture *panorama = NULL;
    UfTouched *touched = NULL;
    UfPatchOptions options = {
        .cap_rad = uf_radians(cap_deg), .feather_rad = uf_radians(1.5), .fill = UF_FILL_SMOOTH};
    UfPatchResult result;
    UfWriteOptions write = {0};
    UfStatus status = uf_picture_read(from, NULL, &panorama, report);
    if (status == UF_OK)
        status = uf_touched_create(uf_picture_width_px(panorama), uf_picture_height_px(panorama), &touched,
                                   report);
    if (status == UF_OK)
        status = uf_patch(panorama, &options, touched, &result, report);
    if (status == UF_OK)
        status = uf_picture_rewrite(panorama, from, touched, to, &write, report);
    if (status == UF_OK)
        printf("rows %zu to %zu changed\n", result.first_row_px, result.last_row_px - 1);
    uf_touched_free(&touched);
    uf_picture_free(&panorama);
    return status;
}

int main(int argc, char **argv)
{
    if (argc != 4) {
        fprintf(stderr, "usage: cover PANORAMA OUT CAP_DEG\n");
        return 64;
    }
    UfReport *report = uf_report_create();
    UfStatus status = cover(argv[1], argv[2], strtod(argv[3], NULL), report);
    if (status != UF_OK)
        fprintf(stderr, "cover: %s: %s\n", argv[1], uf_report_error(report));
    uf_report_free(&report);
    return status == UF_OK ? 0 : 1;
}
