/*
 * The floor fill against the floor that is really there, beside OpenCV's two general inpainting methods on
 * the same region in the same run. What is measured, in a view straight down at the panorama's own scale:
 *
 *   detail   square root of the mean square of the five-point Laplacian, cap against ring
 *   edge     mean radial step within 3 pixels of the cap's border against the truth's there and about there
 *   tone     mean difference over the cap, of 255, the channel that is farthest off
 *   PSNR     over the cap, in dB
 *   joints   on tiles, mean distance from each joint to the nearest in the other picture, the worse way round
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "unit/test_patch_support.h"

#include "support/floors.h"
#include "support/opencv_inpaint.h"
#include "support/photographs.h"

#define WIDTH   1024
#define CAP_DEG 18.0
/* Ring and cap for the detail, in cap radii: interpolation at the border stays out of both. */
#define INNER 0.94
#define OUTER 1.15
#define REACH 1.7
/* "About there" is within this share of the radius. */
#define ABOUT 0.2

typedef struct View {
    UfPicture *picture;
    size_t side;
    double rim_px; /* of the cap */
} View;

typedef struct Figures {
    double detail, edge, tone, psnr;
} Figures;

static View look_down(const UfPicture *panorama, double cap_deg)
{
    double scale = (double)uf_picture_width_px(panorama) / (2 * UF_PI), rim = tan(uf_radians(cap_deg));
    size_t side = 2 * (size_t)ceil(REACH * rim * scale);
    double fov = 2 * uf_degrees(atan((double)side / 2 / scale));
    return (View){look(panorama, false, 0, fov, side), side, rim * scale};
}

static double radius(const View *v, size_t x, size_t y)
{
    double middle = (double)v->side / 2;
    return hypot((double)x + 0.5 - middle, (double)y + 0.5 - middle);
}

/* Root mean square of the Laplacian between two radii. */
static double laplacian(const View *v, double from_px, double to_px)
{
    double sum = 0, count = 0;
    for (size_t y = 1; y + 1 < v->side; y++)
        for (size_t x = 1; x + 1 < v->side; x++) {
            double r = radius(v, x, y);
            if (r < from_px || r >= to_px)
                continue;
            for (size_t c = 0; c < 3; c++) {
                const UfPicture *p = v->picture;
                double l = 4 * get(p, x, y, c) - get(p, x - 1, y, c) - get(p, x + 1, y, c) -
                           get(p, x, y - 1, c) - get(p, x, y + 1, c);
                sum += l * l;
            }
            count += 3;
        }
    return sqrt(sum / count);
}

static double detail(const View *v)
{
    return laplacian(v, 0, INNER * v->rim_px) / laplacian(v, OUTER * v->rim_px, (double)v->side / 2 - 1);
}

/* Mean step along the radius, within so many pixels of the border. */
static double border_step(const View *v, double within_px)
{
    double sum = 0, count = 0;
    for (size_t y = 2; y + 2 < v->side; y++)
        for (size_t x = 2; x + 2 < v->side; x++) {
            double r = radius(v, x, y), middle = (double)v->side / 2;
            if (fabs(r - v->rim_px) > within_px)
                continue;
            double u = ((double)x + 0.5 - middle) / r, w = ((double)y + 0.5 - middle) / r;
            for (size_t c = 0; c < 3; c++)
                sum += fabs(u * (get(v->picture, x + 1, y, c) - get(v->picture, x - 1, y, c)) +
                            w * (get(v->picture, x, y + 1, c) - get(v->picture, x, y - 1, c)));
            count += 3;
        }
    return sum / count;
}

static void compare(const View *v, const View *truth, Figures *out)
{
    double off[3] = {0}, square = 0, count = 0;
    for (size_t y = 0; y < v->side; y++)
        for (size_t x = 0; x < v->side; x++) {
            if (radius(v, x, y) >= v->rim_px)
                continue;
            for (size_t c = 0; c < 3; c++) {
                double d = get(v->picture, x, y, c) - get(truth->picture, x, y, c);
                off[c] += d;
                square += d * d;
            }
            count++;
        }
    out->tone = 0;
    for (size_t c = 0; c < 3; c++)
        if (fabs(off[c] / count * 255) > fabs(out->tone))
            out->tone = off[c] / count * 255;
    out->psnr = -10 * log10(square / (3 * count));
}

