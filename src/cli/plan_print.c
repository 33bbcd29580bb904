/* A plan as short tables, and as JSON. */
#include <math.h>

#include "cli/message.h"
#include "cli/plan.h"

#define PANS_A_LINE  10
#define LISTED_AREAS 8

/* Degrees without the last bits that the way through radians left, and without a negative zero. */
static double deg(double rad)
{
    return round(uf_degrees(rad) * 1e9) / 1e9 + 0.0;
}

static void print_lens(const UfRig *rig, const UfPlan *plan)
{
    const UfCamera *camera = uf_rig_camera(rig);
    printf("  lens      %s, f = %g mm, sensor %g x %g mm held %s\n", uf_mapping_name(camera->lens.mapping),
           camera->lens.focal_mm, camera->sensor_long_mm, camera->sensor_short_mm,
           camera->portrait ? "upright" : "lying");
    printf("  field     %.2f deg across, %.2f down, %.2f diagonal\n", deg(plan->field.across_rad),
           deg(plan->field.down_rad), deg(plan->field.diagonal_rad));
    printf("  panorama  %zu x %zu pixels keep the resolution of the picture's centre\n",
           plan->native_width_px, plan->native_width_px / 2);
}

static void print_rows(const UfRig *rig)
{
    printf("\n  %-16s %7s %7s %7s %8s   pan, deg\n", "frames", "tilt", "number", "step", "overlap");
    for (size_t i = 0; i < uf_rig_row_count(rig); i++) {
        const UfRow *row = uf_rig_row(rig, i);
        fputs("  ", stdout);
        cli_put_text(stdout, row->name);
        printf("%*s %7.1f %7zu ", (int)(strlen(row->name) < 16 ? 16 - strlen(row->name) : 0), "",
               deg(row->tilt_rad), row->frame_count);
        if (row->frame_count > 1)
            printf("%7.2f %6.1f %% ", deg(row->step_rad), 100 * row->overlap);
        else
            printf("%7s %8s ", "-", "-");
        for (size_t j = 0; j < row->frame_count; j++) {
            if (j > 0 && j % PANS_A_LINE == 0)
                printf("\n%53s", "");
            printf("  %.5g", deg(uf_rig_frame(rig, row->first_frame + j)->pan_rad));
        }
        putchar('\n');
    }
}

static void print_areas(const UfPlan *plan)
{
    printf("\n  seen      %.2f %% of the sphere; without any hardware %.2f %%\n", 100 * plan->seen_share,
           100 * plan->contained_share);
    if (plan->blind_count == 0) {
        puts("  unseen    nothing");
        return;
    }
    printf("\n  %-10s %9s %9s %9s %9s\n", "unseen", "longitude", "latitude", "radius", "share");
    size_t listed = plan->blind_count < LISTED_AREAS ? plan->blind_count : LISTED_AREAS;
    for (size_t i = 0; i < listed; i++) {
        const UfBlindArea *area = &plan->blind[i];
        double of_lens = area->lens_share / area->share;
        printf("  %-10zu %9.2f %9.2f %9.2f %7.3f %%   %s\n", i + 1, deg(area->lon_rad), deg(area->lat_rad),
               deg(area->radius_rad), 100 * area->share,
               of_lens > 0.999   ? "in no frame"
               : of_lens < 0.001 ? "behind hardware"
                                 : "in no frame, and behind hardware");
    }
    if (listed < plan->blind_count)
        printf("  and %zu smaller ones\n", plan->blind_count - listed);
}

static void print_nadir(const UfRig *rig, const UfPlan *plan)
{
    printf("\n  nadir     the frames leave %.2f deg open, the hardware hides %.2f deg\n",
           deg(plan->lens_cap_rad), deg(plan->hardware_cap_rad));
    if (plan->cause == UF_CAP_NOTHING) {
        puts("            nothing has to be covered");
    } else {
        printf("  cap       %.2f deg", deg(plan->cap_rad));
        if (uf_rig_margin_rad(rig) > 0)
            printf(", of which %.2f are margin", deg(uf_rig_margin_rad(rig)));
        printf(": %.2f m on the floor, %zu rows of %zu x %zu\n            set by ", plan->floor_diameter_m,
               plan->rows_px, plan->width_px, plan->width_px / 2);
        if (plan->cause == UF_CAP_PART) {
            fputs("[part ", stdout);
            cli_put_text(stdout, uf_rig_part(rig, plan->cause_part)->name);
            puts("]");
        } else {
            puts("what the lens does not reach");
        }
    }
    if (plan->zenith_cap_rad > 0)
        printf("  zenith    %.2f deg are not seen, %.2f of them because no frame reaches there\n",
               deg(plan->zenith_cap_rad), deg(plan->zenith_lens_cap_rad));
}

static void print_promise(double cap_rad)
{
    if (cap_rad > 0)
        printf("the cap would be %.2f deg\n", deg(cap_rad));
    else
        puts("nothing would be left to cover");
}

static void print_advice(const UfRig *rig, const UfAdvice *advice, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        fputs(i == 0 ? "  advice    " : "            ", stdout);
        if (advice[i].kind == UF_ADVICE_ADD_FRAME) {
            printf("with one more frame, tilt %g, pan %g: ", deg(advice[i].tilt_rad), deg(advice[i].pan_rad));
        } else if (advice[i].kind == UF_ADVICE_ADD_TWO) {
            printf("with two more frames, tilt %g, pan %g and %g: ", deg(advice[i].tilt_rad),
                   deg(advice[i].pan_rad), deg(advice[i].second_pan_rad));
        } else {
            fputs("with [part ", stdout);
            cli_put_text(stdout, uf_rig_part(rig, advice[i].part)->name);
            fputs("] out of the way (lower, or nearer to the axis): ", stdout);
        }
        print_promise(advice[i].cap_rad);
    }
}

