/*
 * The driver: which part of the panorama each face can show, that part rendered from the face, and of it the
 * pixels whose direction lies on the face.
 *
 * A face about the horizon shows a quarter of the longitudes between latitudes +-45 degrees; up and down show
 * all longitudes beyond asin(1/sqrt 3) = 35.26 degrees. Together these windows are 1.11 times the panorama.
 */
#include <underfoot/wrap.h>

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "remap/options.h"
#include "wrap/cube.h"

/* What the sharpest kernel and its prefilter reach. */
#define BORDER_PX 24u

size_t uf_wrap_width_px(size_t face_px)
{
    size_t width_px = 2 * (size_t)lround((double)face_px * UF_PI / 2);
    return width_px < 2 ? 2 : width_px;
}

static UfStatus check_width(size_t width_px, UfReport *report)
{
    if (width_px >= 2 && width_px % 2 == 0 && width_px <= UF_PICTURE_MAX_SIDE_PX)
        return UF_OK;
    return uf_fail(report, UF_ERROR_ARGUMENT,
                   "a panorama %zu pixels wide cannot be: the width is even, from 2 to %u", width_px,
                   UF_PICTURE_MAX_SIDE_PX);
}

static UfStatus check_faces(const UfPicture *const faces[UF_FACE_COUNT], UfReport *report)
{
    unsigned first = UF_FACE_COUNT;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        if (faces[f] == NULL)
            continue;
        size_t width_px = uf_picture_width_px(faces[f]);
        size_t height_px = uf_picture_height_px(faces[f]);
        if (width_px != height_px)
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "the %s face is %zu x %zu pixels; a cube face is square", uf_face_name((UfFace)f),
                           width_px, height_px);
        first = first == UF_FACE_COUNT ? f : first;
        size_t first_px = uf_picture_width_px(faces[first]);
        if (width_px != first_px)
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "the %s face is %zu pixels wide and the %s face %zu; all faces must have one size",
                           uf_face_name((UfFace)first), first_px, uf_face_name((UfFace)f), width_px);
    }
    if (first == UF_FACE_COUNT)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no face at all");
    return UF_OK;
}

/* Columns [x0, x0 + width) and rows [y0, y0 + height) of the panorama; columns may run over its right edge.
 */
typedef struct Part {
    size_t x0, y0, width, height;
} Part;

static Part part_of(UfFace face, size_t width_px)
{
    size_t height_px = width_px / 2;
    size_t pole_rows = (size_t)ceil((0.5 - asin(1 / sqrt(3)) / UF_PI) * (double)height_px) + 1;
    pole_rows = pole_rows < height_px ? pole_rows : height_px;
    if (face == UF_FACE_UP)
        return (Part){0, 0, width_px, pole_rows};
    if (face == UF_FACE_DOWN)
        return (Part){0, height_px - pole_rows, width_px, pole_rows};
    /* front right back left lie at 1/2, 3/4, 1, 5/4 of the width */
    size_t eighths = 4 + 2 * (size_t)face;
    size_t x0 = (eighths - 1) * width_px / 8;
    size_t x1 = ((eighths + 1) * width_px + 7) / 8;
    size_t y0 = height_px / 4;
    size_t y1 = (3 * height_px + 3) / 4;
    size_t width = x1 - x0 < width_px ? x1 - x0 : width_px;
    return (Part){x0, y0, width, y1 - y0};
}

typedef struct Compass {
    double *sine, *cosine; /* of the columns' longitudes */
} Compass;

static bool compass_create(size_t width_px, Compass *out)
{
    out->sine = uf_alloc(width_px, sizeof *out->sine);
    out->cosine = uf_alloc(width_px, sizeof *out->cosine);
    if (out->sine == NULL || out->cosine == NULL)
        return false;
    for (size_t x = 0; x < width_px; x++) {
        double lon_rad = (((double)x + 0.5) / (double)width_px - 0.5) * 2 * UF_PI;
        out->sine[x] = sin(lon_rad);
        out->cosine[x] = cos(lon_rad);
    }
    return true;
}

static void compass_clear(Compass *compass)
{
    free(compass->sine);
    free(compass->cosine);
}

