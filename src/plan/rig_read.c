/*
 * Rig files: sections in any order, each read in one function; then what only the whole can tell.
 *
 *     [camera] [lens] [stand]           once each
 *     [edge] [pace]                     once or not at all
 *     [row NAME] [shot NAME]            one at least
 *     [part NAME]                       any number
 */
#include <math.h>

#include "base/ini.h"
#include "base/memory.h"
#include "plan/lens.h"
#include "plan/rig.h"
#include "plan/rig_values.h"

/* Rounded sensor sizes: pixels may be out of square by this much before it is worth a warning. */
#define SQUARE_TOLERANCE 0.05
/* A part may end this far below the floor: a slanted leg is drawn as a rod with flat ends. */
#define FLOOR_TOLERANCE_MM 25.0
/* Blur that still counts as sharp: a 1500th of the sensor's diagonal (common practice, no source). */
#define CONFUSION_SHARE (1.0 / 1500)

#define ANYTHING 1e9

static const UfRigRange above_zero_mm = {0, 100000, true, false, "millimetres"};
static const UfRigRange place_mm = {-100000, 100000, false, false, "millimetres"};
static const UfRigRange tilt_deg = {-90, 90, false, false, "degrees"};
static const UfRigRange pan_deg = {-360, 360, false, false, "degrees"};
static const UfRigRange above_zero_m = {0, ANYTHING, true, false, "metres"};

typedef struct Format {
    const char *name;
    double long_mm, short_mm;
} Format;

/* Nominal sizes; no standard defines the second (common practice, no source). */
static const Format formats[] = {{"full-frame", 36, 24}, {"aps-c", 23.5, 15.6}, {"four-thirds", 17.3, 13.0}};

static void read_sensor(UfRigSection *reader, UfCamera *camera)
{
    const char *text = uf_rig_text(reader, "sensor", "23.5 x 15.6");
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++)
        if (strcmp(text, formats[i].name) == 0) {
            camera->sensor_long_mm = formats[i].long_mm;
            camera->sensor_short_mm = formats[i].short_mm;
            return;
        }
    if (*text >= 'a' && *text <= 'z')
        uf_rig_refuse(reader, "sensor",
                      "'sensor = %s' is not known; write full-frame, aps-c or four-thirds, or its sides in "
                      "millimetres as in '23.5 x 15.6'",
                      text);
    double sides[2] = {0};
    uf_rig_numbers(reader, "sensor", 'x', 2, above_zero_mm, "23.5 x 15.6", sides);
    if (sides[0] < sides[1])
        uf_rig_refuse(reader, "sensor",
                      "'sensor = %s': the long side comes first; 'hold' says how it is held", text);
    camera->sensor_long_mm = sides[0];
    camera->sensor_short_mm = sides[1];
}

static void read_camera(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"sensor", "pixels", "hold", NULL};
    static const char *const holds[] = {"landscape", "portrait"};
    UfCamera *camera = &rig->camera;
    uf_rig_known_keys(reader, known);
    read_sensor(reader, camera);
    double pixels[2] = {1, 1};
    uf_rig_numbers(reader, "pixels", 'x', 2, (UfRigRange){1, 1e5, false, false, "pixels"}, "6000 x 4000",
                   pixels);
    if (pixels[0] < pixels[1])
        uf_rig_refuse(reader, "pixels", "the long side comes first; 'hold' says how the camera is held");
    if (floor(pixels[0]) < pixels[0] || floor(pixels[1]) < pixels[1])
        uf_rig_refuse(reader, "pixels", "these are whole numbers, such as 'pixels = 6000 x 4000'");
    camera->long_px = (size_t)pixels[0];
    camera->short_px = (size_t)pixels[1];
    if (uf_rig_has(reader, "hold"))
        camera->portrait = uf_rig_word(reader, "hold", holds, 2) == 1;
    if (reader->status != UF_OK)
        return;
    double square = camera->sensor_long_mm / pixels[0] / (camera->sensor_short_mm / pixels[1]);
    if (fabs(square - 1) > SQUARE_TOLERANCE)
        uf_warn(reader->report,
                "%s:%d: the pixels are not square: sensor and pixels have different proportions; check both",
                reader->path, reader->section->line);
}

