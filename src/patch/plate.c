/*
 * The plate: registered, matched in colour, sampled once, straight from the photo, and joined to the ring by
 * the harmonic continuation of what still differs at the hole's edge (P. Perez, M. Gangnet, A. Blake, Poisson
 * Image Editing, ACM TOG 22(3), 2003, in its form for differences).
 */
#include "patch/plate.h"

#include <math.h>

#include "base/memory.h"
#include "patch/over.h"
#include "patch/plate_colour.h"
#include "patch/plate_fit.h"
#include "patch/poisson.h"
#include "patch/rows.h"

#define LEAST_SIDE_PX 64u
/* Below this the fill is softer than the panorama around it. */
#define LEAST_SHARPNESS 0.8
/* Less than this of the hole is not worth a photograph. */
#define LEAST_COVER  0.02
#define WORTH_SAYING 0.002
/* A larger difference at the edge is something that only one picture shows. */
#define MOST_EDGE       0.12F
#define EDGE_PX         24 /* seen beside the hole, to compare sharpness */
#define MOST_SHARPENING 1.0
#define EDGE_CYCLES     12
#define PAIR_APART_PX   1.0

static double pair_distance(UfPixelPoint a, UfPixelPoint b)
{
    return hypot(a.x_px - b.x_px, a.y_px - b.y_px);
}

static bool is_inside(UfPixelPoint at, double width, double height)
{
    return at.x_px >= 0 && at.y_px >= 0 && at.x_px <= width && at.y_px <= height;
}

static UfStatus check_pair(const UfPlate *plate, const UfCap *cap, size_t i, UfReport *report)
{
    const UfPointPair *pair = &plate->pairs[i];
    double width = (double)uf_picture_width_px(plate->photo),
           height = (double)uf_picture_height_px(plate->photo);
    if (!is_inside(pair->photo, width, height))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "point pair %zu: %g, %g is not in the photograph, which is %.0f x %.0f", i + 1,
                       pair->photo.x_px, pair->photo.y_px, width, height);
    if (!is_inside(pair->panorama, (double)cap->width_px, (double)cap->height_px))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "point pair %zu: %g, %g is not in the panorama, which is %zu x %zu", i + 1,
                       pair->panorama.x_px, pair->panorama.y_px, cap->width_px, cap->height_px);
    for (size_t k = 0; k < i; k++)
        if (pair_distance(pair->photo, plate->pairs[k].photo) < PAIR_APART_PX ||
            pair_distance(pair->panorama, plate->pairs[k].panorama) < PAIR_APART_PX)
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "point pairs %zu and %zu name the same point; every pair needs a point of its own",
                           k + 1, i + 1);
    return UF_OK;
}

UfStatus uf_plate_check(const UfPlate *plate, const UfCap *cap, UfReport *report)
{
    size_t width = uf_picture_width_px(plate->photo), height = uf_picture_height_px(plate->photo);
    UfStatus status = UF_OK;
    if (width < LEAST_SIDE_PX || height < LEAST_SIDE_PX)
        return uf_fail(report, UF_ERROR_ARGUMENT, "the floor photograph is %zu x %zu: too small to be fitted",
                       width, height);
    if (plate->pair_count > 0 && plate->pair_count < UF_PLATE_LEAST_PAIRS)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%zu point pairs do not say how the photograph lies: give at least %u",
                       plate->pair_count, UF_PLATE_LEAST_PAIRS);
    if (plate->pair_count > UF_PLATE_MOST_PAIRS)
        return uf_fail(report, UF_ERROR_ARGUMENT, "%zu point pairs are more than the %u that are taken",
                       plate->pair_count, UF_PLATE_MOST_PAIRS);
    for (size_t i = 0; status == UF_OK && i < plate->pair_count; i++)
        status = check_pair(plate, cap, i, report);
    return status;
}

/* A piece of the plane that holds hole and edge, the plate on it, and what the ring says at the edge. */
typedef struct Piece {
    UfBox box;
    size_t width, height;
    float *plate;      /* width x height x 4, in canvas values */
    uint8_t *known;    /* the plate is */
    uint8_t *is_open;  /* no difference is known here */
    float *difference; /* width x height x 4 */
    float *nothing;
} Piece;

