/* What an address says: is it good, which view is it, which panorama does it belong to. */
#include <math.h>

#include "home/home.h"

static const char *const kinds[UF_HOME_KIND_COUNT] = {
    [UF_HOME_FACE] = "face",   [UF_HOME_VIEW] = "view",   [UF_HOME_PLANET] = "planet",
    [UF_HOME_STRIP] = "strip", [UF_HOME_CROSS] = "cross",
};

const char *uf_home_kind_name(UfHomeKind kind)
{
    return (unsigned)kind < UF_HOME_KIND_COUNT ? kinds[kind] : NULL;
}

static const struct {
    UfSampling sampling;
    const char *name;
} samplings[] = {
    {UF_SAMPLING_BICUBIC, "bicubic"},
    {UF_SAMPLING_BILINEAR, "bilinear"},
    {UF_SAMPLING_NEAREST, "nearest"},
    {UF_SAMPLING_SHARP, "sharp"},
};

#define SAMPLING_COUNT (sizeof samplings / sizeof samplings[0])

const char *uf_home_sampling_name(UfSampling sampling)
{
    for (size_t i = 0; i < SAMPLING_COUNT; i++)
        if (samplings[i].sampling == sampling)
            return samplings[i].name;
    return NULL;
}

bool uf_home_sampling_from_name(const char *name, UfSampling *out)
{
    for (size_t i = 0; i < SAMPLING_COUNT; i++)
        if (strcmp(samplings[i].name, name) == 0) {
            *out = samplings[i].sampling;
            return true;
        }
    return false;
}

static double rounded(double deg)
{
    return round(deg * (double)UF_HOME_STEPS_DEG) / (double)UF_HOME_STEPS_DEG;
}

UfHome uf_home_rounded(const UfHome *home)
{
    UfHome out = *home;
    out.yaw_deg = rounded(home->yaw_deg);
    out.pitch_deg = rounded(home->pitch_deg);
    out.roll_deg = rounded(home->roll_deg);
    out.fov_deg = rounded(home->fov_deg);
    return out;
}

/* Written so that a NaN fails. */
static UfStatus check_angles(const UfHome *home, UfReport *report)
{
    bool planet = home->kind == UF_HOME_PLANET;
    if (!(home->yaw_deg >= -3600 && home->yaw_deg <= 3600))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a %s of %g degrees is out of range (-3600 to 3600)",
                       planet ? "heading" : "yaw", home->yaw_deg);
    if (planet && !(home->fov_deg > 0 && home->fov_deg < 360))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "a planet %g degrees across makes no sense; its field is above 0 and below 360",
                       home->fov_deg);
    if (planet)
        return UF_OK;
    if (!(home->pitch_deg >= -90 && home->pitch_deg <= 90))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a pitch of %g degrees is out of range (-90 to 90)",
                       home->pitch_deg);
    if (!(home->roll_deg >= -180 && home->roll_deg <= 180))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a roll of %g degrees is out of range (-180 to 180)",
                       home->roll_deg);
    if (!(home->fov_deg > 0 && home->fov_deg <= UF_VIEW_FOV_MAX_DEG))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "a view %g degrees across makes no sense; its field is above 0 and at most %g",
                       home->fov_deg, UF_VIEW_FOV_MAX_DEG);
    return UF_OK;
}

static UfStatus check_shape(const UfHome *home, UfReport *report)
{
    size_t across = 1;
    size_t down = 1;
    if (home->kind == UF_HOME_VIEW)
        return UF_OK;
    uf_home_sheet_size(home->kind, &across, &down);
    if (home->width_px % across == 0 && home->height_px % down == 0 &&
        home->width_px / across == home->height_px / down)
        return UF_OK;
    if (across == 1)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a %s is square, and %zu x %zu pixels are not",
                       kinds[home->kind], home->width_px, home->height_px);
    return uf_fail(report, UF_ERROR_ARGUMENT,
                   "a %s is %zu faces wide and %zu high, and %zu x %zu pixels are not", kinds[home->kind],
                   across, down, home->width_px, home->height_px);
}