static void read_polynomial(UfRigSection *reader, UfLens *lens)
{
    double k[4] = {0};
    bool is_polynomial = lens->mapping == UF_MAPPING_POLYNOMIAL;
    if (is_polynomial || uf_rig_has(reader, "k"))
        uf_rig_numbers(reader, "k", 0, 4, (UfRigRange){-100, 100, false, false, ""}, "0.05 -0.01 0 0", k);
    for (size_t i = 0; i < 4; i++) {
        if (!is_polynomial && (k[i] < 0 || k[i] > 0))
            uf_rig_refuse(reader, "k",
                          "'k' is for 'mapping = polynomial'; set it to 0 0 0 0 or take the line out");
        lens->k[i] = k[i];
    }
}

static void read_reach(UfRigSection *reader, UfLens *lens)
{
    double reach_deg = 0;
    uf_rig_maybe_number(reader, "reach", (UfRigRange){0, 180, true, false, "degrees"}, "95", &reach_deg);
    if (reader->status != UF_OK || !(reach_deg > 0))
        return;
    double limit_deg = uf_degrees(uf_lens_mapping_limit_rad(lens));
    bool is_open = lens->mapping == UF_MAPPING_RECTILINEAR || lens->mapping == UF_MAPPING_STEREOGRAPHIC;
    if (is_open ? reach_deg >= limit_deg : reach_deg > limit_deg)
        uf_rig_refuse(
            reader, "reach",
            "'reach = %g': a %s lens images %s %.4g degrees from its axis; make it smaller, or correct "
            "the mapping",
            reach_deg, uf_mapping_name(lens->mapping), is_open ? "less than" : "no more than", limit_deg);
    lens->reach_rad = uf_radians(reach_deg);
}

static void read_lens(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"focal", "mapping", "k",       "reach",    "aperture",
                                        "blur",  "focus",   "nearest", "off-axis", NULL};
    const char *mappings[UF_MAPPING_COUNT];
    for (size_t i = 0; i < UF_MAPPING_COUNT; i++)
        mappings[i] = uf_mapping_name((UfMapping)i);
    UfCamera *camera = &rig->camera;
    UfLens *lens = &camera->lens;
    uf_rig_known_keys(reader, known);
    uf_rig_number(reader, "focal", (UfRigRange){0, 5000, true, false, "millimetres"}, "8", &lens->focal_mm);
    lens->mapping = (UfMapping)uf_rig_word(reader, "mapping", mappings, UF_MAPPING_COUNT);
    read_polynomial(reader, lens);
    read_reach(reader, lens);
    uf_rig_maybe_number(reader, "aperture", (UfRigRange){0.5, 200, false, false, "(an f-number)"}, "11",
                        &camera->aperture);
    uf_rig_maybe_number(reader, "blur", (UfRigRange){0, 10, true, false, "millimetres"}, "0.019",
                        &camera->confusion_mm);
    uf_rig_maybe_number(reader, "focus", above_zero_m, "1.5", &camera->focus_m);
    uf_rig_maybe_number(reader, "nearest", above_zero_m, "1", &camera->nearest_m);
    uf_rig_maybe_number(reader, "off-axis", (UfRigRange){-1000, 1000, false, false, "millimetres"}, "2",
                        &camera->pupil_offset_mm);
    if (camera->focus_m > 0 && camera->focus_m * 1000 <= lens->focal_mm)
        uf_rig_refuse(reader, "focus",
                      "must be farther away than the focal length; it is in metres, such as 'focus = 1.5'");
    if (camera->nearest_m > 0 && camera->nearest_m * 1000 <= fabs(camera->pupil_offset_mm))
        uf_rig_refuse(reader, "nearest",
                      "must be farther away than 'off-axis'; it is in metres, such as 'nearest = 1'");
}

