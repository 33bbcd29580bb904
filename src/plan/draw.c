/*
 * The plan as a drawing. Lightness alone tells the number of frames; what is not seen differs in colour and
 * in pattern (stripes behind hardware, dots where no frame reaches), so that it can be read without colours.
 * The inks for them are vermilion and black of M. Okabe and K. Ito's colour-blind-safe set (2008, from
 * memory).
 */
#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "plan/rig.h"
#include "plan/sheet.h"

#define MARGIN_PX       70
#define MAP_WIDTH_PX    1440
#define MAP_HEIGHT_PX   720
#define FLOOR_SIDE_PX   720
#define SHEET_WIDTH_PX  (MAP_WIDTH_PX + 2 * MARGIN_PX)
#define MAP_TOP_PX      90
#define FLOOR_TOP_PX    (MAP_TOP_PX + MAP_HEIGHT_PX + 140)
#define SHEET_HEIGHT_PX (FLOOR_TOP_PX + FLOOR_SIDE_PX + 70)
#define TEXT_PX         13.0
#define TITLE_PX        18.0
/* The floor is drawn this much wider than the cap, and at least so wide. */
#define FLOOR_ROOM    1.25
#define FLOOR_LEAST_M 0.3

static const UfInk paper = {255, 255, 255};
static const UfInk ink_black = {0, 0, 0};
static const UfInk grid = {120, 120, 120};
static const UfInk vermilion = {213, 94, 0};
static const UfInk pale_vermilion = {245, 200, 165};

/* Frames that see a direction: 1, 2, 3, 4, 5, 6 and more. */
static const UfInk counts[] = {{226, 238, 248}, {182, 212, 235}, {123, 178, 217},
                               {70, 136, 190},  {33, 93, 152},   {10, 48, 94}};
#define COUNT_STEPS (sizeof counts / sizeof *counts)

static UfInk sight_ink(UfSight sight, long x_px, long y_px)
{
    if (sight.seeing > 0)
        return counts[sight.seeing <= COUNT_STEPS ? sight.seeing - 1 : COUNT_STEPS - 1];
    if (sight.containing > 0)
        return (x_px + y_px) % 8 < 4 ? vermilion : pale_vermilion;
    return x_px % 8 < 2 && y_px % 8 < 2 ? paper : ink_black;
}

static void draw_map_pixels(const UfRig *rig, int threads, UfPicture *sheet)
{
    UfView view = uf_view_equirectangular(MAP_WIDTH_PX);
#pragma omp parallel for num_threads(threads) schedule(dynamic, 8)
    for (long y = 0; y < MAP_HEIGHT_PX; y++)
        for (long x = 0; x < MAP_WIDTH_PX; x++) {
            UfDirection direction = {0, 1, 0};
            uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction);
            uf_sheet_dot(sheet, MARGIN_PX + x, MAP_TOP_PX + y, sight_ink(uf_rig_sight(rig, direction), x, y));
        }
}

static void text_centred(UfPicture *sheet, double x_px, double y_px, const char *text)
{
    double advance = uf_sheet_text_width(TEXT_PX, text) - TEXT_PX / 3; /* without the space behind the last */
    uf_sheet_text(sheet, x_px - advance / 2, y_px, TEXT_PX, ink_black, text);
}

static void draw_map(const UfRig *rig, int threads, UfPicture *sheet)
{
    char text[40];
    uf_sheet_text(sheet, MARGIN_PX, MAP_TOP_PX - 40, TITLE_PX, ink_black,
                  "the sphere: longitude and latitude in degrees");
    draw_map_pixels(rig, threads, sheet);
    for (int lon = -180; lon <= 180; lon += 30) {
        double x = MARGIN_PX + (lon + 180) / 360.0 * MAP_WIDTH_PX;
        uf_sheet_line(sheet, x, MAP_TOP_PX, x, MAP_TOP_PX + MAP_HEIGHT_PX, lon % 90 == 0 ? 1.2 : 0.6, grid);
        snprintf(text, sizeof text, "%d", lon);
        text_centred(sheet, x, MAP_TOP_PX + MAP_HEIGHT_PX + 24, text);
    }
    for (int lat = -90; lat <= 90; lat += 30) {
        double y = MAP_TOP_PX + (90 - lat) / 180.0 * MAP_HEIGHT_PX;
        uf_sheet_line(sheet, MARGIN_PX, y, MARGIN_PX + MAP_WIDTH_PX, y, lat == 0 ? 1.2 : 0.6, grid);
        snprintf(text, sizeof text, "%d", lat);
        uf_sheet_text(sheet, MARGIN_PX - 10 - uf_sheet_text_width(TEXT_PX, text), y + TEXT_PX / 2, TEXT_PX,
                      ink_black, text);
    }
}

