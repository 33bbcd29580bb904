/* Photographs and scenes read, measured and padded. */
#include "support/photographs.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/sphere.h>

#include "support/program.h"

UfPicture *photo(const char *path)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_read(path, NULL, &picture, report), UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(uf_picture_sample(picture), UF_SAMPLE_U8);
    cr_assert_eq(uf_picture_channels(picture), 3);
    uf_report_free(&report);
    return picture;
}

double ws_psnr(const UfPicture *a, const UfPicture *b)
{
    size_t width = uf_picture_width_px(a);
    size_t height = uf_picture_height_px(a);
    double error = 0;
    double weights = 0;
    cr_assert(uf_picture_width_px(b) == width && uf_picture_channels(b) == 3);
    for (size_t y = 0; y < height; y++) {
        const uint8_t *row_a = uf_picture_row_const(a, y);
        const uint8_t *row_b = uf_picture_row_const(b, y);
        double weight = cos(((double)y + 0.5 - (double)height / 2) * UF_PI / (double)height);
        double sum = 0;
        for (size_t i = 0; i < 3 * width; i++)
            sum += (double)(row_a[i] - row_b[i]) * (double)(row_a[i] - row_b[i]);
        error += weight * sum;
        weights += weight * 3 * (double)width;
    }
    return 10 * log10(255.0 * 255.0 * weights / error);
}

uint8_t *padded(const UfPicture *panorama)
{
    size_t width = uf_picture_width_px(panorama);
    size_t height = uf_picture_height_px(panorama);
    size_t wide = width + 2 * PAD_PX;
    uint8_t *out = malloc(wide * (height + 2 * PAD_PX) * 3);
    cr_assert_not_null(out);
    for (size_t y = 0; y < height + 2 * PAD_PX; y++)
        for (size_t x = 0; x < wide; x++) {
            size_t row = y < PAD_PX ? PAD_PX - 1 - y : y - PAD_PX;
            size_t column = x + width - PAD_PX;
            if (row >= height)
                row = 2 * height - 1 - row;
            if (y < PAD_PX || y - PAD_PX >= height)
                column += width / 2;
            const uint8_t *pixel = (const uint8_t *)uf_picture_row_const(panorama, row) + column % width * 3;
            memcpy(out + (y * wide + x) * 3, pixel, 3);
        }
    return out;
}

Maps maps_create(size_t count)
{
    Maps maps = {malloc(count * sizeof *maps.x), malloc(count * sizeof *maps.y)};
    cr_assert(maps.x != NULL && maps.y != NULL);
    return maps;
}

void maps_free(Maps *maps)
{
    free(maps->x);
    free(maps->y);
}

void scene_make(const char *spot, const char *width)
{
    char *build = strdup(underfoot_path());
    char program[1024];
    char rigs[1024];
    cr_assert_not_null(build);
    *strrchr(build, '/') = '\0';
    snprintf(program, sizeof program, "%s/scene", build);
    snprintf(rigs, sizeof rigs, "%s/../../samples", build);
    Run run = RUN_PROGRAM(program, "--out", ".", "--width", width, "--spot", spot, "--rigs", rigs);
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    free(build);
}

const char *scene_path(const char *name, char path[static 1024])
{
    const char *program = underfoot_path();
    const char *end = strrchr(program, '/');
    snprintf(path, 1024, "%.*s/../scenes/%s", (int)(end - program), program, name);
    return path;
}

UfPicture *scene(const char *name)
{
    char path[1024];
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_read(scene_path(name, path), NULL, &picture, report), UF_OK,
                 "%s (make tests renders it)", uf_report_error(report));
    uf_report_free(&report);
    return picture;
}
