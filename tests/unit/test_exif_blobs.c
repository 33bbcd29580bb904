/* EXIF blobs for tests, made and listed by ExifTool. */
#include "unit/test_exif_blobs.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "support/pictures.h"
#include "support/program.h"

/* A JPEG with camera, MakerNote, GPS and thumbnail in the byte order "II" or "MM". */
static void make_jpeg(const char *path, const char *order)
{
    char order_option[32];
    snprintf(order_option, sizeof order_option, "-exifbyteorder=%s", order);
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = 64, .height = 32});
    jpeg_write("plain.jpg", &pixels, &(JpegOptions){0});
    pixels_free(&pixels);
    Run run = RUN_PROGRAM(
        "exiftool", "-q", order_option, "-Make=Lantern Works", "-Model=Wide Eye 2", "-Orientation#=6",
        "-IFD0:ImageWidth=64", "-ExifImageWidth=64", "-ExifImageHeight=32", "-ThumbnailImage<=plain.jpg",
        "-GPSLatitude=52.5", "-GPSLatitudeRef=N", "-MakerNoteUnknownText=opaque maker bytes",
        "-ExposureTime=1/125", "-LensModel=Fisheye 8 mm", "-InteropIndex=R98", "-o", path, "plain.jpg");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    cr_assert_eq(remove("plain.jpg"), 0);
}

UfBlob exif_blob_make(const char *order)
{
    UfBlob blob = {0};
    make_jpeg("made.jpg", order);
    Run run = RUN_PROGRAM("exiftool", "-b", "-Exif", "made.jpg");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_assert_gt(run.out_bytes, 300);
    cr_assert_eq(uf_blob_set(&blob, run.out, run.out_bytes, NULL), UF_OK);
    cr_assert_eq(memcmp(blob.data, order, 2), 0);
    run_free(&run);
    cr_assert_eq(remove("made.jpg"), 0);
    return blob;
}

/* What ExifTool reads from the blob: all tags but those that describe the file itself. */
char *exif_blob_list(UfBlob blob, const char *left_out)
{
    uint8_t *segment = uf_alloc(blob.size_bytes + 6, 1);
    memcpy(segment, "Exif\0", 6);
    memcpy(segment + 6, blob.data, blob.size_bytes);
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = 16, .height = 8});
    jpeg_write("listed.jpg", &pixels, &(JpegOptions){.exif = segment, .exif_bytes = blob.size_bytes + 6});
    pixels_free(&pixels);
    free(segment);
    const char *arguments[32] = {"exiftool",
                                 "-G1",
                                 "-a",
                                 "-s",
                                 "-n",
                                 "-u",
                                 "-IFD0:all",
                                 "-ExifIFD:all",
                                 "-GPS:all",
                                 "-IFD1:all",
                                 "-InteropIFD:all",
                                 "-MakerNotes:all"};
    size_t count = 12;
    char options[512];
    snprintf(options, sizeof options, "%s", left_out);
    char *rest = options;
    for (char *word = strsep(&rest, " "); word != NULL; word = strsep(&rest, " "))
        if (*word != '\0')
            arguments[count++] = word;
    arguments[count++] = "listed.jpg";
    arguments[count] = NULL;
    Run run = run_program(arguments, NULL);
    char *text = strdup(run.out);
    run_free(&run);
    cr_assert_eq(remove("listed.jpg"), 0);
    return text;
}