static double floor_half_m(const UfPlan *plan)
{
    double half = plan->floor_diameter_m / 2 * FLOOR_ROOM;
    return isfinite(half) ? fmax(half, FLOOR_LEAST_M) : FLOOR_LEAST_M;
}

/* Forward at pan 0 is up in the drawing, right is right: seen from above. */
static void draw_floor_pixels(const UfRig *rig, const UfPlan *plan, int threads, UfPicture *sheet)
{
    double scale_m = 2 * floor_half_m(plan) / FLOOR_SIDE_PX;
    double height_m = rig->height_mm / 1000;
#pragma omp parallel for num_threads(threads) schedule(dynamic, 8)
    for (long y = 0; y < FLOOR_SIDE_PX; y++)
        for (long x = 0; x < FLOOR_SIDE_PX; x++) {
            double right_m = ((double)x + 0.5 - FLOOR_SIDE_PX / 2.0) * scale_m;
            double forward_m = (FLOOR_SIDE_PX / 2.0 - (double)y - 0.5) * scale_m;
            double distance = sqrt(right_m * right_m + height_m * height_m + forward_m * forward_m);
            UfDirection direction = {right_m / distance, -height_m / distance, forward_m / distance};
            uf_sheet_dot(sheet, MARGIN_PX + x, FLOOR_TOP_PX + y,
                         sight_ink(uf_rig_sight(rig, direction), x, y));
        }
}

/* 1, 2 or 5 times a power of ten: about a fifth of the drawing's width. */
static double scale_bar_cm(double half_m)
{
    double wanted = 2 * half_m * 100 / 5;
    double power = pow(10, floor(log10(wanted)));
    double lead = wanted / power;
    return power * (lead < 2 ? 1 : lead < 5 ? 2 : 5);
}

static void draw_scale(UfPicture *sheet, double half_m)
{
    char text[40];
    double bar_cm = scale_bar_cm(half_m);
    double px_per_cm = FLOOR_SIDE_PX / (2 * half_m * 100);
    double y = FLOOR_TOP_PX + FLOOR_SIDE_PX + 18;
    for (int i = 0; i < 4; i++) {
        double left = MARGIN_PX + i * bar_cm * px_per_cm;
        double right = left + bar_cm * px_per_cm;
        uf_sheet_line(sheet, left, y, right, y, i % 2 == 0 ? 6 : 1.5, ink_black);
        snprintf(text, sizeof text, i < 3 ? "%g" : "%g cm on the floor", (i + 1) * bar_cm);
        uf_sheet_text(sheet, right - TEXT_PX / 2, y + 32, TEXT_PX, ink_black, text);
    }
    uf_sheet_text(sheet, MARGIN_PX - TEXT_PX / 3, y + 32, TEXT_PX, ink_black, "0");
}

static void draw_floor(const UfRig *rig, const UfPlan *plan, int threads, UfPicture *sheet)
{
    double half_m = floor_half_m(plan);
    double px_per_m = FLOOR_SIDE_PX / (2 * half_m);
    double middle_x = MARGIN_PX + FLOOR_SIDE_PX / 2.0;
    double middle_y = FLOOR_TOP_PX + FLOOR_SIDE_PX / 2.0;
    double height_m = rig->height_mm / 1000;
    uf_sheet_text(sheet, MARGIN_PX, FLOOR_TOP_PX - 36, TITLE_PX, ink_black,
                  "the floor from above, pan 0 is up");
    draw_floor_pixels(rig, plan, threads, sheet);
    uf_sheet_line(sheet, middle_x - 12, middle_y, middle_x + 12, middle_y, 1.5, grid);
    uf_sheet_line(sheet, middle_x, middle_y - 12, middle_x, middle_y + 12, 1.5, grid);
    if (plan->cause != UF_CAP_NOTHING && isfinite(plan->floor_diameter_m)) {
        double unseen_px = height_m * tan(plan->unseen_cap_rad) * px_per_m;
        double cap_px = plan->floor_diameter_m / 2 * px_per_m;
        uf_sheet_circle(sheet, middle_x, middle_y, unseen_px, 5, 0,
                        paper); /* so that it shows on the darkest blue */
        uf_sheet_circle(sheet, middle_x, middle_y, cap_px, 8, 0, paper);
        uf_sheet_circle(sheet, middle_x, middle_y, unseen_px, 2, 9, ink_black);
        uf_sheet_circle(sheet, middle_x, middle_y, cap_px, 4, 0, ink_black);
    }
    draw_scale(sheet, half_m);
}