/* Those pixels of the part whose direction lies on the face. */
static void take_row(const UfPicture *part, const Part *place, UfFace face, const Compass *compass, size_t y,
                     UfPicture *panorama)
{
    size_t width_px = uf_picture_width_px(panorama);
    size_t pixel_bytes = uf_picture_channels(panorama) * (size_t)uf_picture_sample(panorama);
    double lat_rad = (0.5 - ((double)(place->y0 + y) + 0.5) / (double)(width_px / 2)) * UF_PI;
    double level = cos(lat_rad);
    double up = sin(lat_rad);
    const uint8_t *from = uf_picture_row_const(part, y);
    uint8_t *to = uf_picture_row(panorama, place->y0 + y);
    for (size_t x = 0; x < place->width; x++, from += pixel_bytes) {
        size_t column = (place->x0 + x) % width_px;
        UfPlanePoint point;
        UfDirection at = {level * compass->sine[column], up, level * compass->cosine[column]};
        if (uf_face_of_direction(at, &point) == face)
            memcpy(to + column * pixel_bytes, from, pixel_bytes);
    }
}

static UfStatus take_face(const UfCube *cube, UfFace face, const Compass *compass,
                          const UfRemapOptions *options, UfPicture *panorama, UfReport *report)
{
    Part place = part_of(face, uf_picture_width_px(panorama));
    UfView source = uf_cube_view(cube, face);
    UfView target = uf_view_equirectangular(uf_picture_width_px(panorama));
    target = uf_view_window(&target, place.x0, place.y0, place.width, place.height);
    UfPicture *part = NULL;
    UfStatus status = uf_remap(cube->faces[face], &source, &target, options, &part, report);
    if (status != UF_OK)
        return status;
#pragma omp parallel for num_threads(uf_remap_threads(options)) schedule(static)
    for (size_t y = 0; y < place.height; y++)
        take_row(part, &place, face, compass, y, panorama);
    uf_picture_free(&part);
    return UF_OK;
}

/* What an average over a pixel of the panorama may reach beyond a face's edge. */
static size_t border_for(size_t side_px, size_t width_px)
{
    double scale = UF_PI * (double)side_px / (double)width_px;
    size_t border_px = BORDER_PX + (size_t)ceil(2 * scale);
    size_t most = side_px > BORDER_PX ? side_px : BORDER_PX;
    return border_px < most ? border_px : most;
}

static UfStatus wrap_alike(const UfPicture *const faces[UF_FACE_COUNT], size_t width_px,
                           const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    const UfPicture *any = NULL;
    UfRemapOptions remap = *options;
    remap.rows = NULL;
    UfCube cube = {0};
    Compass compass = {0};
    UfPicture *panorama = NULL;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        any = faces[f] != NULL ? faces[f] : any;
        remap.with_alpha = remap.with_alpha || faces[f] == NULL;
    }
    size_t channels = uf_picture_channels(any);
    channels += remap.with_alpha && channels % 2 == 1 ? 1 : 0;
    UfStatus status = uf_cube_create(faces, border_for(uf_picture_width_px(any), width_px), &cube, report);
    if (status == UF_OK)
        status =
            uf_picture_create(width_px, width_px / 2, channels, uf_picture_sample(any), &panorama, report);
    if (status == UF_OK) {
        UfBlob icc = uf_picture_icc(any);
        status = uf_picture_set_icc(panorama, icc.data, icc.size_bytes, report);
    }
    if (status == UF_OK && !compass_create(width_px, &compass))
        status = uf_fail_memory(report);
    for (unsigned f = 0; f < UF_FACE_COUNT && status == UF_OK; f++)
        if (faces[f] != NULL)
            status = take_face(&cube, (UfFace)f, &compass, &remap, panorama, report);
    uf_cube_clear(&cube);
    compass_clear(&compass);
    if (status == UF_OK)
        *out = panorama;
    else
        uf_picture_free(&panorama);
    return status;
}

static void warn_of_missing(const UfPicture *const faces[UF_FACE_COUNT], UfReport *report)
{
    char names[64] = "";
    size_t count = 0;
    size_t used = 0;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        if (faces[f] == NULL) {
            int wrote = snprintf(names + used, sizeof names - used, "%s%s", count > 0 ? ", " : "",
                                 uf_face_name((UfFace)f));
            used += wrote > 0 ? (size_t)wrote : 0;
            count++;
        }
    if (count > 0)
        uf_warn(report, "%s missing: %s; left transparent", count == 1 ? "a face is" : "faces are", names);
}