static void print_sharpness(const UfRig *rig)
{
    const UfCamera *camera = uf_rig_camera(rig);
    UfSharpness sharp;
    if (!uf_camera_sharpness(camera, &sharp))
        return;
    printf("\n  sharp     f/%g, blur up to %.4f mm: focused at %.2f m, from %.2f m ", camera->aperture,
           camera->confusion_mm, sharp.focus_m, sharp.near_m);
    if (isinf(sharp.far_m))
        puts("on");
    else
        printf("to %.2f m\n", sharp.far_m);
    printf("            hyperfocal distance %.2f m; diffraction spreads a point over %.4f mm, %.1f pixels\n",
           sharp.hyperfocal_m, sharp.diffraction_mm, sharp.diffraction_mm / sharp.pixel_mm);
    if (camera->nearest_m > 0 && camera->nearest_m < sharp.near_m)
        printf("            the nearest thing, at %.2f m, is not sharp: close the aperture or focus nearer\n",
               camera->nearest_m);
}

/* The row with the longest step has the largest parallax. */
static void print_parallax(const UfRig *rig, const UfPlan *plan)
{
    const UfCamera *camera = uf_rig_camera(rig);
    double step_rad = 0;
    for (size_t i = 0; i < uf_rig_row_count(rig); i++)
        if (uf_rig_row(rig, i)->frame_count > 1)
            step_rad = fmax(step_rad, uf_rig_row(rig, i)->step_rad);
    if (!(camera->nearest_m > 0) || !(step_rad > 0))
        return;
    double pixel_rad = 2 * UF_PI / (double)plan->width_px;
    double parallax_rad = uf_parallax_rad(camera->pupil_offset_mm, step_rad, camera->nearest_m);
    printf(
        "\n  parallax  entrance pupil %g mm off the axis: at %.2f m neighbouring frames differ by up to %.2f "
        "pixels\n",
        camera->pupil_offset_mm, camera->nearest_m, parallax_rad / pixel_rad);
    printf("            half a pixel allows %.2f mm\n",
           uf_parallax_offset_mm(pixel_rad / 2, step_rad, camera->nearest_m));
}

static void print_time(const UfPlan *plan)
{
    long seconds = lround(plan->time_s);
    if (plan->has_time)
        printf("\n  time      %ld min %02ld s\n", seconds / 60, seconds % 60);
}

void cli_plan_print(const char *path, const UfRig *rig, const UfPlan *plan, const UfAdvice *advice,
                    size_t count)
{
    cli_put_text(stdout, path);
    putchar('\n');
    print_lens(rig, plan);
    print_rows(rig);
    print_areas(plan);
    print_nadir(rig, plan);
    print_advice(rig, advice, count);
    print_sharpness(rig);
    print_parallax(rig, plan);
    print_time(plan);
    puts("\n  caution   keep poles and masts away from overhead lines and tripods out of walkways; local "
         "rules\n"
         "            and licensed practice decide");
}

static void rows_json(CliJson *json, const UfRig *rig)
{
    cli_json_open(json, "rows", '[');
    for (size_t i = 0; i < uf_rig_row_count(rig); i++) {
        const UfRow *row = uf_rig_row(rig, i);
        cli_json_open(json, NULL, '{');
        cli_json_text(json, "name", row->name);
        cli_json_number(json, "tilt_deg", deg(row->tilt_rad));
        cli_json_whole(json, "frames", (long long)row->frame_count);
        cli_json_number(json, "step_deg", deg(row->step_rad));
        cli_json_number(json, "overlap_percent", 100 * row->overlap);
        cli_json_close(json, '}');
    }
    cli_json_close(json, ']');
}

static void blind_json(CliJson *json, const UfPlan *plan)
{
    cli_json_open(json, "blind", '[');
    for (size_t i = 0; i < plan->blind_count && i < UF_PLAN_MAX_BLIND; i++) {
        const UfBlindArea *area = &plan->blind[i];
        cli_json_open(json, NULL, '{');
        cli_json_number(json, "lon_deg", deg(area->lon_rad));
        cli_json_number(json, "lat_deg", deg(area->lat_rad));
        cli_json_number(json, "radius_deg", deg(area->radius_rad));
        cli_json_number(json, "percent", 100 * area->share);
        cli_json_close(json, '}');
    }
    cli_json_close(json, ']');
}

void cli_plan_json(CliJson *json, const UfRig *rig, const UfPlan *plan)
{
    cli_json_open(json, "field_deg", '{');
    cli_json_number(json, "across", deg(plan->field.across_rad));
    cli_json_number(json, "down", deg(plan->field.down_rad));
    cli_json_number(json, "diagonal", deg(plan->field.diagonal_rad));
    cli_json_close(json, '}');
    rows_json(json, rig);
    cli_json_whole(json, "frames_total", (long long)uf_rig_frame_count(rig));
    cli_json_number(json, "seen_percent", 100 * plan->seen_share);
    blind_json(json, plan);
    cli_json_open(json, "nadir", '{');
    cli_json_number(json, "lens_cap_deg", deg(plan->lens_cap_rad));
    cli_json_number(json, "hardware_cap_deg", deg(plan->hardware_cap_rad));
    cli_json_number(json, "cap_deg", deg(plan->cap_rad));
    cli_json_number(json, "floor_diameter_m", plan->floor_diameter_m);
    cli_json_whole(json, "rows_px", (long long)plan->rows_px);
    cli_json_close(json, '}');
    cli_json_whole(json, "native_width_px", (long long)plan->native_width_px);
    cli_json_number(json, "time_s", plan->has_time ? plan->time_s : (double)NAN);
}
