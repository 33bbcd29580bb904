/*
 * Registration: features propose, intensities refine and judge.
 *
 * The guesses of uf_plate_match (or the person's point pairs) are refined coarse to fine on intensities; the
 * one whose detail correlates best with the ring's wins. Floors repeat themselves, so the winner has to stand
 * against rivals: the photo turned by the angles at which tiles look the same, at every shift
 * (uf_plate_rivals), the best of them refined in turn. When a rival explains the ring nearly as well, the
 * floor does not say how the photo lies, and it is refused.
 */
#include "patch/plate_fit.h"

#include <math.h>

#include "base/memory.h"
#include "patch/plate_align.h"
#include "patch/plate_levels.h"
#include "patch/plate_match.h"
#include "patch/plate_rivals.h"

#define MOST_FEATURES     1600u
#define DOUBLE_BELOW      500u  /* smaller floors are doubled for features */
#define ALIGN_SIDE        2200u /* the finest refinement happens on no more */
#define ALIGN_PASSES      3
#define RIVAL_SIDE        420u
#define RIVAL_APART_PX    10.0
#define RIVALS            5
#define WORTH_REFINING    0.3 /* of the winner's correlation */
#define LEAST_CORRELATION 0.40
/* With a winner like this, guesses of half as many features are not tried. */
#define SURE          0.8
#define LEAST_OVERLAP 0.15
#define MOST_SHIFT_PX 1.5
/* A rival must leave this many times as much unexplained. */
#define CLEAR_FACTOR 1.35
#define PIECE_PX     24
#define PIECE_REACH  4

typedef struct Candidate {
    UfHomography to_ray; /* from the plane's pixels */
    double correlation, overlap;
    size_t matches, inliers;
    double inlier_rms_px;
} Candidate;

typedef struct Fitter {
    UfPlateLevels levels;
    UfGrey ring; /* detail of the floor at the work level */
    size_t ring_pixels;
} Fitter;

/* Correlation and overlap of a candidate at the work level. */
static UfStatus judge(const Fitter *f, Candidate *candidate, UfReport *report)
{
    UfGrey moved = {0};
    size_t count = 0;
    UfStatus status =
        uf_plate_photo_detail(&f->levels, f->levels.work, 0, &candidate->to_ray, false, &moved, report);
    if (status == UF_OK) {
        candidate->correlation = uf_plate_correlation(&f->ring, &moved, &count);
        candidate->overlap = (double)count / (double)(f->ring_pixels > 0 ? f->ring_pixels : 1);
        if (candidate->overlap < LEAST_OVERLAP / 2)
            candidate->correlation = 0;
    }
    uf_grey_clear(&moved);
    return status;
}

/* Refines at one level until nothing moves any more. */
static UfStatus refine_level(const UfPlateLevels *levels, size_t level, int passes, bool is_sharp,
                             UfHomography *to_ray, UfReport *report)
{
    UfGrey still = {0};
    UfStatus status = uf_plate_floor_detail(levels, level, &still, report);
    UfHomography grid = uf_plate_level_to_plane(level), back = {{{0}}};
    uf_homography_inverse(&grid, &back);
    for (int k = 0; status == UF_OK && k < passes; k++) {
        UfGrey moved = {0};
        UfHomography step;
        double step_px = 0;
        status = uf_plate_photo_detail(levels, level, 0, to_ray, is_sharp, &moved, report);
        bool moves = status == UF_OK && uf_plate_align(&still, &moved, levels->threads, &step, &step_px);
        if (moves) {
            step = uf_homography_product(&step, &back);
            step = uf_homography_product(&grid, &step);
            *to_ray = uf_homography_product(to_ray, &step);
        }
        uf_grey_clear(&moved);
        if (!moves || step_px < 0.03)
            break;
    }
    uf_grey_clear(&still);
    return status;
}

