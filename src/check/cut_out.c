/*
 * Holes: connected areas without picture.
 *
 * Transparent  alpha is 0.
 * Black        every colour sample is at most BLACK_LEVEL, and the pixel equals its four neighbours exactly:
 * that is what a cut-out looks like, also after JPEG, whose blocks inside it all come out as one value.
 * Sensors and skies have noise and fail the equality. Flat         the same with the colour that fills a
 * pole's row, only about a pole. Pure white counts at the nadir only: overhead it is an overexposed sky.
 *
 * A black or flat core is then grown through pixels that are nearly its colour, because JPEG's blocks along
 * the edge are disturbed. What is left must look like a cut-out: its edge is hard (beyond it the picture
 * differs at once), its outline is simple, and deep inside it there is no texture. The thresholds were set on
 * the pictures of Debian's xplanet-images, whose polar ice is pure white and whose night side is black, and
 * on caps painted on them and saved as JPEG of quality 75 to 95; there is no published source for them.
 */
#include "check/cut_out.h"

#define BLACK_LEVEL            2.0
#define TRANSPARENT_LEAST_PX   16
#define TRANSPARENT_LEAST_AREA 4.0  /* pixels at the equator */
#define BLACK_LEAST_SHARE      5e-5 /* of the sphere, about a pole: a cap of 0.8 degrees */
#define BLACK_LEAST_AWAY       3e-3 /* elsewhere: 6.3 degrees */
#define BLACK_LEAST_HARD       0.7
#define BLACK_LEAST_ROUND      0.03 /* a disc with three tripod legs has about 0.1 */
#define BLACK_LEAST_ROUND_AWAY 0.15
#define FLAT_LEAST_HARD        0.9
#define FLAT_LEAST_DEG         2.0
#define FLAT_MOST_DEG          45.0
#define FLAT_LEAST_ROUND                                                                                     \
    0.85 /* smallest over largest distance of the edge from the pole; a square has 0.71 */
#define MOST_TEXTURE   0.005
#define MOST_SHARE     0.75
#define POLE_ROW_LEAST 0.9
#define WHITE_LEVEL    254.0

/*
 * How far an edge can be disturbed: 16 pixels of a 4:2:0 block and the upsampling's one, or an antialiased
 * edge; and by how many levels, or by which share of the step to what lies beyond.
 */
#define GROW_STEPS_LOSSY 17
#define GROW_STEPS_EDGE  ((size_t)2)
#define GROW_LEVEL       16.0
#define GROW_EDGE_SHARE  0.5
#define OPAQUE_LEVEL     254.9
#define DEEP_PX          18

const uint8_t uf_black_pixel[4 * sizeof(float)];

static bool is_dark(const UfPixels *pixels, const uint8_t *pixel)
{
    for (size_t k = 0; k < pixels->colours; k++)
        if (!(uf_level(pixels, pixel, k) <= BLACK_LEVEL))
            return false;
    return true;
}

static bool equals_neighbours(const UfPixels *pixels, const uint8_t *pixel, size_t x_px, size_t y_px)
{
    size_t width = pixels->width_px;
    return uf_same_colour(pixels, pixel, uf_pixel_at(pixels, (x_px + 1) % width, y_px)) &&
           uf_same_colour(pixels, pixel, uf_pixel_at(pixels, (x_px + width - 1) % width, y_px)) &&
           (y_px == 0 || uf_same_colour(pixels, pixel, uf_pixel_at(pixels, x_px, y_px - 1))) &&
           (y_px + 1 == pixels->height_px ||
            uf_same_colour(pixels, pixel, uf_pixel_at(pixels, x_px, y_px + 1)));
}

static bool is_core(const UfSearch *search, size_t x_px, size_t y_px)
{
    const UfPixels *pixels = &search->pixels;
    const uint8_t *pixel = uf_pixel_at(pixels, x_px, y_px);
    switch (search->kind) {
    case UF_HOLE_TRANSPARENT:
        return uf_is_transparent(pixels, pixel);
    case UF_HOLE_BLACK:
        return is_dark(pixels, pixel) && !uf_is_transparent(pixels, pixel) &&
               equals_neighbours(pixels, pixel, x_px, y_px);
    case UF_HOLE_FLAT:
    default:
        return uf_same_colour(pixels, pixel, search->fill) && !uf_is_transparent(pixels, pixel) &&
               equals_neighbours(pixels, pixel, x_px, y_px);
    }
}

void uf_search_mark(const UfSearch *search, size_t first_row_px, size_t last_row_px, UfMask *core)
{
    const bool is_worth_threads = (last_row_px - first_row_px) * search->pixels.width_px > 1000000;
#pragma omp parallel for schedule(static) if (is_worth_threads)
    for (size_t y = first_row_px; y < last_row_px; y++)
        for (size_t x = 0; x < search->pixels.width_px; x++)
            if (is_core(search, x, y))
                uf_mask_set_bit(core, x, y);
    core->first_row_px = first_row_px;
    core->last_row_px = last_row_px;
}

