/*
 * What is taken out of a panorama, and a panorama that is turned, from file to files, against the same phases
 * one after the other in memory, each with all threads: decoding, making, coding with metadata. What the
 * phases' overlap saves shows as a ratio below 1. And the memory that it takes.
 */
#include "bench/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define WIDTH_PX  8192
#define SPARE_MIB 64.0
/* Of the rows lie so many below the face down's corners, 35.26 degrees below the horizon. */
#define DOWN_PART 0.304

typedef struct Phases Phases;

static const BenchTarget no_longer = {BENCH_AT_MOST, 1};

struct Phases {
    const Bench *bench;
    char *const *line; /* the program that does it all */
    const char *in;
    UfReadOptions read;
    void (*make)(Phases *phases);
    UfHome home;  /* of what is taken out; its width is 0 for what is not */
    size_t count; /* of pictures that are made */
    UfPicture *panorama, *made[UF_FACE_COUNT];
    UfReport *report;
    BenchCost cost; /* of the program's last run */
};

static void check(Phases *phases, UfStatus status)
{
    if (status != UF_OK)
        bench_die(phases->line[1], uf_report_error(phases->report));
}

static void run(void *data)
{
    Phases *phases = data;
    phases->cost = bench_run(phases->line);
}

static void decode(void *data)
{
    Phases *phases = data;
    uf_picture_free(&phases->panorama);
    check(phases, uf_picture_read(phases->in, &phases->read, &phases->panorama, phases->report));
}

static void make(void *data)
{
    Phases *phases = data;
    for (size_t i = 0; i < phases->count; i++)
        uf_picture_free(&phases->made[i]);
    phases->make(phases);
}

static void encode(void *data)
{
    Phases *phases = data;
    for (size_t i = 0; i < phases->count; i++) {
        char name[32];
        snprintf(name, sizeof name, "bench-part-%zu.jpg", i);
        char *path = bench_path(phases->bench, name);
        UfHome home = phases->home;
        home.face = (UfFace)i;
        if (home.width_px > 0) {
            check(phases, uf_home_set_panorama(&home, phases->panorama, phases->in, phases->report));
            check(phases, uf_home_dress(&home, phases->panorama, phases->made[i], phases->report));
        }
        bench_write(phases->made[i], path);
        unlink(path);
        free(path);
    }
}

static void take_out(Phases *phases)
{
    UfHome home = phases->home;
    for (size_t i = 0; i < phases->count; i++) {
        home.face = (UfFace)i;
        check(phases, uf_home_extract(&home, phases->panorama, 0, NULL, &phases->made[i], phases->report));
    }
}

static void turn_by(Phases *phases, UfSampling sampling)
{
    const UfRotation turn = uf_rotation_from_angles(uf_radians(30), uf_radians(20), uf_radians(5));
    const UfRemapOptions options = {.sampling = sampling};
    check(phases, uf_turn(phases->panorama, &turn, false, &options, &phases->made[0], phases->report));
}

static void make_turned(Phases *phases)
{
    turn_by(phases, UF_SAMPLING_SHARP);
}

static void make_turned_bicubically(Phases *phases)
{
    turn_by(phases, UF_SAMPLING_BICUBIC);
}

/* The program and its phases in turn; the sum of the phases' medians. */
static double measure(Phases *phases, BenchTarget target)
{
    double seconds[4];
    phases->report = uf_report_create();
    bench_in_turn((BenchWork *[]){run, decode, make, encode}, (void *[]){phases, phases, phases, phases}, 4,
                  BENCH_RUNS, bench_now_s, seconds);
    double sum_s = seconds[1] + seconds[2] + seconds[3];
    bench_row((BenchTarget){0}, seconds[1] / sum_s, "decoding", "%.2f s", seconds[1]);
    bench_row((BenchTarget){0}, seconds[2] / sum_s, "making", "%.2f s", seconds[2]);
    bench_row((BenchTarget){0}, seconds[3] / sum_s, "coding", "%.2f s", seconds[3]);
    bench_row(target, seconds[0] / sum_s, phases->line[1], "%.2f s, cpu %.2f, %.0f MiB", seconds[0],
              phases->cost.work_s, phases->cost.peak_mib);
    for (size_t i = 0; i < phases->count; i++)
        uf_picture_free(&phases->made[i]);
    uf_picture_free(&phases->panorama);
    uf_report_free(&phases->report);
    return sum_s;
}

static void put_memory(const BenchCost *cost, double needed_mib, const char *beyond)
{
    const double more_mib = cost->peak_mib - needed_mib;
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, more_mib / SPARE_MIB, beyond, "%.0f MiB of %.0f more",
              more_mib, SPARE_MIB);
}

