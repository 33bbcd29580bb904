/* Patching a JPEG against libjpeg-turbo's jpegtran: the whole file through the coefficients, nothing changed.
 */
#include "bench/bench.h"

#include <stdlib.h>
#include <unistd.h>

#define WIDTH_PX 8192

static void put(const char *name, BenchCost cost, BenchCost peer)
{
    bench_row((BenchTarget){0}, cost.seconds / peer.seconds, name, "%.2f s, %.0f MiB", cost.seconds,
              cost.peak_mib);
}

void bench_patch(const Bench *bench)
{
    char *in = bench_path(bench, "bench-in.jpg");
    char *out = bench_path(bench, "bench-out.jpg");
    UfPicture *panorama = bench_earth(WIDTH_PX);
    bench_write(panorama, in);
    uf_picture_free(&panorama);
    char *transcode[] = {"jpegtran", "-copy", "all", "-outfile", out, in, NULL};
    char *smooth[] = {bench->program, "patch", in,       "-o",     out,       "--overwrite",
                      "--cap",        "25",    "--fill", "smooth", "--quiet", NULL};
    char *floor[] = {bench->program, "patch", in,       "-o",    out,       "--overwrite",
                     "--cap",        "25",    "--fill", "floor", "--quiet", NULL};
    BenchCost peer = bench_run_median(transcode);
    bench_heading("patch a %d x %d JPEG, cap 25 degrees, against the time of jpegtran -copy all", WIDTH_PX,
                  WIDTH_PX / 2);
    put("jpegtran -copy all", peer, peer);
    put("patch --fill smooth", bench_run_median(smooth), peer);
    put("patch --fill floor", bench_run_median(floor), peer);
    unlink(in);
    unlink(out);
    free(in);
    free(out);
}
