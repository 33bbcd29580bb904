/* Reading round the edges of a source. */
#include "remap/window.h"

/*
 * Where a pixel beyond the edges lies: the row inside, and how far along the row, in half pixels so that half
 * the width of an odd picture stays exact.
 */
typedef struct Place {
    ptrdiff_t row;
    ptrdiff_t twice_x;
} Place;

/* The pixel inside that stands for one beyond the end. */
static ptrdiff_t ended(const UfSource *source, ptrdiff_t value, ptrdiff_t count)
{
    if (source->mirrors) {
        ptrdiff_t rest = uf_wrapped(value, 2 * count);
        return rest < count ? rest : 2 * count - 1 - rest;
    }
    return value < 0 ? 0 : value >= count ? count - 1 : value;
}

/* Each crossing of a pole turns the row round and the meridian by half a turn. */
static Place place_of(const UfSource *source, ptrdiff_t x, ptrdiff_t y)
{
    ptrdiff_t width = source->width_px, height = source->height_px;
    Place place = {.row = y, .twice_x = 2 * x};
    while (place.row < 0 || place.row >= height) {
        bool top = place.row < 0;
        if (!(top ? source->over_top : source->over_bottom)) {
            place.row = ended(source, place.row, height);
            break;
        }
        place.row = top ? -1 - place.row : 2 * height - 1 - place.row;
        place.twice_x += width;
    }
    place.twice_x = source->wraps ? uf_wrapped(place.twice_x, 2 * width) : 2 * ended(source, x, width);
    return place;
}

static const uint8_t *pixel_at(const UfSource *source, ptrdiff_t x, ptrdiff_t row, size_t pixel_bytes)
{
    return source->data + (size_t)row * source->stride_bytes + (size_t)x * pixel_bytes;
}

/* Across the pole of a picture of odd width: halfway between two pixels. */
static void store_mean(const uint8_t *a, const uint8_t *b, size_t channels, UfSample sample, uint8_t *out)
{
    size_t colours = channels % 2 == 0 ? channels - 1 : channels;
    double weight_a = 0.5, weight_b = 0.5;
    if (colours < channels) {
        double alpha_a = uf_sample_load(a + colours * (size_t)sample, sample);
        double alpha_b = uf_sample_load(b + colours * (size_t)sample, sample);
        double sum = alpha_a + alpha_b;
        uf_sample_store(out + colours * (size_t)sample, sum / 2, sample);
        weight_a = sum > 0 ? alpha_a / sum : 0;
        weight_b = sum > 0 ? alpha_b / sum : 0;
    }
    for (size_t c = 0; c < colours; c++) {
        size_t at = c * (size_t)sample;
        double mean = weight_a * uf_sample_load(a + at, sample) + weight_b * uf_sample_load(b + at, sample);
        uf_sample_store(out + at, mean, sample);
    }
}

UfWindow uf_window_gather(const UfSource *source, ptrdiff_t x, ptrdiff_t y, int taps, size_t channels,
                          UfSample sample, UfWindowRoom *room)
{
    size_t pixel_bytes = channels * (size_t)sample;
    uint8_t *out = room->bytes; /* cppcheck-suppress ctuuninitvar ; it is written here */
    for (int r = 0; r < taps; r++)
        for (int k = 0; k < taps; k++, out += pixel_bytes) {
            Place place = place_of(source, x + k, y + r);
            const uint8_t *first = pixel_at(source, place.twice_x / 2, place.row, pixel_bytes);
            if (place.twice_x % 2 == 0) {
                memcpy(out, first, pixel_bytes);
                continue;
            }
            ptrdiff_t next = (place.twice_x / 2 + 1) % source->width_px;
            store_mean(first, pixel_at(source, next, place.row, pixel_bytes), channels, sample, out);
        }
    return (UfWindow){room->bytes, (size_t)taps * pixel_bytes};
}