UfStatus uf_wrap_faces(const UfPicture *const faces[UF_FACE_COUNT], size_t width_px,
                       const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    const UfRemapOptions defaults = {0};
    UfPicture *alike[UF_FACE_COUNT] = {NULL};
    const UfPicture *ready[UF_FACE_COUNT];
    options = options == NULL ? &defaults : options;
    UfStatus status = check_width(width_px, report);
    if (status == UF_OK)
        status = uf_check_remap_options(options, report);
    if (status == UF_OK)
        status = check_faces(faces, report);
    if (status == UF_OK)
        status = uf_faces_alike(faces, alike, report);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        ready[f] = alike[f] != NULL ? alike[f] : faces[f];
    if (status == UF_OK)
        status = wrap_alike(ready, width_px, options, out, report);
    if (status == UF_OK)
        warn_of_missing(faces, report);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        uf_picture_free(&alike[f]);
    return status;
}

UfStatus uf_wrap_view(const UfPicture *picture, const UfView *view, size_t width_px,
                      const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    UfRemapOptions remap = {0};
    if (options != NULL)
        remap = *options;
    remap.rows = NULL;
    remap.with_alpha = true;
    UfStatus status = check_width(width_px, report);
    if (status != UF_OK)
        return status;
    UfView target = uf_view_equirectangular(width_px);
    UfPicture *panorama = NULL;
    status = uf_remap(picture, view, &target, &remap, &panorama, report);
    if (status != UF_OK)
        return status;
    double unseen = uf_wrap_unseen_percent(panorama);
    if (unseen > 0)
        uf_warn(report, "%.3g %% of the sphere is not in the picture and is left transparent", unseen);
    *out = panorama;
    return UF_OK;
}

/*
 * By their fingerprints where both looked at the same rows, as front, right, back and left do; the other
 * faces can only be told by the panorama's name.
 */
static bool same_panorama(const UfHome *a, const UfHome *b)
{
    if (a->panorama_width_px != b->panorama_width_px)
        return false;
    if (a->first_row_px == b->first_row_px && a->end_row_px == b->end_row_px)
        return uf_fingerprint_same(&a->fingerprint, &b->fingerprint);
    return a->source[0] == '\0' || b->source[0] == '\0' || strcmp(a->source, b->source) == 0;
}

UfStatus uf_wrap_check_homes(const UfHome homes[UF_FACE_COUNT], const bool known[UF_FACE_COUNT],
                             UfReport *report)
{
    const UfHome *first = NULL;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        if (!known[f])
            continue;
        if (homes[f].kind != UF_HOME_FACE)
            return uf_fail(report, UF_ERROR_ARGUMENT, "what is named %s is by its home address a %s, no face",
                           uf_face_name((UfFace)f), uf_home_kind_name(homes[f].kind));
        if (homes[f].face != (UfFace)f)
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "what is named %s is by its home address the %s face; give it that name",
                           uf_face_name((UfFace)f), uf_face_name(homes[f].face));
        if (first != NULL && !same_panorama(first, &homes[f]))
            uf_warn(report, "the %s and the %s face come from different panoramas (%s, %s)",
                    uf_face_name(first->face), uf_face_name((UfFace)f), first->source, homes[f].source);
        first = first == NULL ? &homes[f] : first;
    }
    return UF_OK;
}

UfStatus uf_wrap_dress(UfPicture *panorama, const UfPicture *from, UfReport *report)
{
    UfPhotoSphere sphere = {.present = true, .projection = "equirectangular"};
    sphere.has_full = sphere.has_cropped = true;
    sphere.full_width_px = sphere.cropped_width_px = (long)uf_picture_width_px(panorama);
    sphere.full_height_px = sphere.cropped_height_px = (long)uf_picture_height_px(panorama);
    UfBlob icc = uf_picture_icc(panorama);
    void *profile = uf_duplicate(icc.data, icc.size_bytes);
    if (profile == NULL && icc.size_bytes > 0)
        return uf_fail_memory(report);
    UfStatus status = uf_picture_copy_metadata(from, panorama, report);
    if (status == UF_OK)
        status = uf_picture_set_icc(panorama, profile, icc.size_bytes, report);
    if (status == UF_OK)
        status = uf_picture_drop_photo_sphere(panorama, report);
    if (status == UF_OK)
        status = uf_home_drop(panorama, report);
    if (status == UF_OK)
        status = uf_picture_set_photo_sphere(panorama, &sphere, report);
    free(profile);
    return status;
}

typedef struct Cut {
    size_t side_px, x_px, y_px;
    size_t channels; /* of the face */
} Cut;