/* How far a pixel is from what fills the hole, in levels of 255: of colour, or of alpha. */
static double step_from_fill(const void *context, size_t x_px, size_t y_px)
{
    const UfSearch *search = context;
    const uint8_t *pixel = uf_pixel_at(&search->pixels, x_px, y_px);
    if (search->kind == UF_HOLE_TRANSPARENT)
        return uf_alpha_level(&search->pixels, pixel);
    return uf_is_transparent(&search->pixels, pixel)
               ? 255
               : uf_level_difference(&search->pixels, pixel, search->fill);
}

/* The same of luma alone (Rec. ITU-R BT.601-7): JPEG's colour is blurred over an edge, its luma is not. */
static double luma_step(const void *context, size_t x_px, size_t y_px)
{
    static const double weights[3] = {0.299, 0.587, 0.114};
    const UfSearch *search = context;
    const UfPixels *pixels = &search->pixels;
    const uint8_t *pixel = uf_pixel_at(pixels, x_px, y_px);
    if (pixels->colours != 3 || uf_is_transparent(pixels, pixel))
        return step_from_fill(context, x_px, y_px);
    double step = 0;
    for (size_t k = 0; k < 3; k++)
        step += weights[k] * (uf_level(pixels, pixel, k) - uf_level(pixels, search->fill, k));
    return fabs(step);
}

/* The largest step about a pixel: what lies beyond an edge that is blurred over a few pixels. */
static double step_nearby(const void *context, size_t x_px, size_t y_px)
{
    const UfSearch *search = context;
    size_t width = search->pixels.width_px, height = search->pixels.height_px;
    size_t first = y_px < GROW_STEPS_EDGE ? 0 : y_px - GROW_STEPS_EDGE;
    size_t last = y_px + GROW_STEPS_EDGE < height ? y_px + GROW_STEPS_EDGE : height - 1;
    double largest = 0;
    for (size_t y = first; y <= last; y++)
        for (size_t i = 0; i <= 2 * GROW_STEPS_EDGE; i++)
            largest = fmax(largest, luma_step(context, (x_px + i + width - GROW_STEPS_EDGE) % width, y));
    return largest;
}

static bool is_near_fill(const void *context, size_t x_px, size_t y_px)
{
    const UfSearch *search = context;
    return step_from_fill(context, x_px, y_px) <= search->tolerance;
}

/* Nearer to the fill than to what lies beyond. */
static bool is_near_edge(const void *context, size_t x_px, size_t y_px)
{
    return luma_step(context, x_px, y_px) <= GROW_EDGE_SHARE * step_nearby(context, x_px, y_px);
}

/*
 * Takes in the pixels that the edge has disturbed: in 8-bit pictures those close to the fill within reach of
 * a JPEG block, then in all the mixed pixels of the edge itself. A transparent hole takes its antialiased
 * edge.
 */
static UfStatus grow_and_measure(UfSearch *search, UfMask *area, UfAreaShape *shape, UfReport *report)
{
    bool is_transparent = search->kind == UF_HOLE_TRANSPARENT;
    UfStatus status = UF_OK;
    search->tolerance = is_transparent ? OPAQUE_LEVEL : GROW_LEVEL;
    if (!is_transparent && search->pixels.sample == UF_SAMPLE_U8)
        status = uf_mask_grow(area, GROW_STEPS_LOSSY, is_near_fill, search, report);
    if (status == UF_OK)
        status = uf_mask_grow(area, (unsigned)GROW_STEPS_EDGE, is_transparent ? is_near_fill : is_near_edge,
                              search, report);
    if (status == UF_OK)
        uf_mask_measure(area, step_from_fill, GROW_LEVEL, search, shape);
    return status;
}

/* The area reaches DEEP_PX in the four directions; a pole that it holds is no border. */
static bool is_deep(const UfMask *area, size_t x_px, size_t y_px)
{
    size_t width = area->width_px, height = area->height_px;
    return uf_mask_get(area, (x_px + DEEP_PX) % width, y_px) &&
           uf_mask_get(area, (x_px + width - DEEP_PX % width) % width, y_px) &&
           uf_mask_get(area, x_px, y_px < DEEP_PX ? 0 : y_px - DEEP_PX) &&
           uf_mask_get(area, x_px, y_px + DEEP_PX < height ? y_px + DEEP_PX : height - 1);
}

/* Share of the pixels deep inside the area that are not core: what has texture is a picture, however dark. */
static double texture_of(const UfMask *area, const UfMask *core)
{
    size_t deep = 0, textured = 0;
    for (size_t y = area->first_row_px; y < area->last_row_px; y++)
        for (size_t x = 0; x < area->width_px; x++) {
            if (!uf_mask_get(area, x, y) || !is_deep(area, x, y))
                continue;
            deep++;
            textured += !uf_mask_get(core, x, y);
        }
    return deep == 0 ? 0 : (double)textured / (double)deep;
}