/* 1 between the truth's step at the border and its step about there, which chance and pattern set apart. */
static double edge(const View *v, const View *truth)
{
    double step = border_step(v, 3), here = border_step(truth, 3),
           about = border_step(truth, ABOUT * v->rim_px);
    return step / fmin(fmax(step, fmin(here, about)), fmax(here, about));
}

static Figures measure(const View *v, const View *truth)
{
    Figures f = {.detail = detail(v), .edge = edge(v, truth)};
    compare(v, truth, &f);
    return f;
}

/* The view with its cap filled by OpenCV. */
static View inpainted(const View *before, OpencvInpaint method)
{
    View v = *before;
    size_t row = 3 * v.side;
    uint8_t *pixels = malloc(v.side * row), *mask = calloc(v.side, v.side);
    v.picture = make_picture(v.side, v.side, 3, UF_SAMPLE_U8);
    for (size_t y = 0; y < v.side; y++) {
        for (size_t x = 0; x < row; x++)
            pixels[y * row + x] = (uint8_t)lrint(255 * get(before->picture, x / 3, y, x % 3));
        for (size_t x = 0; x < v.side; x++)
            mask[y * v.side + x] = radius(&v, x, y) < v.rim_px + 2;
    }
    opencv_inpaint(pixels, mask, v.side, v.side, method);
    for (size_t y = 0; y < v.side; y++)
        memcpy(uf_picture_row(v.picture, y), pixels + y * row, row);
    free(pixels);
    free(mask);
    return v;
}

typedef struct Case {
    View truth, ours, ns, telea;
    Figures of_truth, of_ours, of_ns, of_telea;
} Case;

static void case_free(Case *c)
{
    uf_picture_free(&c->truth.picture);
    uf_picture_free(&c->ours.picture);
    uf_picture_free(&c->ns.picture);
    uf_picture_free(&c->telea.picture);
}

static void keep(const View *v, const char *name, const char *what)
{
    const char *folder = getenv("FLOORS");
    if (folder == NULL)
        return;
    char path[512];
    snprintf(path, sizeof path, "%s/%s-%s.png", folder, name, what);
    cr_assert_eq(uf_picture_write(v->picture, path, NULL, NULL), UF_OK);
}

/* Turned by roll 180: rows and columns the other way round, without a change in any value. */
static void turn_over(UfPicture **picture_in)
{
    UfPicture *picture = *picture_in, *out = NULL;
    cr_assert_eq(uf_picture_copy(picture, &out, NULL), UF_OK);
    size_t width = uf_picture_width_px(picture), height = uf_picture_height_px(picture);
    size_t bytes = uf_picture_stride_bytes(picture) / width;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++)
            memcpy(uf_picture_row(out, height - 1 - y) + (width - 1 - x) * bytes,
                   uf_picture_row_const(picture, y) + x * bytes, bytes);
    uf_picture_free(picture_in);
    *picture_in = out;
}

/* Takes the panorama over; `truth` stays the caller's. */
static Case fill(const char *name, UfPicture *shot, const UfPicture *truth, double cap_deg, bool overhead)
{
    Case c = {.truth = look_down(truth, cap_deg)};
    View before = look_down(shot, cap_deg);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, cap_deg, 1);
    options.threads = 1;
    options.at_zenith = overhead;
    if (overhead)
        turn_over(&shot);
    cr_assert_eq(patch(shot, &options).fill_used, UF_FILL_FLOOR, "%s", name);
    if (overhead)
        turn_over(&shot);
    c.ours = look_down(shot, cap_deg);
    c.ns = inpainted(&before, OPENCV_NS);
    c.telea = inpainted(&before, OPENCV_TELEA);
    c.of_truth = measure(&c.truth, &c.truth);
    c.of_ours = measure(&c.ours, &c.truth);
    c.of_ns = measure(&c.ns, &c.truth);
    c.of_telea = measure(&c.telea, &c.truth);
    keep(&c.truth, name, "truth");
    keep(&c.ours, name, "ours");
    uf_picture_free(&before.picture);
    uf_picture_free(&shot);
    return c;
}