/* Coarse to fine up to the work level; keeps the better of before and after. */
static UfStatus refine(const Fitter *f, size_t coarser, Candidate *candidate, UfReport *report)
{
    Candidate refined = *candidate;
    size_t from = f->levels.work + coarser;
    if (from >= f->levels.floor_count)
        from = f->levels.floor_count - 1;
    UfStatus status = UF_OK;
    for (size_t level = from + 1; status == UF_OK && level-- > f->levels.work;)
        status = refine_level(&f->levels, level, ALIGN_PASSES, false, &refined.to_ray, report);
    if (status == UF_OK)
        status = judge(f, candidate, report);
    if (status == UF_OK)
        status = judge(f, &refined, report);
    if (status == UF_OK && refined.correlation > candidate->correlation)
        *candidate = refined;
    return status;
}

static UfStatus find_guesses(const Fitter *f, UfPlateGuess guesses[UF_PLATE_MOST_GUESSES], size_t *count,
                             UfReport *report)
{
    const UfPlateLevels *l = &f->levels;
    UfFeature *floor = NULL, *photo = NULL;
    size_t floor_count = 0, photo_count = 0;
    const UfGrey *ground = &l->floor[l->work];
    UfStatus status = uf_features_find(ground, uf_grey_side(ground) < DOUBLE_BELOW, MOST_FEATURES, l->threads,
                                       &floor, &floor_count, report);
    if (status == UF_OK)
        status = uf_features_find(&l->shot[0], uf_grey_side(&l->shot[0]) < DOUBLE_BELOW, MOST_FEATURES,
                                  l->threads, &photo, &photo_count, report);
    if (status == UF_OK)
        status = uf_plate_match(floor, floor_count, photo, photo_count, l->threads, guesses, count, report);
    free(floor);
    free(photo);
    return status;
}

/* The best of the features' guesses; its correlation is 0 when there is none. */
static UfStatus elect(const Fitter *f, Candidate *out, UfReport *report)
{
    UfPlateGuess guesses[UF_PLATE_MOST_GUESSES];
    UfHomography back, grid = uf_plate_level_to_plane(f->levels.work);
    size_t count = 0;
    UfStatus status = find_guesses(f, guesses, &count, report);
    if (!uf_homography_inverse(&grid, &back))
        return status;
    for (size_t i = 0; status == UF_OK && i < count; i++) {
        if (out->correlation > SURE && 2 * guesses[i].inliers < out->inliers)
            continue;
        UfHomography map = uf_homography_product(&guesses[i].to_photo, &back);
        Candidate one = {.to_ray = uf_homography_product(&f->levels.shot_to_ray, &map),
                         .matches = guesses[i].matches,
                         .inliers = guesses[i].inliers,
                         .inlier_rms_px = ldexp(guesses[i].rms_px, (int)f->levels.work)};
        status = refine(f, 1, &one, report);
        if (status == UF_OK && (i == 0 || one.correlation > out->correlation))
            *out = one;
    }
    return status;
}

/* The plane's pixel at a pixel of the panorama; false beside the plane's half of the sphere. */
static bool plane_pixel(const UfFloorPlane *plane, const UfCap *cap, UfPixelPoint pixel, UfSpot *out)
{
    UfView whole = uf_view_equirectangular(cap->width_px);
    UfDirection direction;
    UfPixelPoint at;
    if (!uf_view_direction(&whole, pixel, &direction) || !uf_view_pixel(&plane->view, direction, &at))
        return false;
    *out = (UfSpot){at.x_px, at.y_px};
    return true;
}

/* The points of a pair in the plane and as a ray. */
static UfStatus place_pair(const UfFloorPlane *plane, const UfCap *cap, const UfPlatePhoto *photo,
                           const UfPointPair *pair, size_t number, UfSpot *from, UfSpot *to, UfReport *report)
{
    if (!plane_pixel(plane, cap, pair->panorama, from))
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "point pair %zu: %g, %g in the panorama is not on the floor (or the ceiling) that is covered",
            number, pair->panorama.x_px, pair->panorama.y_px);
    if (!uf_plate_photo_ray(photo, (UfSpot){pair->photo.x_px, pair->photo.y_px}, to))
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "point pair %zu: %g, %g in the photograph lies outside what its lens shows, or too far out",
            number, pair->photo.x_px, pair->photo.y_px);
    return UF_OK;
}

/* Root of the mean square of what the pairs miss each other by, in the plane's pixels; *worst is the worst
 * one's number. */