UfStatus uf_home_check(const UfHome *home, UfReport *report)
{
    UfHome exact = uf_home_rounded(home);
    const size_t most = UF_PICTURE_MAX_SIDE_PX;
    if ((unsigned)home->kind >= UF_HOME_KIND_COUNT)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no kind of picture with the number %d",
                       (int)home->kind);
    if (home->kind == UF_HOME_FACE && (unsigned)home->face >= UF_FACE_COUNT)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no face with the number %d", (int)home->face);
    if (uf_home_sampling_name(home->sampling) == NULL)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no sampling with the number %d",
                       (int)home->sampling);
    if (home->width_px < 1 || home->height_px < 1 || home->width_px > most || home->height_px > most)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a picture of %zu x %zu pixels cannot be", home->width_px,
                       home->height_px);
    if (home->panorama_width_px < 2 || home->panorama_width_px > most || home->panorama_width_px % 2 != 0)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a panorama %zu pixels wide cannot be",
                       home->panorama_width_px);
    if (home->end_row_px > home->panorama_width_px / 2 ||
        (home->end_row_px > 0 ? home->first_row_px >= home->end_row_px : home->first_row_px > 0))
        return uf_fail(report, UF_ERROR_ARGUMENT, "rows %zu to %zu of a panorama %zu pixels high cannot be",
                       home->first_row_px, home->end_row_px, home->panorama_width_px / 2);
    UfStatus status = check_shape(home, report);
    if (status == UF_OK && (home->kind == UF_HOME_VIEW || home->kind == UF_HOME_PLANET))
        status = check_angles(&exact, report);
    return status;
}

void uf_home_sheet_size(UfHomeKind kind, size_t *across, size_t *down)
{
    *across = kind == UF_HOME_STRIP ? UF_FACE_COUNT : kind == UF_HOME_CROSS ? 4 : 1;
    *down = kind == UF_HOME_CROSS ? 3 : 1;
}

void uf_home_sheet_place(UfHomeKind kind, UfFace face, size_t face_px, size_t *x_px, size_t *y_px)
{
    static const struct {
        size_t column, row;
    } cross[UF_FACE_COUNT] = {
        [UF_FACE_FRONT] = {1, 1}, [UF_FACE_RIGHT] = {2, 1}, [UF_FACE_BACK] = {3, 1},
        [UF_FACE_LEFT] = {0, 1},  [UF_FACE_UP] = {1, 0},    [UF_FACE_DOWN] = {1, 2},
    };
    *x_px = face_px * (kind == UF_HOME_CROSS ? cross[face].column : (size_t)face);
    *y_px = face_px * (kind == UF_HOME_CROSS ? cross[face].row : 0);
}

UfStatus uf_home_view(const UfHome *home, UfView *out, UfReport *report)
{
    return uf_home_view_at(home, home->width_px, home->height_px, out, report);
}

/* |a b' - a' b| in whole pixels of the side that it is measured on: the same shape to within one. */
static bool same_shape(const UfHome *home, size_t width_px, size_t height_px)
{
    double height = (double)width_px * (double)home->height_px / (double)home->width_px;
    double width = (double)height_px * (double)home->width_px / (double)home->height_px;
    return fabs(height - (double)height_px) <= 1.0 || fabs(width - (double)width_px) <= 1.0;
}

UfStatus uf_home_view_at(const UfHome *home, size_t width_px, size_t height_px, UfView *out, UfReport *report)
{
    UfStatus status = uf_home_check(home, report);
    if (status != UF_OK)
        return status;
    if (width_px < 1 || height_px < 1 || !same_shape(home, width_px, height_px))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%zu x %zu pixels do not fit: the %s was %zu x %zu, and a resized one must keep that "
                       "shape (cropping cannot be undone)",
                       width_px, height_px, kinds[home->kind], home->width_px, home->height_px);
    UfHome exact = uf_home_rounded(home);
    double yaw = uf_radians(exact.yaw_deg);
    double fov = uf_radians(exact.fov_deg);
    switch (home->kind) {
    case UF_HOME_FACE:
        *out = uf_view_face(home->face, width_px);
        break;
    case UF_HOME_VIEW:
        *out = uf_view_rectilinear(
            width_px, height_px, fov,
            uf_rotation_from_angles(yaw, uf_radians(exact.pitch_deg), uf_radians(exact.roll_deg)));
        break;
    case UF_HOME_PLANET:
        *out = uf_view_planet(width_px, fov, yaw, home->sky_centre);
        break;
    default:
        return uf_fail(report, UF_ERROR_ARGUMENT, "a %s is several views, one for each face",
                       kinds[home->kind]);
    }
    out->height_px = height_px;
    out->centre_y_px = (double)height_px / 2;
    return UF_OK;
}