static void print(const char *name, const Case *c)
{
    printf("%-12s %5.2f | %5.2f %5.2f %5.1f %5.1f | %5.2f %5.2f %5.1f %5.1f | %5.2f %5.2f %5.1f %5.1f\n",
           name, c->of_truth.detail, c->of_ours.detail, c->of_ours.edge, c->of_ours.tone, c->of_ours.psnr,
           c->of_ns.detail, c->of_ns.edge, c->of_ns.tone, c->of_ns.psnr, c->of_telea.detail, c->of_telea.edge,
           c->of_telea.tone, c->of_telea.psnr);
}

static void heading(void)
{
    printf("%-12s %5s | %-23s | %-23s | %-23s\n%-12s %5s |", "", "truth", "floor fill", "cv::inpaint NS",
           "cv::inpaint Telea", "", "det.");
    for (int i = 0; i < 3; i++)
        printf(" det.  edge  tone  PSNR %s", i < 2 ? "|" : "\n");
}

/* Joints are where the picture is darker than `dark`; one byte a pixel, inside the cap only when `cap`. */
static uint8_t *joints(const View *v, double dark, bool cap)
{
    uint8_t *is_joint = calloc(v->side, v->side);
    for (size_t y = 0; y < v->side; y++)
        for (size_t x = 0; x < v->side; x++)
            is_joint[y * v->side + x] =
                (!cap || radius(v, x, y) < v->rim_px) && get(v->picture, x, y, 0) < dark;
    return is_joint;
}

/* Mean distance from each joint of one picture's cap to the other's nearest, at most 8; 8 without joints. */
static double joint_distance(const View *from, const View *to, double dark)
{
    const long most = 8, side = (long)from->side;
    uint8_t *mine = joints(from, dark, true), *theirs = joints(to, dark, false);
    double sum = 0, count = 0;
    for (long y = most; y < side - most; y++)
        for (long x = most; x < side - most; x++) {
            double least = (double)most;
            for (long j = -most; mine[y * side + x] && j <= most; j++)
                for (long i = -most; i <= most; i++)
                    if (theirs[(y + j) * side + x + i])
                        least = fmin(least, hypot((double)i, (double)j));
            sum += mine[y * side + x] ? least : 0;
            count += mine[y * side + x];
        }
    free(mine);
    free(theirs);
    return count > 100 ? sum / count : (double)most;
}

static double joint_displacement(const View *a, const View *b, double dark)
{
    return fmax(joint_distance(a, b, dark), joint_distance(b, a, dark));
}

/* Regular floors: joints stay in line, and the picture is far nearer to the truth than any blur. */
static void accept_tiles(const char *name, const Case *c, double dark, double margin_db)
{
    double joint = joint_displacement(&c->ours, &c->truth, dark);
    printf("%-12s joints %.2f px off, NS %.2f px, Telea %.2f px\n", name, joint,
           joint_displacement(&c->ns, &c->truth, dark), joint_displacement(&c->telea, &c->truth, dark));
    cr_assert_eq(joint_displacement(&c->truth, &c->truth, dark), 0, "%s has joints", name);
    cr_expect(joint <= 1, "%s: joints %g px off", name, joint);
    cr_expect(c->of_ours.psnr >= fmax(c->of_ns.psnr, c->of_telea.psnr) + margin_db, "%s: %g dB", name,
              c->of_ours.psnr);
}

/* What a viewer who looks down must not notice. */
static void accept(const char *name, const Case *c)
{
    const Figures *f = &c->of_ours;
    cr_expect(f->detail >= 0.8 && f->detail <= 1.25, "%s: detail %g", name, f->detail);
    cr_expect(f->edge >= 1 / 1.2 && f->edge <= 1.2, "%s: border %g", name, f->edge);
    cr_expect(fabs(f->tone) <= 6, "%s: tone %g", name, f->tone);
}

