/* Turned panoramas, and the pose that follows the turn. */
#include <underfoot/turn.h>

#include <math.h>
#include <string.h>

#include "base/report.h"
#include "base/smaller.h"
#include "picture/picture_internal.h"
#include "remap/fill.h"
#include "remap/flow.h"
#include "remap/options.h"

/* A thousandth of a pixel: a fiftieth of what the eye could be shown. */
#define WHOLE_PX 1e-3

bool uf_turn_is_shift(const UfRotation *turn, size_t width_px, size_t *shift_px)
{
    const double(*m)[3] = turn->m;
    if (fabs(m[0][1]) > 1e-12 || fabs(m[2][1]) > 1e-12 || m[1][1] < 0)
        return false;
    double columns = atan2(m[0][2], m[2][2]) / (2 * UF_PI) * (double)width_px;
    double whole = round(columns);
    if (fabs(columns - whole) > WHOLE_PX)
        return false;
    *shift_px = (size_t)(whole < 0 ? whole + (double)width_px : whole) % width_px;
    return true;
}

/* Degrees to nine places: the last bits of the way through radians are no angle. */
static double tidy_deg(double rad)
{
    return round(uf_degrees(rad) * 1e9) / 1e9 + 0.0;
}

static double heading_deg(double rad)
{
    double deg = tidy_deg(rad);
    deg = deg < 0 ? deg + 360 : deg;
    return deg >= 360 ? 0 : deg;
}

bool uf_turn_pose(UfPhotoSphere *pose, const UfRotation *turn, bool levels)
{
    if (!pose->has_heading && !pose->has_pitch && !pose->has_roll)
        return false;
    UfRotation before = uf_rotation_from_angles(pose->has_heading ? uf_radians(pose->heading_deg) : 0,
                                                pose->has_pitch ? uf_radians(pose->pitch_deg) : 0,
                                                pose->has_roll ? uf_radians(pose->roll_deg) : 0);
    UfRotation after = uf_rotation_product(&before, turn);
    double yaw_rad, pitch_rad, roll_rad;
    uf_rotation_angles(&after, &yaw_rad, &pitch_rad, &roll_rad);
    if (pose->has_heading)
        pose->heading_deg = heading_deg(yaw_rad);
    if (pose->has_pitch || pose->has_roll) {
        pose->has_pitch = pose->has_roll = true;
        pose->pitch_deg = levels ? 0 : tidy_deg(pitch_rad);
        pose->roll_deg = levels ? 0 : tidy_deg(roll_rad);
        if (pose->roll_deg <= -180)
            pose->roll_deg = 180;
    }
    return true;
}

/* Only the pose is to be written again: the rest of the fields stays as it stands. */
static UfPhotoSphere pose_alone(const UfPhotoSphere *sphere)
{
    return (UfPhotoSphere){.has_heading = sphere->has_heading,
                           .has_pitch = sphere->has_pitch,
                           .has_roll = sphere->has_roll,
                           .heading_deg = sphere->heading_deg,
                           .pitch_deg = sphere->pitch_deg,
                           .roll_deg = sphere->roll_deg};
}

static UfStatus follow_pose(UfPicture *picture, const UfRotation *turn, bool levels, UfReport *report)
{
    UfPhotoSphere sphere = {0};
    UfStatus status = uf_picture_photo_sphere(picture, &sphere, report);
    if (status != UF_OK || !uf_turn_pose(&sphere, turn, levels))
        return status;
    sphere = pose_alone(&sphere);
    return uf_picture_set_photo_sphere(picture, &sphere, report);
}

/* Rows that are moved between waiting and telling. */
#define SHIFT_ROWS ((size_t)64)

static void shift_rows(const UfPicture *panorama, size_t shift_px, size_t first_px, size_t end_px,
                       UfPicture *out)
{
    size_t width = uf_picture_width_px(panorama);
    size_t pixel_bytes = uf_picture_channels(panorama) * (size_t)uf_picture_sample(panorama);
    for (size_t y = first_px; y < end_px; y++) {
        const uint8_t *from = uf_picture_row_const(panorama, y);
        uint8_t *to = uf_picture_row(out, y);
        memcpy(to, from + shift_px * pixel_bytes, (width - shift_px) * pixel_bytes);
        memcpy(to + (width - shift_px) * pixel_bytes, from, shift_px * pixel_bytes);
    }
}

