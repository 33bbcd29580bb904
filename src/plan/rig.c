/* Rigs: rows and frames, copies, what the public calls ask for. Reading the file is in rig_read.c. */
#include "plan/rig.h"

#include <math.h>

#include "base/memory.h"
#include "plan/lens.h"

#define WIDTH_STEPS 720
#define HALVINGS    60

/* From the frame's centre outwards to the first direction of the parallel that is not contained. */
double uf_frame_width_rad(const UfWindow *window, double tilt_rad)
{
    UfRotation attitude = uf_rotation_from_angles(0, tilt_rad, 0);
    UfRotation to_camera = uf_rotation_inverse(&attitude);
    double low = 0;
    double high = 0;
    if (fabs(tilt_rad) >= UF_PI / 2) /* the parallel is the pole, in the middle of the frame */
        return 2 * UF_PI;
    for (int i = 1; i <= WIDTH_STEPS + HALVINGS; i++) {
        double lon = high > 0 ? (low + high) / 2 : UF_PI * i / WIDTH_STEPS;
        if (lon > UF_PI)
            return 2 * UF_PI;
        UfDirection direction = uf_direction_from_lonlat((UfLonLat){lon, tilt_rad});
        if (uf_window_holds(window, uf_rotation_apply(&to_camera, direction)))
            low = lon;
        else
            high = lon;
    }
    return high > 0 ? 2 * low : 2 * UF_PI;
}

static UfStatus grow(UfRig *rig, size_t frames, UfReport *report)
{
    UfRow *rows = uf_realloc(rig->rows, rig->row_count + 1, sizeof *rows);
    if (rows == NULL)
        return uf_fail_memory(report);
    rig->rows = rows;
    UfFrame *grown = uf_realloc(rig->frames, rig->frame_count + frames, sizeof *grown);
    if (grown == NULL)
        return uf_fail_memory(report);
    rig->frames = grown;
    return UF_OK;
}

UfStatus uf_rig_append_row(UfRig *rig, UfRow row, UfReport *report)
{
    UfStatus status = grow(rig, row.frame_count, report);
    if (status != UF_OK)
        return status;
    row.first_frame = rig->frame_count;
    row.step_rad = 2 * UF_PI / (double)row.frame_count;
    row.overlap = row.frame_count > 1 ? 1 - row.step_rad / row.width_rad : 0;
    for (size_t i = 0; i < row.frame_count; i++)
        rig->frames[rig->frame_count++] = (UfFrame){.pan_rad = row.pan_rad + (double)i * row.step_rad,
                                                    .tilt_rad = row.tilt_rad,
                                                    .row = rig->row_count};
    rig->rows[rig->row_count++] = row;
    return UF_OK;
}

UfStatus uf_rig_add_frame(UfRig *rig, const char *name, double pan_rad, double tilt_rad, UfReport *report)
{
    if (!isfinite(pan_rad) || !(fabs(tilt_rad) <= UF_PI / 2))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a frame's tilt must be from -90 to 90 degrees");
    if (rig->frame_count >= UF_RIG_MAX_FRAMES)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a rig can have %d frames and no more", UF_RIG_MAX_FRAMES);
    UfRow row = {.is_shot = true,
                 .tilt_rad = tilt_rad,
                 .pan_rad = pan_rad,
                 .width_rad = uf_frame_width_rad(&rig->window, tilt_rad),
                 .frame_count = 1};
    snprintf(row.name, sizeof row.name, "%s", name);
    UfStatus status = uf_rig_append_row(rig, row, report);
    return status == UF_OK ? uf_rig_prepare(rig, report) : status;
}

void uf_rig_free(UfRig **rig)
{
    if (rig == NULL || *rig == NULL)
        return;
    free((*rig)->rows);
    free((*rig)->frames);
    free((*rig)->parts);
    free((*rig)->solids);
    free((*rig)->fixed);
    free((*rig)->turning);
    free((*rig)->aims);
    free(*rig);
    *rig = NULL;
}

UfStatus uf_rig_copy(const UfRig *rig, UfRig **out, UfReport *report)
{
    UfStatus status = UF_OK;
    UfRig *copy = uf_alloc_zero(1, sizeof *copy);
    if (copy == NULL)
        return uf_fail_memory(report);
    copy->camera = rig->camera;
    copy->window = rig->window;
    copy->pace = rig->pace;
    copy->height_mm = rig->height_mm;
    copy->margin_rad = rig->margin_rad;
    copy->rows = uf_duplicate(rig->rows, rig->row_count * sizeof *rig->rows);
    copy->frames = uf_duplicate(rig->frames, rig->frame_count * sizeof *rig->frames);
    copy->parts = uf_duplicate(rig->parts, rig->part_count * sizeof *rig->parts);
    if (copy->rows == NULL || copy->frames == NULL || (copy->parts == NULL && rig->part_count > 0)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    copy->row_count = rig->row_count;
    copy->frame_count = rig->frame_count;
    copy->part_count = rig->part_count;
    status = uf_rig_prepare(copy, report);
cleanup:
    if (status != UF_OK)
        uf_rig_free(&copy);
    else
        *out = copy;
    return status;
}

const UfCamera *uf_rig_camera(const UfRig *rig)
{
    return &rig->camera;
}

const UfPace *uf_rig_pace(const UfRig *rig)
{
    return &rig->pace;
}

double uf_rig_height_mm(const UfRig *rig)
{
    return rig->height_mm;
}

double uf_rig_margin_rad(const UfRig *rig)
{
    return rig->margin_rad;
}

size_t uf_rig_row_count(const UfRig *rig)
{
    return rig->row_count;
}

const UfRow *uf_rig_row(const UfRig *rig, size_t index)
{
    return index < rig->row_count ? &rig->rows[index] : NULL;
}

size_t uf_rig_frame_count(const UfRig *rig)
{
    return rig->frame_count;
}

const UfFrame *uf_rig_frame(const UfRig *rig, size_t index)
{
    return index < rig->frame_count ? &rig->frames[index] : NULL;
}

size_t uf_rig_part_count(const UfRig *rig)
{
    return rig->part_count;
}

const UfPart *uf_rig_part(const UfRig *rig, size_t index)
{
    return index < rig->part_count ? &rig->parts[index] : NULL;
}