static void legend_box(UfPicture *sheet, long x_px, long y_px, UfSight sight, const char *text)
{
    for (long y = 0; y < 26; y++)
        for (long x = 0; x < 44; x++)
            uf_sheet_dot(sheet, x_px + x, y_px + y, sight_ink(sight, x, y));
    for (int side = 0; side < 2; side++) {
        uf_sheet_line(sheet, (double)x_px, (double)y_px + 26 * side, (double)x_px + 44,
                      (double)y_px + 26 * side, 1, grid);
        uf_sheet_line(sheet, (double)x_px + 44 * side, (double)y_px, (double)x_px + 44 * side,
                      (double)y_px + 26, 1, grid);
    }
    uf_sheet_text(sheet, (double)x_px + 60, (double)y_px + 20, TEXT_PX, ink_black, text);
}

/* Returns the place below. */
static long draw_legend(UfPicture *sheet, long x_px, long y_px)
{
    char text[60];
    for (size_t i = 1; i <= COUNT_STEPS; i++) {
        snprintf(text, sizeof text,
                 i == 1            ? "seen by %zu frame"
                 : i < COUNT_STEPS ? "%zu frames"
                                   : "%zu and more",
                 i);
        legend_box(sheet, x_px, y_px, (UfSight){i, i}, text);
        y_px += 38;
    }
    legend_box(sheet, x_px, y_px + 8, (UfSight){1, 0}, "behind hardware in every frame");
    legend_box(sheet, x_px, y_px + 46, (UfSight){0, 0}, "in no frame");
    y_px += 96;
    uf_sheet_circle(sheet, (double)x_px + 22, (double)y_px + 13, 13, 4, 0, ink_black);
    uf_sheet_text(sheet, (double)x_px + 60, (double)y_px + 20, TEXT_PX, ink_black, "cap with its margin");
    uf_sheet_circle(sheet, (double)x_px + 22, (double)y_px + 51, 13, 2, 5, ink_black);
    uf_sheet_text(sheet, (double)x_px + 60, (double)y_px + 58, TEXT_PX, ink_black, "all that is not seen");
    return y_px + 100;
}

static void draw_figures(const UfRig *rig, const UfPlan *plan, UfPicture *sheet, long x_px, long y_px)
{
    char lines[6][100];
    size_t count = 0;
    snprintf(lines[count++], sizeof lines[0], "%zu frames, %.2f %% of the sphere seen", rig->frame_count,
             100 * plan->seen_share);
    snprintf(lines[count++], sizeof lines[0], "the frames leave %.2f deg open at the nadir",
             uf_degrees(plan->lens_cap_rad));
    snprintf(lines[count++], sizeof lines[0], "the hardware hides %.2f deg",
             uf_degrees(plan->hardware_cap_rad));
    if (plan->cause != UF_CAP_NOTHING) {
        snprintf(lines[count++], sizeof lines[0], "cap %.2f deg, %.2f m on the floor",
                 uf_degrees(plan->cap_rad), plan->floor_diameter_m);
        snprintf(lines[count++], sizeof lines[0], "set by %s%.40s%s",
                 plan->cause == UF_CAP_PART ? "[part " : "what the lens does not reach",
                 plan->cause == UF_CAP_PART ? rig->parts[plan->cause_part].name : "",
                 plan->cause == UF_CAP_PART ? "]" : "");
    }
    for (size_t i = 0; i < count; i++)
        uf_sheet_text(sheet, (double)x_px, (double)y_px + 30 * (double)i, TEXT_PX, ink_black, lines[i]);
}

UfStatus uf_plan_draw(const UfRig *rig, const UfPlan *plan, int threads, UfPicture **out, UfReport *report)
{
    UfPicture *sheet = NULL;
    int cores = threads > 0 ? threads : omp_get_max_threads();
    UfStatus status = uf_picture_create(SHEET_WIDTH_PX, SHEET_HEIGHT_PX, 3, UF_SAMPLE_U8, &sheet, report);
    if (status != UF_OK)
        return status;
    uf_sheet_fill(sheet, 0, 0, SHEET_WIDTH_PX, SHEET_HEIGHT_PX, paper);
    draw_map(rig, cores, sheet);
    draw_floor(rig, plan, cores, sheet);
    long legend_x = MARGIN_PX + FLOOR_SIDE_PX + 60;
    long below = draw_legend(sheet, legend_x, FLOOR_TOP_PX);
    draw_figures(rig, plan, sheet, legend_x, below + 20);
    *out = sheet;
    return UF_OK;
}