static void measure_faces(const Bench *bench, char *in, double source_mib)
{
    char *out = bench_path(bench, "bench-faces");
    char *line[] = {bench->program, "faces",    in,     "-o",      out,
                    "--overwrite",  "--format", "jpeg", "--quiet", NULL};
    char *down[] = {bench->program, "faces", in,        "-o",     out,    "--overwrite",
                    "--format",     "jpeg",  "--quiet", "--only", "down", NULL};
    char *clear[] = {"rm", "-rf", out, NULL};
    /* as the commands do without further options */
    const UfHome home = {.kind = UF_HOME_FACE,
                         .width_px = uf_face_full_size_px(WIDTH_PX),
                         .height_px = uf_face_full_size_px(WIDTH_PX),
                         .sampling = UF_SAMPLING_SHARP,
                         .panorama_width_px = WIDTH_PX};
    Phases phases = {
        .bench = bench, .line = line, .in = in, .make = take_out, .home = home, .count = UF_FACE_COUNT};
    const double side_px = (double)home.width_px, face_mib = 3 * side_px * side_px / 1048576;
    bench_heading("six faces of a %d x %d JPEG as JPEGs, against the sum of the phases", WIDTH_PX,
                  WIDTH_PX / 2);
    const double sum_s = measure(&phases, no_longer);
    put_memory(&phases.cost, source_mib + 2 * face_mib, "  memory beyond the source and two faces");
    const BenchCost one = bench_run_median(down);
    bench_row((BenchTarget){0}, one.seconds / sum_s, "faces --only down", "%.2f s, cpu %.2f, %.0f MiB",
              one.seconds, one.work_s, one.peak_mib);
    put_memory(&one, DOWN_PART * source_mib + face_mib, "  memory beyond its rows and the face");
    bench_run(clear);
    free(out);
}

static void measure_others(const Bench *bench, char *in, double source_mib)
{
    char *out = bench_path(bench, "bench-out.jpg");
    char *sidecar = bench_path(bench, "bench-out.jpg.home.ini"); /* of the planet */
    char *turn[] = {bench->program, "turn", in,       "-o", out,           "--yaw",   "30",
                    "--pitch",      "20",   "--roll", "5",  "--overwrite", "--quiet", NULL};
    char *planet[] = {bench->program, "planet", in, "-o", out, "--overwrite", "--quiet", NULL};
    const UfHome home = {.kind = UF_HOME_PLANET,
                         .fov_deg = 300,
                         .width_px = WIDTH_PX / 2,
                         .height_px = WIDTH_PX / 2,
                         .panorama_width_px = WIDTH_PX};
    Phases turned = {.bench = bench, .line = turn, .in = in, .make = make_turned, .count = 1};
    Phases flat = {.bench = bench, .line = planet, .in = in, .make = take_out, .home = home, .count = 1};
    if (uf_home_rows(&home, &flat.read.first_row_px, &flat.read.end_row_px, NULL) != UF_OK)
        bench_die("planet", "its rows are not known");
    bench_heading("it turned by 30, 20 and 5 degrees, as a JPEG, against the sum of the phases");
    (void)measure(&turned, no_longer);
    put_memory(&turned.cost, 2 * source_mib, "  memory beyond source and output");
    /* decoding these rows and making keep all cores busy already; the program starts, too */
    bench_heading("a planet of it, %d x %d, as a JPEG, against the sum of the phases", WIDTH_PX / 2,
                  WIDTH_PX / 2);
    (void)measure(&flat, (BenchTarget){0});
    put_memory(&flat.cost, 1.5 * source_mib, "  memory beyond source and output");
    unlink(out);
    unlink(sidecar);
    free(out);
    free(sidecar);
}

/* Of a PNG: one core unpacks it. */
static void measure_png(const Bench *bench, const UfPicture *panorama, double source_mib)
{
    char *in = bench_path(bench, "bench-in.png"), *out = bench_path(bench, "bench-out.jpg");
    char *line[] = {bench->program, "turn",        in,        "-o",     out, "--yaw",
                    "30",           "--pitch",     "20",      "--roll", "5", "--sampling",
                    "bicubic",      "--overwrite", "--quiet", NULL};
    Phases phases = {.bench = bench, .line = line, .in = in, .make = make_turned_bicubically, .count = 1};
    bench_write(panorama, in);
    bench_heading(
        "the same as a PNG, turned with --sampling bicubic to a JPEG, against the sum of the phases");
    (void)measure(&phases, no_longer);
    put_memory(&phases.cost, 2 * source_mib, "  memory beyond source and output");
    unlink(in);
    unlink(out);
    free(in);
    free(out);
}

void bench_faces(const Bench *bench)
{
    char *in = bench_path(bench, "bench-in.jpg");
    UfPicture *panorama = bench_earth(WIDTH_PX);
    const double source_mib = 1.5 * WIDTH_PX * WIDTH_PX / 1048576;
    bench_write(panorama, in);
    measure_png(bench, panorama, source_mib);
    uf_picture_free(&panorama);
    measure_faces(bench, in, source_mib);
    measure_others(bench, in, source_mib);
    unlink(in);
    free(in);
}