/* Where a whole character ends at or before `length`. */
static size_t whole_characters(const char *text, size_t length)
{
    while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80)
        length--;
    return length;
}

UfStatus uf_home_rows(const UfHome *home, size_t *first_px, size_t *end_px, UfReport *report)
{
    UfView view;
    if (home->kind == UF_HOME_STRIP || home->kind == UF_HOME_CROSS) {
        *first_px = 0;
        *end_px = home->panorama_width_px / 2;
        return UF_OK;
    }
    UfStatus status = uf_home_view(home, &view, report);
    if (status != UF_OK)
        return status;
    const UfView panorama = uf_view_equirectangular(home->panorama_width_px);
    uf_remap_rows(&panorama, &view, home->sampling, first_px, end_px);
    return UF_OK;
}

/* All rows are told by none, as in addresses from before there were rows. */
static UfStatus set_rows(UfHome *home, UfReport *report)
{
    size_t first, end;
    UfStatus status = uf_home_rows(home, &first, &end, report);
    if (status != UF_OK)
        return status;
    bool whole = first == 0 && end == home->panorama_width_px / 2;
    home->first_row_px = whole ? 0 : first;
    home->end_row_px = whole ? 0 : end;
    return UF_OK;
}

UfStatus uf_home_set_panorama(UfHome *home, const UfPicture *panorama, const char *path, UfReport *report)
{
    size_t width_px = uf_picture_width_px(panorama);
    size_t height_px = uf_picture_height_px(panorama);
    if (width_px != 2 * height_px)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%zu x %zu pixels are no full panorama; it is twice as wide as it is high", width_px,
                       height_px);
    home->panorama_width_px = width_px;
    UfStatus status = set_rows(home, report);
    if (status != UF_OK)
        return status;
    home->fingerprint = uf_picture_fingerprint(panorama, home->first_row_px, home->end_row_px);
    const char *slash = path == NULL ? NULL : strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path != NULL ? path : "";
    size_t length = strlen(name);
    if (length >= sizeof home->source)
        length = whole_characters(name, sizeof home->source - 1);
    memcpy(home->source, name, length);
    home->source[length] = '\0';
    return UF_OK;
}

bool uf_home_is_of(const UfHome *home, const UfPicture *panorama)
{
    if (uf_picture_width_px(panorama) != home->panorama_width_px ||
        2 * uf_picture_height_px(panorama) != home->panorama_width_px)
        return false;
    const UfFingerprint own = uf_picture_fingerprint(panorama, home->first_row_px, home->end_row_px);
    return uf_fingerprint_same(&home->fingerprint, &own);
}

UfStatus uf_home_check_panorama(const UfHome *home, const UfPicture *panorama, UfReport *report)
{
    size_t width_px = uf_picture_width_px(panorama);
    const char *of = home->source[0] != '\0' ? home->source : "another panorama";
    if (width_px != home->panorama_width_px || 2 * uf_picture_height_px(panorama) != width_px)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "was taken from %s, %zu x %zu pixels, and this panorama is %zu x %zu", of,
                       home->panorama_width_px, home->panorama_width_px / 2, width_px,
                       uf_picture_height_px(panorama));
    if (!uf_home_is_of(home, panorama))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "was taken from %s as it was then, and the pixels of this panorama are others: it is "
                       "another one, or it was changed since",
                       of);
    return UF_OK;
}
