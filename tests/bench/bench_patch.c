/*
 * Patching files: a large JPEG against libjpeg-turbo's jpegtran (the whole file through the coefficients,
 * nothing changed), an uncompressed TIFF against copying it and flushing the copy, a PNG against libpng
 * decoding and coding all of it.
 *
 * The TIFF's row allows the cap's own work beside the copy: what uf_patch takes on the picture in memory.
 */
#include "bench/bench.h"

#include <png.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>
#include <unistd.h>

#define JPEG_WIDTH_PX 16384
#define TIFF_WIDTH_PX 8192
#define PNG_WIDTH_PX  4096
#define CAP_DEG       25.0
#define FEATHER_DEG   1.5
#define SPARE_MIB     64.0

static BenchCost patch(const Bench *bench, char *in, char *out, char *fill)
{
    char *line[] = {bench->program, "patch", in,       "-o", out,       "--overwrite",
                    "--cap",        "25",    "--fill", fill, "--quiet", NULL};
    return bench_run_median(line);
}

static void put(BenchTarget target, const char *name, BenchCost cost, double against_s)
{
    bench_row(target, cost.seconds / against_s, name, "%.2f s, cpu %.2f, %.0f MiB", cost.seconds, cost.work_s,
              cost.peak_mib);
}

static char *make(const Bench *bench, const char *name, size_t width_px)
{
    char *path = bench_path(bench, name);
    UfPicture *panorama = bench_earth(width_px);
    bench_write(panorama, path);
    uf_picture_free(&panorama);
    return path;
}

static void drop(char *in, char *out)
{
    unlink(in);
    unlink(out);
    free(in);
    free(out);
}

static void jpeg(const Bench *bench)
{
    char *in = make(bench, "bench-in.jpg", JPEG_WIDTH_PX), *out = bench_path(bench, "bench-out.jpg");
    char *transcode[] = {"jpegtran", "-copy", "all", "-outfile", out, in, NULL};
    double cap_mib = (CAP_DEG + FEATHER_DEG) / 180 * JPEG_WIDTH_PX / 2 * JPEG_WIDTH_PX * 3 / 1048576;
    bench_heading("patch a %d x %d JPEG, cap 25 degrees, against the time of jpegtran -copy all",
                  JPEG_WIDTH_PX, JPEG_WIDTH_PX / 2);
    BenchCost peer = bench_run_median(transcode), smooth = patch(bench, in, out, "smooth");
    put((BenchTarget){0}, "jpegtran -copy all", peer, peer.seconds);
    put((BenchTarget){BENCH_AT_MOST, 0.4}, "patch --fill smooth", smooth, peer.seconds);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, (smooth.peak_mib - cap_mib) / SPARE_MIB,
              "  memory beyond the cap's", "%.0f MiB of %.0f more", smooth.peak_mib - cap_mib, SPARE_MIB);
    drop(in, out);
}

/* Not compressed, so that copying and changing it are the same kind of work. */
static char *make_tiff(const Bench *bench, const char *name, uint32_t width_px)
{
    char *path = bench_path(bench, name);
    UfPicture *panorama = bench_earth(width_px);
    TIFF *tiff = TIFFOpen(path, "w");
    bool good = tiff != NULL;
    if (good) {
        TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, width_px);
        TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, width_px / 2);
        TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 3);
        TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8);
        TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB);
        TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
        TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, 16);
        for (uint32_t y = 0; good && y < width_px / 2; y++)
            good = TIFFWriteScanline(tiff, uf_picture_row(panorama, y), y, 0) == 1;
        TIFFClose(tiff);
    }
    if (!good)
        bench_die(path, "cannot be written");
    uf_picture_free(&panorama);
    return path;
}

/* Seconds of uf_patch on the picture in memory. */
static double cap_alone_s(const char *path)
{
    double seconds[BENCH_RUNS];
    UfReport *report = uf_report_create();
    for (int i = 0; i < BENCH_RUNS; i++) {
        UfPicture *panorama = NULL;
        UfPatchOptions options = {
            .cap_rad = uf_radians(CAP_DEG), .feather_rad = uf_radians(FEATHER_DEG), .fill = UF_FILL_SMOOTH};
        if (uf_picture_read(path, NULL, &panorama, report) != UF_OK)
            bench_die(path, uf_report_error(report));
        double start = bench_now_s();
        if (uf_patch(panorama, &options, NULL, NULL, report) != UF_OK)
            bench_die(path, uf_report_error(report));
        seconds[i] = bench_now_s() - start;
        uf_picture_free(&panorama);
    }
    uf_report_free(&report);
    return bench_median(seconds, BENCH_RUNS);
}

static void tiff(const Bench *bench)
{
    char *in = make_tiff(bench, "bench-in.tif", TIFF_WIDTH_PX), *out = bench_path(bench, "bench-out.tif");
    char *copy[] = {"sh", "-c", "cp \"$0\" \"$1\" && sync \"$1\"", in, out, NULL};
    bench_heading("patch a %d x %d TIFF, against 1.5 times cp and sync, and the cap's own work in memory",
                  TIFF_WIDTH_PX, TIFF_WIDTH_PX / 2);
    BenchCost peer = bench_run_median(copy), smooth = patch(bench, in, out, "smooth");
    double own_s = cap_alone_s(in), allowed_s = 1.5 * peer.seconds + own_s;
    put((BenchTarget){0}, "cp, then sync", peer, allowed_s);
    bench_row((BenchTarget){0}, own_s / allowed_s, "the cap in memory", "%.2f s", own_s);
    put((BenchTarget){BENCH_AT_MOST, 1}, "patch --fill smooth", smooth, allowed_s);
    drop(in, out);
}

typedef struct PngFiles {
    const char *in, *out;
} PngFiles;

static void decode_and_code(void *data)
{
    const PngFiles *files = data;
    png_image image = {.version = PNG_IMAGE_VERSION};
    if (!png_image_begin_read_from_file(&image, files->in))
        bench_die(files->in, image.message);
    image.format = PNG_FORMAT_RGB;
    void *pixels = malloc(PNG_IMAGE_SIZE(image));
    if (pixels == NULL || !png_image_finish_read(&image, NULL, pixels, 0, NULL) ||
        !png_image_write_to_file(&image, files->out, 0, pixels, 0, NULL))
        bench_die(files->in, image.message);
    free(pixels);
}

static void png(const Bench *bench)
{
    char *in = make(bench, "bench-in.png", PNG_WIDTH_PX), *out = bench_path(bench, "bench-out.png");
    PngFiles files = {in, out};
    double peer_s;
    bench_heading("patch a %d x %d PNG, against libpng decoding and coding all of it", PNG_WIDTH_PX,
                  PNG_WIDTH_PX / 2);
    bench_in_turn((BenchWork *[]){decode_and_code}, (void *[]){&files}, 1, BENCH_RUNS, bench_now_s, &peer_s);
    bench_row((BenchTarget){0}, 1, "libpng", "%.2f s", peer_s);
    put((BenchTarget){BENCH_AT_MOST, 1}, "patch --fill smooth", patch(bench, in, out, "smooth"), peer_s);
    drop(in, out);
}

void bench_patch(const Bench *bench)
{
    jpeg(bench);
    tiff(bench);
    png(bench);
}