static UfStatus check_sheet(const UfPicture *sheet, UfHomeKind kind, Cut *cut, UfReport *report)
{
    size_t across;
    size_t down;
    if (kind != UF_HOME_STRIP && kind != UF_HOME_CROSS)
        return uf_fail(report, UF_ERROR_ARGUMENT, "only a strip or a cross is cut into faces");
    uf_home_sheet_size(kind, &across, &down);
    cut->side_px = uf_picture_width_px(sheet) / across;
    if (cut->side_px == 0 || cut->side_px * across != uf_picture_width_px(sheet) ||
        cut->side_px * down != uf_picture_height_px(sheet))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%zu x %zu pixels are no %s: that is %zu square faces wide and %zu high",
                       uf_picture_width_px(sheet), uf_picture_height_px(sheet), uf_home_kind_name(kind),
                       across, down);
    return UF_OK;
}

static const uint8_t *pixel_of(const UfPicture *sheet, const Cut *cut, size_t x, size_t y)
{
    size_t pixel_bytes = uf_picture_channels(sheet) * (size_t)uf_picture_sample(sheet);
    return (const uint8_t *)uf_picture_row_const(sheet, cut->y_px + y) + (cut->x_px + x) * pixel_bytes;
}

static bool is_opaque(const UfPicture *sheet, const Cut *cut)
{
    static const float one = 1;
    uint8_t whole[sizeof one] = {255, 255, 255, 255};
    size_t sample_bytes = (size_t)uf_picture_sample(sheet);
    size_t alpha_at = (uf_picture_channels(sheet) - 1) * sample_bytes;
    if (uf_picture_sample(sheet) == UF_SAMPLE_F32)
        memcpy(whole, &one, sizeof one);
    for (size_t y = 0; y < cut->side_px; y++)
        for (size_t x = 0; x < cut->side_px; x++)
            if (memcmp(pixel_of(sheet, cut, x, y) + alpha_at, whole, sample_bytes) != 0)
                return false;
    return true;
}

static void copy_face(const UfPicture *sheet, const Cut *cut, UfPicture *out)
{
    size_t pixel_bytes = cut->channels * (size_t)uf_picture_sample(sheet);
    for (size_t y = 0; y < cut->side_px; y++) {
        uint8_t *to = uf_picture_row(out, y);
        for (size_t x = 0; x < cut->side_px; x++)
            memcpy(to + x * pixel_bytes, pixel_of(sheet, cut, x, y), pixel_bytes);
    }
}

UfStatus uf_wrap_cut(const UfPicture *sheet, UfHomeKind kind, UfFace face, UfPicture **out, UfReport *report)
{
    Cut cut = {.channels = uf_picture_channels(sheet)};
    UfPicture *picture = NULL;
    UfStatus status = check_sheet(sheet, kind, &cut, report);
    if (status != UF_OK)
        return status;
    uf_home_sheet_place(kind, face, cut.side_px, &cut.x_px, &cut.y_px);
    if (kind == UF_HOME_CROSS && uf_picture_has_alpha(sheet) && is_opaque(sheet, &cut))
        cut.channels--;
    status =
        uf_picture_create(cut.side_px, cut.side_px, cut.channels, uf_picture_sample(sheet), &picture, report);
    if (status == UF_OK)
        status = uf_picture_copy_metadata(sheet, picture, report);
    if (status == UF_OK) {
        copy_face(sheet, &cut, picture);
        *out = picture;
    } else {
        uf_picture_free(&picture);
    }
    return status;
}

double uf_wrap_unseen_percent(const UfPicture *panorama)
{
    static const uint8_t nothing[sizeof(float)] = {0};
    if (!uf_picture_has_alpha(panorama))
        return 0;
    size_t sample_bytes = (size_t)uf_picture_sample(panorama);
    size_t pixel_bytes = uf_picture_channels(panorama) * sample_bytes;
    size_t width_px = uf_picture_width_px(panorama);
    size_t height_px = uf_picture_height_px(panorama);
    double unseen = 0;
    double all = 0;
    for (size_t y = 0; y < height_px; y++) {
        const uint8_t *alpha =
            (const uint8_t *)uf_picture_row_const(panorama, y) + pixel_bytes - sample_bytes;
        double area = cos((((double)y + 0.5) / (double)height_px - 0.5) * UF_PI);
        size_t count = 0;
        for (size_t x = 0; x < width_px; x++)
            count += memcmp(alpha + x * pixel_bytes, nothing, sample_bytes) == 0;
        unseen += area * (double)count;
        all += area * (double)width_px;
    }
    return 100 * unseen / all;
}