static void piece_clear(Piece *p)
{
    free(p->plate);
    free(p->known);
    free(p->is_open);
    free(p->difference);
    free(p->nothing);
}

static UfStatus piece_create(const UfCanvas *canvas, Piece *p, UfReport *report)
{
    if (!uf_canvas_hole_box(canvas, EDGE_PX, &p->box))
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is nothing to cover");
    p->width = p->box.x1 - p->box.x0;
    p->height = p->box.y1 - p->box.y0;
    size_t pixels = p->width * p->height;
    p->plate = uf_alloc(pixels, 4 * sizeof *p->plate);
    p->known = uf_alloc(pixels, 1);
    p->is_open = uf_alloc(pixels, 1);
    p->difference = uf_alloc_zero(pixels, 4 * sizeof *p->difference);
    p->nothing = uf_alloc_zero(pixels, 4 * sizeof *p->nothing);
    bool is_whole = p->plate != NULL && p->known != NULL && p->is_open != NULL && p->difference != NULL &&
                    p->nothing != NULL;
    return is_whole ? UF_OK : uf_fail_memory(report);
}

static size_t canvas_index(const UfCanvas *canvas, const Piece *p, size_t i)
{
    return (p->box.y0 + i / p->width) * canvas->width + p->box.x0 + i % p->width;
}

/* The plate on the piece, in the canvas's colours. */
static void sample(const UfPlatePhoto *photo, const UfHomography *to_ray, const UfPlateColour *colour,
                   int threads, Piece *p)
{
    UfHomography corner = uf_homography_scaling(1, (double)p->box.x0, (double)p->box.y0);
    UfHomography map = uf_homography_product(to_ray, &corner);
    uf_plate_photo_warp(photo, &map, p->width, p->height, NULL, threads, p->plate, p->known);
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t y = 0; y < p->height; y++)
        for (size_t x = 0; x < p->width; x++) {
            UfSpot at = {(double)(p->box.x0 + x) + 0.5, (double)(p->box.y0 + y) + 0.5};
            if (p->known[y * p->width + x])
                uf_plate_colour_apply(colour, at, p->plate + 4 * (y * p->width + x));
        }
}

/* Sums over what both show of the Laplacian's squares: of the ring, of the plate, of what softening takes
 * away. */
typedef struct Energies {
    double ring, plate, cross, taken;
} Energies;

static float laplacian(const float *at, size_t stride)
{
    return 4 * at[0] - at[4] - *(at - 4) - at[stride] - *(at - stride);
}

/* The 3 x 3 binomial mean of everything, and 1 where it and a pixel around it are of known pixels. */
static void soften(const Piece *p, float *soft, uint8_t *is_sound)
{
    size_t stride = 4 * p->width;
    memcpy(soft, p->plate, p->height * stride * sizeof *soft);
    memset(is_sound, 0, p->width * p->height);
    for (size_t y = 2; y + 2 < p->height; y++)
        for (size_t x = 2; x + 2 < p->width; x++) {
            size_t i = y * p->width + x;
            bool is_known = true;
            for (size_t k = 0; k < 25; k++)
                is_known = is_known && p->known[i + (k / 5 - 2) * p->width + k % 5 - 2];
            is_sound[i] = is_known;
            const float *v = p->plate + 4 * i;
            for (size_t c = 0; c < 3 && is_known; c++, v++)
                soft[4 * i + c] = (4 * v[0] + 2 * (v[4] + *(v - 4) + v[stride] + *(v - stride)) +
                                   v[stride + 4] + v[stride - 4] + *(v - stride - 4) + *(v - stride + 4)) /
                                  16;
        }
}