static double pairs_miss(const UfSpot *from, const UfSpot *to, size_t count, const UfHomography *h,
                         size_t *worst)
{
    double sum = 0, most = -1;
    for (size_t i = 0; i < count; i++) {
        UfSpot at;
        double off = INFINITY;
        if (uf_homography_apply(h, from[i], &at))
            off = hypot(at.x - to[i].x, at.y - to[i].y) / sqrt(fabs(uf_homography_area(h, from[i])));
        sum += off * off;
        if (off > most) {
            most = off;
            *worst = i + 1;
        }
    }
    return sqrt(sum / (double)count);
}

static UfStatus from_pairs(const UfFloorPlane *plane, const UfCap *cap, const UfPlatePhoto *photo,
                           const UfPlate *plate, Candidate *out, UfReport *report)
{
    UfSpot *from = uf_alloc(plate->pair_count, sizeof *from), *to = uf_alloc(plate->pair_count, sizeof *to);
    UfStatus status = from == NULL || to == NULL ? uf_fail_memory(report) : UF_OK;
    size_t worst = 0;
    for (size_t i = 0; status == UF_OK && i < plate->pair_count; i++)
        status = place_pair(plane, cap, photo, &plate->pairs[i], i + 1, &from[i], &to[i], report);
    if (status == UF_OK && !uf_homography_fit(from, to, plate->pair_count, &out->to_ray))
        status =
            uf_fail(report, UF_ERROR_ARGUMENT,
                    "the point pairs do not say how the photograph lies: no three of four points may lie on "
                    "a line; spread them over the floor all round the cap");
    for (size_t i = 0; status == UF_OK && i < plate->pair_count; i++)
        if (!(uf_homography_area(&out->to_ray, from[i]) > 0))
            status = uf_fail(report, UF_ERROR_ARGUMENT,
                             "the point pairs would mirror the floor: are two of them swapped?");
    if (status == UF_OK) {
        out->inlier_rms_px = pairs_miss(from, to, plate->pair_count, &out->to_ray, &worst);
        out->inliers = plate->pair_count;
        if (out->inlier_rms_px > 0.025 * (double)plane->canvas.width)
            status =
                uf_fail(report, UF_ERROR_UNCLEAR,
                        "the point pairs contradict each other by %.1f pixels (rms); pair %zu fits worst: is "
                        "it the same point of the floor in both pictures?",
                        out->inlier_rms_px, worst);
    }
    free(from);
    free(to);
    return status;
}

/* The plane turned about its middle. */
static UfHomography turned(const UfFloorPlane *plane, double angle)
{
    double c = cos(angle), s = sin(angle);
    double cx = (double)plane->canvas.width / 2, cy = (double)plane->canvas.height / 2;
    return (UfHomography){{{c, -s, cx - c * cx + s * cy}, {s, c, cy - s * cx - c * cy}, {0, 0, 1}}};
}

typedef struct Place {
    UfHomography to_ray;
    double correlation;
} Place;

/* The places that one turn of the photo offers, put among the best so far. */
static UfStatus try_turn(const Fitter *f, const Candidate *best, double angle, size_t level,
                         const UfGrey *still, Place places[RIVALS], UfReport *report)
{
    UfGrey moved = {0};
    UfRival peaks[RIVALS];
    size_t count = 0, margin = uf_grey_side(still) / 2;
    UfHomography turn = turned(f->levels.plane, angle);
    UfHomography map = uf_homography_product(&best->to_ray, &turn);
    UfStatus status = uf_plate_photo_detail(&f->levels, level, margin, &map, false, &moved, report);
    size_t least = (size_t)(0.4 * best->overlap * (double)f->ring_pixels *
                            pow(0.25, (double)level - (double)f->levels.work));
    if (status == UF_OK)
        status = uf_plate_rivals(still, &moved, RIVAL_APART_PX, fabs(angle) < 1e-9, least, peaks, RIVALS,
                                 &count, report);
    uf_grey_clear(&moved);
    for (size_t i = 0; status == UF_OK && i < count; i++) {
        double pixel = ldexp(1, (int)level);
        UfHomography shift = uf_homography_scaling(1, pixel * peaks[i].dx, pixel * peaks[i].dy);
        Place one = {uf_homography_product(&map, &shift), peaks[i].correlation};
        for (size_t k = 0; k < RIVALS; k++)
            if (one.correlation > places[k].correlation) {
                Place keep = places[k];
                places[k] = one;
                one = keep;
            }
    }
    return status;
}

