/*
 * scene: renders the tour of the Thimble House, an invented little museum, as full spherical panoramas. Each
 * spot comes as shot (with the panning head and tripod, in the yard with their shadow) and as the truth
 * without them.
 */
#include <errno.h>
#include <getopt.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include <underfoot/sun.h>

#include "output.h"

static const char usage_text[] =
    "scene --out FOLDER [options]\n"
    "Renders the sample tour as equirectangular panoramas: NAME.* as shot, "
    "NAME-truth.* without the hardware.\n"
    "  --out FOLDER     where the pictures go; made if it is not there\n"
    "  --width W        width in pixels, even, 128 to 16384 (4096)\n"
    "  --spot NAME      only this spot: ticket-hall, workshop, yard\n"
    "  --plate          also NAME-floor.jpg, the bare floor photographed by hand\n"
    "  --rigs FOLDER    where the rig files are (samples)\n"
    "  --threads N      0: all cores (0); never changes the pictures\n"
    "  --help           this text\n";

typedef struct Options {
    const char *out, *rigs, *spot;
    size_t width;
    int threads;
    bool plate;
} Options;

static bool whole_number(const char *text, long low, long high, long *out)
{
    char *end;
    errno = 0;
    long value = strtol(text, &end, 10);
    if (errno != 0 || end == text || *end != '\0' || value < low || value > high)
        return false;
    *out = value;
    return true;
}

/* 0 to go on, otherwise the exit status plus one. */
static int read_options(int argc, char **argv, Options *o)
{
    static const struct option names[] = {
        {"out", required_argument, NULL, 'o'},  {"width", required_argument, NULL, 'w'},
        {"spot", required_argument, NULL, 's'}, {"rigs", required_argument, NULL, 'r'},
        {"plate", no_argument, NULL, 'p'},      {"threads", required_argument, NULL, 't'},
        {"help", no_argument, NULL, 'h'},       {NULL, 0, NULL, 0}};
    int letter;
    long value;
    while ((letter = getopt_long(argc, argv, "o:", names, NULL)) != -1) {
        if (letter == 'o')
            o->out = optarg;
        else if (letter == 'r')
            o->rigs = optarg;
        else if (letter == 's' && spot_named(optarg) != NULL)
            o->spot = optarg;
        else if (letter == 'w' && whole_number(optarg, 128, 16384, &value) && value % 2 == 0)
            o->width = (size_t)value;
        else if (letter == 't' && whole_number(optarg, 0, 1024, &value))
            o->threads = (int)value;
        else if (letter == 'p')
            o->plate = true;
        else if (letter == 'h')
            return fputs(usage_text, stdout) < 0 ? 2 : 1;
        else {
            if (letter != '?')
                fprintf(stderr, "scene: --%s does not take '%s'\n",
                        letter == 'w'   ? "width"
                        : letter == 's' ? "spot"
                                        : "threads",
                        optarg);
            fputs(usage_text, stderr);
            return 65;
        }
    }
    if (o->out == NULL || optind < argc) {
        fputs(usage_text, stderr);
        return 65;
    }
    return 0;
}

static void print_written(const char *path, const char *what)
{
    printf("%s  %s\n", path, what);
    (void)fflush(stdout); /* to be seen at once; whether it could be written, main asks at the end */
}

/* The sun as it stood over the tour's place at the spot's time, in the picture's directions. */
static void set_sun(const Spot *spot, World *world)
{
    double hours = spot->hour_utc + spot->minute_utc / 60.0;
    UfPlace place = {uf_radians(TOUR_LAT_DEG), uf_radians(TOUR_LON_DEG)};
    UfSun sun = uf_sun_at(uf_julian_day(TOUR_YEAR, TOUR_MONTH, TOUR_DAY, hours), place);
    UfDirection toward = uf_direction_from_lonlat(uf_sun_direction(sun, uf_radians(spot->heading_deg)));
    world->open_air = spot->open_air;
    world->sun = v3(toward.x, toward.y, toward.z);
    if (spot->open_air) {
        world->sun_irradiance = v3(9.2, 8.5, 7.3);
        printf("%s: sun at azimuth %.3f, elevation %.3f degrees; picture's centre heads %.3f\n", spot->name,
               uf_degrees(sun.azimuth_rad), uf_degrees(sun.elevation_rad), spot->heading_deg);
    }
}