static void read_stand(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"height", NULL};
    uf_rig_known_keys(reader, known);
    uf_rig_number(reader, "height", above_zero_mm, "1500", &rig->height_mm);
}

static void read_edge(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"margin", NULL};
    double margin_deg = 0;
    uf_rig_known_keys(reader, known);
    uf_rig_number(reader, "margin", (UfRigRange){0, 20, false, false, "degrees"}, "2", &margin_deg);
    rig->margin_rad = uf_radians(margin_deg);
}

static void read_pace(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"exposure", "wait", "turn", NULL};
    static const UfRigRange seconds = {0, 86400, false, false, "seconds"};
    double turn_deg_s = 0;
    uf_rig_known_keys(reader, known);
    uf_rig_number(reader, "exposure", seconds, "0.5", &rig->pace.exposure_s);
    uf_rig_maybe_number(reader, "wait", seconds, "2", &rig->pace.wait_s);
    uf_rig_number(reader, "turn", (UfRigRange){0, 3600, true, false, "degrees a second"}, "30", &turn_deg_s);
    rig->pace.turn_rad_s = uf_radians(turn_deg_s);
    rig->pace.given = true;
}

/* Frames so that neighbours share at least `overlap` of the width; one that goes all round needs no
 * neighbour. */
static size_t frames_for_overlap(double width_rad, double overlap)
{
    if (width_rad >= 2 * UF_PI)
        return 1;
    double frames = 2 * UF_PI / (width_rad * (1 - overlap));
    return (size_t)fmax(1, ceil(frames - 1e-9));
}

static void read_row(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"tilt", "overlap", "frames", "pan", NULL};
    UfRow row = {.line = reader->section->line};
    double tilt = 0;
    double pan = 0;
    double overlap = 0;
    double frames = 0;
    snprintf(row.name, sizeof row.name, "%s", reader->section->name);
    uf_rig_known_keys(reader, known);
    uf_rig_number(reader, "tilt", tilt_deg, "0", &tilt);
    uf_rig_maybe_number(reader, "pan", pan_deg, "0", &pan);
    if (uf_rig_has(reader, "overlap") == uf_rig_has(reader, "frames"))
        uf_rig_refuse(reader, uf_rig_has(reader, "frames") ? "frames" : NULL,
                      "a row needs either 'overlap = 40' (percent) or 'frames = 6', one of the two");
    uf_rig_maybe_number(reader, "overlap", (UfRigRange){0, 100, false, true, "percent"}, "40", &overlap);
    uf_rig_maybe_number(reader, "frames", (UfRigRange){1, UF_RIG_MAX_FRAMES, false, false, "frames"}, "6",
                        &frames);
    if (floor(frames) < frames)
        uf_rig_refuse(reader, "frames", "is a whole number, such as 'frames = 6'");
    row.tilt_rad = uf_radians(tilt);
    row.pan_rad = uf_radians(pan);
    row.frame_count = (size_t)frames;
    if (reader->status == UF_OK)
        row.width_rad = uf_frame_width_rad(&rig->window, row.tilt_rad);
    if (reader->status == UF_OK && uf_rig_has(reader, "overlap"))
        row.frame_count = frames_for_overlap(row.width_rad, overlap / 100);
    if (rig->frame_count + row.frame_count > UF_RIG_MAX_FRAMES)
        uf_rig_refuse(reader, "overlap", "this comes to more than %d frames; ask for less overlap",
                      UF_RIG_MAX_FRAMES);
    if (reader->status == UF_OK)
        reader->status = uf_rig_append_row(rig, row, reader->report);
}