/* Distance of the nearest pixel outside the area from the pole, and of the farthest one inside, in rows. */
void uf_rows_about_pole(const UfMask *area, bool at_zenith, size_t *whole_rows, size_t *reached_rows)
{
    size_t height = area->height_px;
    bool whole = true;
    *whole_rows = *reached_rows = 0;
    for (size_t row = 0; row < height; row++) {
        size_t y = at_zenith ? row : height - 1 - row, inside = 0;
        for (size_t x = 0; x < area->width_px; x++)
            inside += uf_mask_get(area, x, y);
        if (inside > 0)
            *reached_rows = row + 1;
        whole = whole && inside == area->width_px;
        if (whole)
            *whole_rows = row + 1;
    }
}

static double degrees_of_rows(const UfMask *area, size_t rows)
{
    return (double)rows * 180 / (double)area->height_px;
}

static bool is_flat_disc(const UfMask *area, bool at_zenith)
{
    size_t whole_rows, reached_rows;
    uf_rows_about_pole(area, at_zenith, &whole_rows, &reached_rows);
    return degrees_of_rows(area, whole_rows) >= FLAT_LEAST_DEG &&
           degrees_of_rows(area, reached_rows) <= FLAT_MOST_DEG &&
           (double)whole_rows >= FLAT_LEAST_ROUND * (double)reached_rows;
}

static bool holds_pole(const UfMask *area)
{
    return uf_mask_get(area, 0, 0) || uf_mask_get(area, 0, area->height_px - 1);
}

/* Is the grown area a cut-out? `shape` is its measure. Away from the poles clipped shadows are the rule. */
static bool is_cut_out(const UfSearch *search, const UfMask *area, const UfAreaShape *shape)
{
    if (shape->sum.sphere_share > MOST_SHARE)
        return false;
    if (search->kind == UF_HOLE_TRANSPARENT)
        return true;
    bool is_flat = search->kind == UF_HOLE_FLAT, is_away = !holds_pole(area);
    if (shape->hard_share < (is_flat ? FLAT_LEAST_HARD : BLACK_LEAST_HARD) ||
        shape->sum.sphere_share < (is_away ? BLACK_LEAST_AWAY : BLACK_LEAST_SHARE) ||
        uf_area_roundness(shape) < (is_away ? BLACK_LEAST_ROUND_AWAY : BLACK_LEAST_ROUND) ||
        texture_of(area, search->core) > MOST_TEXTURE)
        return false;
    return !is_flat || is_flat_disc(area, shape->centre.y > 0);
}

bool uf_search_is_large(const UfSearch *search, const UfAreaSum *sum)
{
    const UfPixels *pixels = &search->pixels;
    double equator_share = UF_PI / 2 / (double)pixels->height_px / (double)pixels->width_px;
    if (search->kind == UF_HOLE_TRANSPARENT)
        return sum->pixels >= TRANSPARENT_LEAST_PX &&
               sum->sphere_share >= TRANSPARENT_LEAST_AREA * equator_share;
    return sum->sphere_share >= BLACK_LEAST_SHARE;
}

/*
 * The colour that fills a pole's row: Boyer and Moore's majority vote (from memory), then counted. NULL when
 * no colour has POLE_ROW_LEAST of the row, or when that colour is black or, at the zenith, white.
 */
const uint8_t *uf_pole_fill(const UfPixels *pixels, bool at_zenith)
{
    size_t y = at_zenith ? 0 : pixels->height_px - 1, votes = 0, same = 0;
    const uint8_t *fill = uf_pixel_at(pixels, 0, y);
    for (size_t x = 0; x < pixels->width_px; x++) {
        const uint8_t *pixel = uf_pixel_at(pixels, x, y);
        if (votes == 0)
            fill = pixel;
        votes = uf_same_colour(pixels, fill, pixel) ? votes + 1 : votes - 1;
    }
    for (size_t x = 0; x < pixels->width_px; x++)
        same += uf_same_colour(pixels, fill, uf_pixel_at(pixels, x, y));
    bool is_white = true;
    for (size_t k = 0; k < pixels->colours; k++)
        is_white = is_white && uf_level(pixels, fill, k) >= WHITE_LEVEL;
    bool is_fill = (double)same >= POLE_ROW_LEAST * (double)pixels->width_px && !is_dark(pixels, fill) &&
                   !(is_white && at_zenith);
    return is_fill ? fill : NULL;
}

/* Floods one core, grows and measures it; *is_hole says whether it is one. */
UfStatus uf_search_examine(UfSearch *search, size_t x_px, size_t y_px, UfMask *area, UfAreaShape *shape,
                           bool *is_hole, UfReport *report)
{
    UfAreaSum sum = {0};
    uf_mask_clear(area);
    *is_hole = false;
    UfStatus status = uf_mask_flood(search->core, x_px, y_px, area, &sum, report);
    if (status != UF_OK || sum.sphere_share > MOST_SHARE || !uf_search_is_large(search, &sum))
        return status;
    status = grow_and_measure(search, area, shape, report);
    *is_hole = status == UF_OK && is_cut_out(search, area, shape);
    return status;
}