static UfStatus write_spot(const Options *o, const Shot *shot, UfReport *report)
{
    char path[4096], name[4096];
    const Spot *spot = shot->spot;
    snprintf(path, sizeof path, "%s/%s.%s", o->out, spot->name, spot->extension);
    UfStatus status = output_panorama(shot, shot->panorama->as_shot, path, report);
    if (status != UF_OK)
        return status;
    print_written(path, "as shot");
    snprintf(path, sizeof path, "%s/%s-truth.%s", o->out, spot->name, spot->extension);
    status = output_panorama(shot, shot->panorama->truth, path, report);
    if (status != UF_OK)
        return status;
    print_written(path, "truth");
    if (spot->hole_cap_deg <= 0)
        return UF_OK;
    snprintf(path, sizeof path, "%s/%s-hole.png", o->out, spot->name);
    status = output_with_hole(shot, spot->hole_cap_deg, path, report);
    snprintf(name, sizeof name, "transparent cap of %g degrees", spot->hole_cap_deg);
    if (status == UF_OK)
        print_written(path, name);
    return status;
}

/* The bare floor from the hand, after the tripod has gone. */
static UfStatus write_plate(const Options *o, const World *world, const Spot *spot, int threads,
                            UfReport *report)
{
    char path[4096];
    size_t width = o->width / 2;
    float *light = hand_render(world, &spot->hand, width, threads);
    snprintf(path, sizeof path, "%s/%s-floor.jpg", o->out, spot->name);
    if (light == NULL)
        return UF_ERROR_MEMORY;
    UfStatus status = output_by_hand(world, spot, light, width, path, report);
    free(light);
    if (status == UF_OK)
        print_written(path, "the bare floor, photographed by hand");
    return status;
}

static UfStatus make_spot(const Options *o, const Spot *spot, UfReport *report)
{
    Rig rig;
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", o->rigs, spot->rig);
    UfStatus status = rig_read(path, &rig, report);
    if (status != UF_OK)
        return status;
    World *world = calloc(1, sizeof *world);
    Panorama panorama = {0};
    int threads = o->threads > 0 ? o->threads : omp_get_max_threads();
    status = UF_ERROR_MEMORY;
    if (world != NULL) {
        set_sun(spot, world);
        spot->build(world);
        /* small pictures do not need fine light */
        double grain = lesser(6, greater(1, 2048.0 / (double)o->width));
        if (world_finish(world) && light_bake(world, grain, threads) &&
            panorama_render(world, &rig, o->width, threads, &panorama))
            status = write_spot(o, &(Shot){world, spot, &rig, &panorama}, report);
        if (status == UF_OK && o->plate)
            status = write_plate(o, world, spot, threads, report);
        free(world->map);
        free(world->sunlit);
    }
    panorama_free(&panorama);
    rig_clear(&rig);
    free(world);
    return status;
}

static UfStatus make_all(const Options *o, UfReport *report)
{
    char path[4096];
    if (mkdir(o->out, 0777) != 0 && errno != EEXIST) {
        fprintf(stderr, "scene: %s: cannot be made: %s\n", o->out, strerror(errno));
        return UF_ERROR_IO;
    }
    for (int i = 0; i < spot_count; i++) {
        if (o->spot != NULL && strcmp(o->spot, spots[i].name) != 0)
            continue;
        UfStatus status = make_spot(o, &spots[i], report);
        if (status != UF_OK)
            return status;
    }
    snprintf(path, sizeof path, "%s/emblem.png", o->out);
    UfStatus status = output_emblem(path, 1024, report);
    if (status == UF_OK)
        print_written(path, "the museum's emblem");
    return status;
}

int main(int argc, char **argv)
{
    Options o = {.rigs = "samples", .width = 4096};
    int end = read_options(argc, argv, &o);
    if (end != 0)
        return end - 1;
    if (o.threads > 0)
        omp_set_num_threads(o.threads);
    UfReport *report = uf_report_create();
    UfStatus status = make_all(&o, report);
    if (status == UF_ERROR_MEMORY && uf_report_error(report)[0] == '\0')
        fputs("scene: not enough memory\n", stderr);
    else if (status != UF_OK)
        fprintf(stderr, "scene: %s\n", uf_report_error(report));
    uf_report_free(&report);
    bool printed = fflush(stdout) == 0 && ferror(stdout) == 0;
    return status == UF_OK && printed ? 0 : 1;
}