static void read_shot(UfRigSection *reader, UfRig *rig)
{
    static const char *const known[] = {"tilt", "pan", NULL};
    double tilt = 0;
    double pan = 0;
    UfRow row = {.is_shot = true, .frame_count = 1, .line = reader->section->line};
    snprintf(row.name, sizeof row.name, "%s", reader->section->name);
    uf_rig_known_keys(reader, known);
    uf_rig_number(reader, "tilt", tilt_deg, "90", &tilt);
    uf_rig_maybe_number(reader, "pan", pan_deg, "0", &pan);
    row.tilt_rad = uf_radians(tilt);
    row.pan_rad = uf_radians(pan);
    row.width_rad = uf_frame_width_rad(&rig->window, row.tilt_rad);
    if (rig->frame_count >= UF_RIG_MAX_FRAMES)
        uf_rig_refuse(reader, NULL, "a rig can have %d frames and no more", UF_RIG_MAX_FRAMES);
    if (reader->status == UF_OK)
        reader->status = uf_rig_append_row(rig, row, reader->report);
}

static void read_shape(UfRigSection *reader, UfPart *part)
{
    static const char *const shapes[] = {"box", "rod", "disc"};
    static const char *const box_keys[] = {"turns", "shape", "from", "to", "copies", NULL};
    static const char *const rod_keys[] = {"turns", "shape", "from", "to", "radius", "copies", NULL};
    static const char *const disc_keys[] = {"turns", "shape", "centre", "radius", "copies", NULL};
    static const char *const *const known[] = {box_keys, rod_keys, disc_keys};
    part->shape = (UfPartShape)uf_rig_word(reader, "shape", shapes, 3);
    if (reader->status == UF_OK)
        uf_rig_known_keys(reader, known[part->shape]);
    if (part->shape == UF_PART_DISC) {
        uf_rig_numbers(reader, "centre", 0, 3, place_mm, "0 -120 0", part->from_mm);
    } else {
        uf_rig_numbers(reader, "from", 0, 3, place_mm, "-20 -110 -40", part->from_mm);
        uf_rig_numbers(reader, "to", 0, 3, place_mm, "20 -95 160", part->to_mm);
    }
    if (part->shape != UF_PART_BOX)
        uf_rig_number(reader, "radius", above_zero_mm, "30", &part->radius_mm);
}

/* Sides and lengths that are nothing, and parts where the camera is. */
static void check_part(UfRigSection *reader, const UfPart *part)
{
    double span[3];
    for (size_t i = 0; i < 3; i++)
        span[i] = fabs(part->to_mm[i] - part->from_mm[i]);
    if (part->shape == UF_PART_BOX && !(span[0] > 0 && span[1] > 0 && span[2] > 0))
        uf_rig_refuse(reader, "to", "the box has a side of no length; 'from' and 'to' are opposite corners");
    if (part->shape == UF_PART_ROD && !(span[0] + span[1] + span[2] > 0))
        uf_rig_refuse(reader, "to", "the rod has no length; 'from' and 'to' are its ends");
    if (reader->status == UF_OK && uf_part_holds_pupil(part))
        uf_rig_refuse(
            reader, NULL,
            "this part contains the entrance pupil, the point 0 0 0 that everything is measured from; "
            "measure it again (y is negative below the pupil, z negative behind it)");
}

static double lowest_mm(const UfPart *part)
{
    if (part->shape == UF_PART_DISC)
        return part->from_mm[1];
    double low = fmin(part->from_mm[1], part->to_mm[1]);
    if (part->shape == UF_PART_BOX)
        return low;
    UfSolid rod = uf_solid_from_part(part);
    return low - rod.radius * sqrt(fmax(0, 1 - rod.axis.y * rod.axis.y));
}