static Energies compare(const UfCanvas *canvas, const Piece *p, const float *soft, const uint8_t *is_sound)
{
    Energies e = {0};
    for (size_t y = 1; y + 1 < p->height; y++)
        for (size_t x = 1; x + 1 < p->width; x++) {
            size_t i = y * p->width + x, at = canvas_index(canvas, p, i);
            bool is_ring = is_sound[i] && is_sound[i - 1] && is_sound[i + 1] && is_sound[i - p->width] &&
                           is_sound[i + p->width];
            const size_t around[5] = {at, at - 1, at + 1, at - canvas->width, at + canvas->width};
            for (size_t k = 0; k < 5 && is_ring; k++)
                is_ring = canvas->cell[around[k]] == UF_CELL_SOURCE;
            for (size_t c = 0; c < 3 && is_ring; c++) {
                double ring = (double)laplacian(canvas->value + 4 * at + c, 4 * canvas->width);
                double plate = (double)laplacian(p->plate + 4 * i + c, 4 * p->width);
                double taken = plate - (double)laplacian(soft + 4 * i + c, 4 * p->width);
                e.ring += ring * ring;
                e.plate += plate * plate;
                e.cross += plate * taken;
                e.taken += taken * taken;
            }
        }
    return e;
}

/*
 * As sharp and as grainy as the ring: the plate P becomes P - b (P - B P) with the b at which both have the
 * same detail where both are seen; b below 0 sharpens.
 */
static UfStatus match_detail(const UfCanvas *canvas, Piece *p, UfReport *report)
{
    size_t pixels = p->width * p->height;
    float *soft = uf_alloc(pixels, 4 * sizeof *soft);
    uint8_t *is_sound = uf_alloc(pixels, 1);
    UfStatus status = soft == NULL || is_sound == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK) {
        soften(p, soft, is_sound);
        Energies e = compare(canvas, p, soft, is_sound);
        double root = e.cross * e.cross - e.taken * (e.plate - e.ring);
        double amount = e.taken > 0 ? (e.cross - sqrt(fmax(root, 0))) / e.taken : 0;
        float b = (float)fmax(-MOST_SHARPENING, fmin(amount, 1));
        for (size_t i = 0; i < pixels; i++)
            for (size_t c = 0; c < 3 && is_sound[i]; c++)
                p->plate[4 * i + c] -= b * (p->plate[4 * i + c] - soft[4 * i + c]);
    }
    free(soft);
    free(is_sound);
    return status;
}

/* What the ring has and the plate has not, where both are seen and are of one thing. */
static void differ(const UfCanvas *canvas, Piece *p)
{
    for (size_t i = 0; i < p->width * p->height; i++) {
        size_t at = canvas_index(canvas, p, i);
        p->is_open[i] = !p->known[i] || canvas->cell[at] != UF_CELL_SOURCE;
        for (size_t c = 0; c < 3 && !p->is_open[i]; c++) {
            p->difference[4 * i + c] = canvas->value[4 * at + c] - p->plate[4 * i + c];
            p->is_open[i] |= fabsf(p->difference[4 * i + c]) > MOST_EDGE;
        }
        for (size_t c = 0; c < 3 && p->is_open[i]; c++)
            p->difference[4 * i + c] = 0;
    }
}

static UfStatus join(const UfCanvas *canvas, int threads, Piece *p, UfReport *report)
{
    differ(canvas, p);
    return uf_poisson_solve(p->width, p->height, p->is_open, p->difference, p->nothing, EDGE_CYCLES, threads,
                            report);
}

/* The hole's pixels that the plate shows become sources; the share of them. */
static double lay(UfCanvas *canvas, const Piece *p)
{
    double hole = 0, laid = 0;
    for (size_t i = 0; i < p->width * p->height; i++) {
        size_t at = canvas_index(canvas, p, i);
        if (canvas->cell[at] != UF_CELL_HOLE)
            continue;
        hole++;
        if (!p->known[i])
            continue;
        laid++;
        canvas->cell[at] = UF_CELL_SOURCE;
        for (size_t c = 0; c < 3; c++)
            canvas->value[4 * at + c] = p->plate[4 * i + c] + p->difference[4 * i + c];
    }
    return hole > 0 ? laid / hole : 0;
}