/* Is it the same place after all? A rival may have been refined back to the winner's. */
static bool is_same_place(const Fitter *f, const Candidate *a, const Candidate *b)
{
    const UfCanvas *canvas = &f->levels.plane->canvas;
    double most = 0;
    for (int k = 0; k < 4; k++) {
        UfSpot at = {(double)canvas->width * (k & 1 ? 0.75 : 0.25),
                     (double)canvas->height * (k & 2 ? 0.75 : 0.25)};
        UfSpot p, q;
        if (!uf_homography_apply(&a->to_ray, at, &p) || !uf_homography_apply(&b->to_ray, at, &q))
            return false;
        most = fmax(most, hypot(p.x - q.x, p.y - q.y) / sqrt(fabs(uf_homography_area(&a->to_ray, at))));
    }
    return most < ldexp(RIVAL_APART_PX / 2, (int)f->levels.work);
}

/* The best other way to lay the photo. */
static UfStatus find_rival(const Fitter *f, const Candidate *best, Candidate *rival, UfReport *report)
{
    static const double turns_deg[] = {0, 90, 180, 270, 60, 120, 240, 300};
    Place places[RIVALS] = {{.correlation = 0}};
    size_t level = f->levels.work;
    while (level + 1 < f->levels.floor_count && uf_grey_side(&f->levels.floor[level]) > RIVAL_SIDE)
        level++;
    UfGrey still = {0};
    UfStatus status = uf_plate_floor_detail(&f->levels, level, &still, report);
    for (size_t i = 0; status == UF_OK && i < sizeof turns_deg / sizeof *turns_deg; i++)
        status = try_turn(f, best, uf_radians(turns_deg[i]), level, &still, places, report);
    *rival = (Candidate){.correlation = 0};
    for (size_t i = 0; status == UF_OK && i < RIVALS; i++) {
        if (places[i].correlation < WORTH_REFINING * best->correlation)
            continue;
        Candidate one = {.to_ray = places[i].to_ray};
        status = refine(f, level - f->levels.work, &one, report);
        if (status == UF_OK && one.correlation > rival->correlation && !is_same_place(f, best, &one))
            *rival = one;
    }
    uf_grey_clear(&still);
    return status;
}

/* The winner against the rivals; a better rival takes its place, once. */
static UfStatus stand_against_rivals(const Fitter *f, Candidate *best, UfPlateFit *fit, UfReport *report)
{
    Candidate rival;
    UfStatus status = find_rival(f, best, &rival, report);
    if (status == UF_OK && rival.correlation > best->correlation) {
        *best = rival;
        status = find_rival(f, best, &rival, report);
    }
    fit->rival = rival.correlation;
    return status;
}

/* On the finest level that is not too large, from the photo itself. */
static UfStatus finish(Fitter *f, Candidate *best, UfPlateFit *fit, UfReport *report)
{
    const UfPlateLevels *l = &f->levels;
    UfGrey still = {0}, moved = {0};
    UfHomography before = best->to_ray;
    size_t level = 0, count;
    while (level < l->work && uf_grey_side(&l->floor[level]) > ALIGN_SIDE)
        level++;
    UfStatus status = refine_level(l, level, 2, true, &best->to_ray, report);
    if (status == UF_OK)
        status = uf_plate_floor_detail(l, level, &still, report);
    for (int k = 0; status == UF_OK && k < 2; k++) {
        UfHomography map = k == 0 ? best->to_ray : before;
        status = uf_plate_photo_detail(l, level, 0, &map, true, &moved, report);
        if (status != UF_OK)
            break;
        double correlation = uf_plate_correlation(&still, &moved, &count);
        if (k == 0 || correlation > fit->correlation) {
            double shifts = uf_plate_shifts(&still, &moved, PIECE_PX, PIECE_REACH, l->threads);
            fit->correlation = correlation;
            fit->shift_rms_px = shifts < 0 ? shifts : ldexp(shifts, (int)level);
            best->to_ray = map;
        }
        uf_grey_clear(&moved);
    }
    uf_grey_clear(&still);
    uf_grey_clear(&moved);
    return status;
}