static void read_part(UfRigSection *reader, UfRig *rig)
{
    static const char *const answers[] = {"yes", "no"};
    UfPart part = {.copies = 1, .line = reader->section->line};
    double copies = 1;
    snprintf(part.name, sizeof part.name, "%s", reader->section->name);
    read_shape(reader, &part);
    part.turns = uf_rig_word(reader, "turns", answers, 2) == 0;
    uf_rig_maybe_number(reader, "copies", (UfRigRange){1, UF_RIG_MAX_COPIES, false, false, "copies"}, "3",
                        &copies);
    if (floor(copies) < copies)
        uf_rig_refuse(reader, "copies", "is a whole number, such as 'copies = 3'");
    part.copies = (size_t)copies;
    if (rig->part_count >= UF_RIG_MAX_PARTS)
        uf_rig_refuse(reader, NULL, "a rig can have %d parts and no more", UF_RIG_MAX_PARTS);
    if (reader->status == UF_OK)
        check_part(reader, &part);
    if (reader->status != UF_OK)
        return;
    if (lowest_mm(&part) < -rig->height_mm - FLOOR_TOLERANCE_MM)
        uf_warn(reader->report,
                "%s:%d: [part %s] reaches below the floor, %g mm under the entrance pupil; check both",
                reader->path, part.line, part.name, rig->height_mm);
    UfPart *grown = uf_realloc(rig->parts, rig->part_count + 1, sizeof *grown);
    if (grown == NULL) {
        reader->status = uf_fail_memory(reader->report);
        return;
    }
    rig->parts = grown;
    grown[rig->part_count++] = part;
}

typedef struct Kind {
    const char *name;
    bool is_named, is_needed;
    void (*read)(UfRigSection *reader, UfRig *rig);
    const char *example;
} Kind;

/* In the order in which they build on each other. */
static const Kind kinds[] = {
    {"camera", false, true, read_camera, "sensor = 23.5 x 15.6"},
    {"lens", false, true, read_lens, "focal = 8"},
    {"stand", false, true, read_stand, "height = 1500"},
    {"edge", false, false, read_edge, ""},
    {"pace", false, false, read_pace, ""},
    {"row", true, false, read_row, ""},
    {"shot", true, false, read_shot, ""},
    {"part", true, false, read_part, ""},
};

#define KIND_COUNT (sizeof kinds / sizeof *kinds)

static const Kind *find_kind(const char *name)
{
    for (size_t i = 0; i < KIND_COUNT; i++)
        if (strcmp(kinds[i].name, name) == 0)
            return &kinds[i];
    return NULL;
}

static UfStatus check_headings(const char *path, const UfIni *ini, UfReport *report)
{
    for (size_t i = 0; i < ini->count; i++) {
        const UfIniSection *section = &ini->sections[i];
        const Kind *kind = find_kind(section->kind);
        if (strcmp(section->kind, "tour") == 0 || strcmp(section->kind, "patch") == 0)
            return uf_fail(
                report, UF_ERROR_FORMAT,
                "%s:%d: [%s] belongs into a job sheet, for underfoot tour, and this should be a rig file",
                path, section->line, section->kind);
        if (kind == NULL)
            return uf_fail(
                report, UF_ERROR_FORMAT,
                "%s:%d: there is no section [%s]; there are [camera], [lens], [stand], [row NAME], "
                "[shot NAME], [part NAME], [edge] and [pace]",
                path, section->line, section->kind);
        if (kind->is_named && *section->name == '\0')
            return uf_fail(report, UF_ERROR_FORMAT, "%s:%d: [%s] needs a name of its own, such as [%s one]",
                           path, section->line, section->kind, section->kind);
        if (!kind->is_named && *section->name != '\0')
            return uf_fail(report, UF_ERROR_FORMAT, "%s:%d: [%s %s] takes no name; write [%s]", path,
                           section->line, section->kind, section->name, section->kind);
        if (strlen(section->name) >= UF_RIG_NAME_BYTES)
            return uf_fail(report, UF_ERROR_FORMAT, "%s:%d: the name is longer than %d bytes; shorten it",
                           path, section->line, UF_RIG_NAME_BYTES - 1);
    }
    for (size_t i = 0; i < KIND_COUNT; i++)
        if (kinds[i].is_needed && uf_ini_section(ini, kinds[i].name, "") == NULL)
            return uf_fail(report, UF_ERROR_FORMAT,
                           "%s: the section [%s] is missing; add it, with keys such as '%s'", path,
                           kinds[i].name, kinds[i].example);
    return UF_OK;
}