static UfStatus shift_columns(const UfPicture *panorama, size_t shift_px, const UfRemapRows *rows,
                              UfPicture *out, UfReport *report)
{
    size_t height = uf_picture_height_px(panorama);
    UfFlow flow;
    UfStatus status = uf_flow_open(&flow, rows, height, out, SHIFT_ROWS, 1, report);
    for (size_t y = 0; y < height && status == UF_OK; y += SHIFT_ROWS) {
        size_t end = uf_smaller(y + SHIFT_ROWS, height);
        status = uf_flow_await(&flow, end, report);
        if (status != UF_OK)
            break;
        shift_rows(panorama, shift_px, y, end, out);
        uf_flow_filled(&flow, y);
    }
    uf_flow_close(&flow, status);
    return status;
}

static UfStatus turn_pixels(const UfPicture *panorama, const UfRotation *turn, const UfRemapOptions *options,
                            UfPicture *out, UfReport *report)
{
    size_t shift_px;
    if (uf_turn_is_shift(turn, uf_picture_width_px(panorama), &shift_px))
        return shift_columns(panorama, shift_px, options->rows, out, report);
    UfView source = uf_view_equirectangular(uf_picture_width_px(panorama));
    UfView target = source;
    target.rotation = *turn;
    return uf_remap_fill(panorama, &source, &target, options, out, report);
}

static bool is_rotation(const UfRotation *turn)
{
    UfRotation back = uf_rotation_inverse(turn);
    UfRotation product = uf_rotation_product(turn, &back);
    for (int i = 0; i < 9; i++)
        if (!(fabs(product.m[i / 3][i % 3] - (i % 4 == 0 ? 1 : 0)) < 1e-9))
            return false;
    return true;
}

UfStatus uf_turn(const UfPicture *panorama, const UfRotation *turn, bool levels,
                 const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    size_t width = uf_picture_width_px(panorama), height = uf_picture_height_px(panorama);
    UfRemapOptions remap = {.sampling = UF_SAMPLING_SHARP};
    UfPicture *picture = NULL;
    if (options != NULL)
        remap = *options;
    remap.with_alpha = false;
    if (width != 2 * height)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "is %zu x %zu pixels; a full panorama is twice as wide as it is high", width, height);
    if (!is_rotation(turn))
        return uf_fail(report, UF_ERROR_ARGUMENT, "the turn is no rotation");
    UfStatus status = uf_check_remap_options(&remap, report);
    if (status == UF_OK)
        status = uf_picture_create_unset(width, height, uf_picture_channels(panorama),
                                         uf_picture_sample(panorama), &picture, report);
    if (status == UF_OK)
        status = uf_picture_copy_metadata(panorama, picture, report);
    if (status == UF_OK)
        status = follow_pose(picture, turn, levels, report);
    if (status == UF_OK)
        status = turn_pixels(panorama, turn, &remap, picture, report);
    if (status == UF_OK)
        *out = picture;
    else
        uf_picture_free(&picture);
    return status;
}

UfStatus uf_turn_blocks(const char *source_path, size_t shift_px, const char *path, bool overwrite,
                        UfReport *report)
{
    UfPictureInfo info;
    UfMetadata metadata = {0};
    UfPhotoSphere sphere = {0};
    UfStatus status = uf_picture_probe(source_path, &info, report);
    if (status == UF_OK)
        status = uf_metadata_read(source_path, &metadata, report);
    if (status == UF_OK)
        status = uf_xmp_photo_sphere(metadata.xmp, &sphere, report);
    uf_metadata_clear(&metadata);
    if (status != UF_OK)
        return status;
    double yaw_rad = 2 * UF_PI * (double)shift_px / (double)info.width_px;
    UfRotation turn = uf_rotation_from_angles(yaw_rad, 0, 0);
    bool stated = uf_turn_pose(&sphere, &turn, false);
    sphere = pose_alone(&sphere);
    return uf_picture_shift(source_path, shift_px, stated ? &sphere : NULL, path, overwrite, report);
}