static double known_share(const UfCanvas *canvas, const Piece *p)
{
    double hole = 0, known = 0;
    for (size_t i = 0; i < p->width * p->height; i++)
        if (canvas->cell[canvas_index(canvas, p, i)] == UF_CELL_HOLE) {
            hole++;
            known += p->known[i];
        }
    return hole > 0 ? known / hole : 0;
}

/* Mean over the hole of how many of the photo's pixels a pixel of the plane has along a side. */
static double sharpness(const UfPlatePhoto *photo, const UfHomography *to_ray, const Piece *p)
{
    double sum = 0, count = 0;
    for (int k = 0; k < 256; k++) {
        UfSpot at = {(double)p->box.x0 + (double)p->width * (k % 16 + 0.5) / 16,
                     (double)p->box.y0 + (double)p->height * (k / 16 + 0.5) / 16};
        double scale = uf_plate_photo_scale(photo, to_ray, at);
        sum += scale;
        count += scale > 0;
    }
    return count > 0 ? sum / count : 0;
}

static void warn(const UfPlateFit *fit, UfReport *report)
{
    if (1 - fit->cover > WORTH_SAYING)
        uf_warn(report,
                "the floor photograph does not show %.1f percent of what has to be covered; that part was "
                "rebuilt "
                "from the floor around it",
                100 * (1 - fit->cover));
    if (fit->sharpness < LEAST_SHARPNESS)
        uf_warn(report,
                "the floor photograph is coarser than the panorama (%.2f of its pixels to one): the covered "
                "part is "
                "softer than the floor around it",
                fit->sharpness);
}

static UfStatus lay_matched(const UfCap *cap, const UfPlatePhoto *photo, const UfHomography *to_ray,
                            const UfPlateColour *colour, UfFloorPlane *plane, UfPlateFit *fit,
                            UfReport *report)
{
    Piece piece = {.width = 0};
    UfStatus status = piece_create(&plane->canvas, &piece, report);
    if (status != UF_OK)
        goto cleanup;
    sample(photo, to_ray, colour, cap->threads, &piece);
    if (known_share(&plane->canvas, &piece) < LEAST_COVER) {
        status = uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the floor photograph does not show the floor that has to be covered: aim it at the place "
            "where the tripod stood");
        goto cleanup;
    }
    if ((status = match_detail(&plane->canvas, &piece, report)) != UF_OK)
        goto cleanup;
    if ((status = join(&plane->canvas, cap->threads, &piece, report)) != UF_OK)
        goto cleanup;
    fit->sharpness = sharpness(photo, to_ray, &piece);
    fit->cover = lay(&plane->canvas, &piece);
    warn(fit, report);
cleanup:
    piece_clear(&piece);
    return status;
}

UfStatus uf_plate_lay(const UfPicture *panorama, const UfCap *cap, const UfPlate *plate, UfFloorPlane *plane,
                      UfPlateFit *fit, UfReport *report)
{
    UfPicture *picture = NULL;
    UfTransfer *transfer = NULL;
    UfPlatePhoto photo;
    UfPlateColour colour = {.rest = NULL};
    UfHomography to_ray;
    UfPlateFit found = {0};
    size_t channels = uf_colour_channels(panorama);
    UfStatus status = uf_logo_colours(plate->photo, panorama, &picture, report);
    if (status != UF_OK || (status = uf_transfer_create(panorama, &transfer, report)) != UF_OK ||
        (status = uf_plate_photo_create(picture, transfer, plate->camera, &photo, report)) != UF_OK ||
        (plate->camera == NULL &&
         (status = uf_plate_photo_read_angle(plate->photo, &photo, report)) != UF_OK) ||
        (status = uf_plate_fit(plane, cap, &photo, plate, channels, &to_ray, &found, report)) != UF_OK ||
        (status = uf_plate_colour_match(plane, &photo, channels, &to_ray, cap->threads, &colour,
                                        &found.tone_rms, report)) != UF_OK ||
        (status = lay_matched(cap, &photo, &to_ray, &colour, plane, &found, report)) != UF_OK)
        goto cleanup;
    *fit = found;
cleanup:
    uf_plate_colour_clear(&colour);
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
    return status;
}