Test(truth_floor, zoo)
{
    heading();
    for (size_t i = 0; i < FLOOR_COUNT; i++) {
        UfPicture *truth = floor_panorama(&floors[i], WIDTH);
        Case c = fill(floors[i].name, floor_with_tripod(truth, CAP_DEG - 0.5), truth, CAP_DEG, false);
        print(floors[i].name, &c);
        accept(floors[i].name, &c);
        if (i == 0)
            accept_tiles(floors[i].name, &c, 0.33, 4);
        if (strcmp(floors[i].name, "planks") == 0)
            cr_expect_geq(c.of_ours.psnr, fmax(c.of_ns.psnr, c.of_telea.psnr) + 2, "boards break");
        case_free(&c);
        uf_picture_free(&truth);
    }
}

/* Overhead: what is a floor here is a ceiling there. */
Test(truth_floor, ceilings)
{
    heading();
    for (size_t i = 0; i < FLOOR_COUNT; i += 2) {
        UfPicture *truth = floor_panorama(&floors[i], WIDTH);
        Case c = fill(floors[i].name, floor_with_tripod(truth, CAP_DEG - 0.5), truth, CAP_DEG, true);
        print(floors[i].name, &c);
        accept(floors[i].name, &c);
        case_free(&c);
        uf_picture_free(&truth);
    }
}

Test(truth_floor, sample_scenes)
{
    const char *const names[][3] = {{"hall", "ticket-hall.jpg", "ticket-hall-truth.jpg"},
                                    {"workshop", "workshop.tif", "workshop-truth.tif"},
                                    {"yard", "yard.jpg", "yard-truth.jpg"}};
    heading();
    for (size_t i = 0; i < 3; i++) {
        UfPicture *truth = scene(names[i][2]);
        Case c = fill(names[i][0], scene(names[i][1]), truth, 25, false);
        print(names[i][0], &c);
        accept(names[i][0], &c);
        if (i == 0)
            accept_tiles(names[i][0], &c, 0.31, 6);
        case_free(&c);
        uf_picture_free(&truth);
    }
}

/* Root mean square of the second difference across the panorama's rows, between two angles from the nadir. */
static double across_rows(const UfPicture *p, double from_deg, double to_deg)
{
    size_t width = uf_picture_width_px(p), height = uf_picture_height_px(p);
    size_t y0 = height - (size_t)(to_deg / 180 * (double)height);
    size_t y1 = height - (size_t)(from_deg / 180 * (double)height);
    double sum = 0;
    for (size_t y = y0; y < y1; y++)
        for (size_t x = 0; x < width; x++) {
            double d = get(p, x, y - 1, 1) - 2 * get(p, x, y, 1) + get(p, x, y + 1, 1);
            sum += d * d;
        }
    return sqrt(sum / (double)((y1 - y0) * width));
}

/*
 * A wide cap's ring lies where the panorama's rows are far apart on the floor: what is copied from further
 * out is smeared. Just inside the cap's border the fill must be nearly as fine as the floor there.
 */
static void fill_wide(const Floor *floor)
{
    UfPicture *truth = floor_panorama(floor, WIDTH), *shot = floor_with_tripod(truth, 44.5);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 45, 1);
    cr_assert_eq(patch(shot, &options).fill_used, UF_FILL_FLOOR);
    double rim = across_rows(shot, 38, 44) / across_rows(truth, 38, 44);
    double middle = across_rows(shot, 5, 30) / across_rows(truth, 5, 30);
    printf("%-12s cap 45: detail across rows %.2f of truth's at 38 to 44 degrees, %.2f at 5 to 30\n",
           floor->name, rim, middle);
    cr_expect(rim >= 0.7 && rim <= 1.25, "%s: %g", floor->name, rim);
    cr_expect(middle >= 0.45, "%s: %g", floor->name, middle);
    uf_picture_free(&truth);
    uf_picture_free(&shot);
}

Test(truth_floor, wide_caps_are_nearly_as_fine_as_their_rim)
{
    for (size_t i = 0; i < FLOOR_COUNT; i++)
        if (strcmp(floors[i].name, "gravel") == 0 || strcmp(floors[i].name, "asphalt") == 0)
            fill_wide(&floors[i]);
}