/* Without a reach, every corner of the sensor must have an image. */
static UfStatus check_image(const char *path, const UfIni *ini, const UfRig *rig, UfReport *report)
{
    const UfCamera *camera = &rig->camera;
    double field_rad = 0;
    double corner_mm = hypot(camera->sensor_long_mm, camera->sensor_short_mm) / 2;
    if (uf_lens_field_rad(&camera->lens, 2 * corner_mm, &field_rad))
        return UF_OK;
    double limit_rad = uf_lens_limit_rad(&camera->lens);
    double edge_mm = 0;
    uf_lens_radius_mm(&camera->lens, limit_rad, &edge_mm);
    const UfIniSection *lens = uf_ini_section(ini, "lens", "");
    const UfIniEntry *focal = uf_ini_entry(lens, "focal");
    return uf_fail(
        report, UF_ERROR_FORMAT,
        "%s:%d: [lens]: the sensor is larger than the mapping can image: its corner is %.2f mm from the "
        "centre, and %s with f = %g mm ends at %.2f mm (%.4g degrees); add 'reach = DEGREES', the largest "
        "half-angle inside the image circle, or correct focal, mapping or sensor",
        path, focal->line, corner_mm, uf_mapping_name(camera->lens.mapping), camera->lens.focal_mm, edge_mm,
        uf_degrees(limit_rad));
}

/* Rows and shots keep the file's order, so that the list of frames can be followed. */
static UfStatus read_kinds(const char *path, const UfIni *ini, size_t first, size_t last, UfRig *rig,
                           UfReport *report)
{
    for (size_t i = 0; i < ini->count; i++) {
        const Kind *kind = find_kind(ini->sections[i].kind);
        if (kind < &kinds[first] || kind > &kinds[last])
            continue;
        UfRigSection reader = {.path = path, .section = &ini->sections[i], .report = report};
        kind->read(&reader, rig);
        if (reader.status != UF_OK)
            return reader.status;
    }
    return UF_OK;
}

static UfStatus read_all(const char *path, const UfIni *ini, UfRig *rig, UfReport *report)
{
    UfStatus status = check_headings(path, ini, report);
    if (status == UF_OK)
        status = read_kinds(path, ini, 0, 4, rig, report);
    if (status == UF_OK)
        status = check_image(path, ini, rig, report);
    if (status == UF_OK) {
        rig->window = uf_window_of_camera(&rig->camera);
        status = read_kinds(path, ini, 5, 7, rig, report);
    }
    if (status == UF_OK && rig->frame_count == 0)
        status = uf_fail(
            report, UF_ERROR_FORMAT,
            "%s: no frames are given; add a section such as [row level] with 'tilt = 0' and 'overlap = 40'",
            path);
    if (status == UF_OK && uf_rig_standings(rig) > UF_RIG_MAX_STANDINGS)
        status = uf_fail(
            report, UF_ERROR_FORMAT,
            "%s: parts that turn, their copies and %zu frames come to more than %d things to look at; leave "
            "small parts out",
            path, rig->frame_count, UF_RIG_MAX_STANDINGS);
    if (status == UF_OK && !(rig->camera.confusion_mm > 0))
        rig->camera.confusion_mm =
            CONFUSION_SHARE * hypot(rig->camera.sensor_long_mm, rig->camera.sensor_short_mm);
    return status == UF_OK ? uf_rig_prepare(rig, report) : status;
}

UfStatus uf_rig_read(const char *path, UfRig **out, UfReport *report)
{
    UfIni ini;
    UfRig *rig = NULL;
    UfStatus status = uf_ini_read(path, &ini, report);
    if (status != UF_OK)
        goto cleanup;
    rig = uf_alloc_zero(1, sizeof *rig);
    status = rig == NULL ? uf_fail_memory(report) : read_all(path, &ini, rig, report);
cleanup:
    uf_ini_clear(&ini);
    if (status != UF_OK)
        uf_rig_free(&rig);
    else
        *out = rig;
    return status;
}