static UfStatus accept(const UfPlateFit *fit, bool has_pairs, UfReport *report)
{
    const char *remedy = has_pairs
                             ? "check the points, or take another photograph"
                             : "point pairs can help (--plate-points), or another photograph that shows the "
                               "floor around the tripod's place";
    if (fit->overlap < LEAST_OVERLAP)
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the floor photograph shows only %.0f percent of the ring around the cap, and %.0f are needed "
            "to fit it: take it from farther away, or with a shorter lens",
            100 * fit->overlap, 100 * LEAST_OVERLAP);
    if (fit->correlation < LEAST_CORRELATION || fit->shift_rms_px < 0)
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the floor photograph does not fit the floor around the cap: correlation %.2f of at least "
            "%.2f, %zu of %zu features agree; %s",
            fit->correlation, LEAST_CORRELATION, fit->inliers, fit->matches, remedy);
    if (!has_pairs && 1 - fit->rival < CLEAR_FACTOR * (1 - fit->correlation))
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the floor repeats itself: the photograph fits in more than one place (correlation %.3f and "
            "%.3f); say which with point pairs (--plate-points)",
            fit->correlation, fit->rival);
    if (fit->shift_rms_px > MOST_SHIFT_PX)
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the floor photograph fits the floor around the cap only to %.1f pixels, and %.1f is the most "
            "(correlation %.2f): is the floor flat, and is the lens as the rig file says? %s",
            fit->shift_rms_px, MOST_SHIFT_PX, fit->correlation, remedy);
    return UF_OK;
}

static UfStatus start(Fitter *f, const UfFloorPlane *plane, const UfCap *cap, const UfPlatePhoto *photo,
                      size_t channels, UfReport *report)
{
    UfStatus status = uf_plate_levels_create(plane, photo, channels, cap->threads, &f->levels, report);
    if (status == UF_OK)
        status = uf_plate_floor_detail(&f->levels, f->levels.work, &f->ring, report);
    for (size_t i = 0; status == UF_OK && i < f->ring.width * f->ring.height; i++)
        f->ring_pixels += f->ring.known[i];
    return status;
}

UfStatus uf_plate_fit(const UfFloorPlane *plane, const UfCap *cap, const UfPlatePhoto *photo,
                      const UfPlate *plate, size_t channels, UfHomography *to_ray, UfPlateFit *fit,
                      UfReport *report)
{
    Fitter f = {.ring_pixels = 0};
    Candidate best = {.correlation = 0};
    UfPlateFit found = {0};
    bool has_pairs = plate->pair_count > 0;
    UfStatus status = start(&f, plane, cap, photo, channels, report);
    if (status != UF_OK)
        goto cleanup;
    if (has_pairs) {
        if ((status = from_pairs(plane, cap, photo, plate, &best, report)) == UF_OK)
            status = refine(&f, 2, &best, report);
    } else if ((status = elect(&f, &best, report)) == UF_OK && best.correlation > 0) {
        status = stand_against_rivals(&f, &best, &found, report);
    }
    found.matches = best.matches;
    found.inliers = best.inliers;
    found.inlier_rms_px = best.inlier_rms_px;
    found.overlap = best.overlap;
    if (status == UF_OK && best.correlation <= 0)
        status = uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the floor photograph and the floor around the cap have no features in common; point pairs "
            "can help (--plate-points), if it is the same floor");
    if (status == UF_OK)
        status = finish(&f, &best, &found, report);
    if (status == UF_OK)
        status = accept(&found, has_pairs, report);
    if (status == UF_OK) {
        *to_ray = best.to_ray;
        *fit = found;
    }
cleanup:
    uf_plate_levels_clear(&f.levels);
    uf_grey_clear(&f.ring);
    return status;
}
