/*
 * A thimble in a ring that carries the name. Lengths are in units of the emblem's radius, y up; 4 x 4 points
 * a pixel make the edges smooth.
 */
#include "emblem.h"

#include <stdbool.h>

#include "letters.h"
#include "vector.h"

#define GRID 4

typedef enum Ink { CLEAR, GROUND, LIGHT, GOLD, INK_COUNT } Ink;

static const double inks[INK_COUNT][3] = {{0, 0, 0}, {22, 62, 66}, {244, 236, 216}, {201, 158, 74}};

/* Words on a circle whose foot line has radius `radius`; over the top clockwise, or along the bottom. */
static bool on_words(const char *words, double x, double y, double radius, double cap, bool bottom)
{
    double r = hypot(x, y), angle = bottom ? atan2(x, -y) : atan2(x, y);
    double along = angle * (radius + (bottom ? -cap / 2 : cap / 2)), up = bottom ? radius - r : r - radius;
    if (up < -cap || up > 2 * cap)
        return false;
    return letters_distance(words, along / cap + letters_width(words) / 2, up / cap) < 0.082;
}

static bool on_thimble(double x, double y)
{
    double half = mix(0.30, 0.20, (y + 0.34) / 0.60);
    if (y >= -0.34 && y <= 0.20)
        return fabs(x) < half;
    return y > 0.20 && hypot(x / 0.211, (y - 0.20) / 0.17) < 1;
}

static bool on_dimple(double x, double y)
{
    if (y < -0.15 || y > 0.33)
        return false;
    double row = floor(y / 0.085), lean = 1 - 0.4 * (y + 0.34),
           u = x / lean / 0.085 + 0.5 * fmod(fabs(row), 2);
    double fx = u - floor(u) - 0.5, fy = y / 0.085 - row - 0.5;
    return hypot(fx, fy) < 0.21 && fabs(x) < 0.235 * lean;
}

static Ink ink_at(double x, double y)
{
    double r = hypot(x, y);
    if (r > 0.985)
        return CLEAR;
    if (r > 0.945 || (r > 0.645 && r < 0.668))
        return GOLD;
    if (on_words("THIMBLE HOUSE", x, y, 0.735, 0.135, false) || on_words("MUSEUM", x, y, 0.870, 0.135, true))
        return LIGHT;
    if (r < 0.91 && r > 0.70 && hypot(fabs(x) - 0.787, y + 0.165) < 0.028)
        return GOLD;
    if (y > -0.46 && y < -0.30 && fabs(x) < 0.35 - 0.25 * greater(0, fabs(y + 0.38) - 0.05))
        return fabs(y + 0.38) < 0.018 ? GROUND : GOLD;
    if (on_thimble(x, y))
        return on_dimple(x, y) || fabs(y + 0.215) < 0.012 ? GROUND : LIGHT;
    return GROUND;
}

static void draw_pixel(uint8_t *pixel, size_t i, size_t j, double size)
{
    double sum[3] = {0, 0, 0}, covered = 0;
    for (int k = 0; k < GRID * GRID; k++) {
        double x = ((double)i + (k % GRID + 0.5) / GRID) / size * 2 - 1;
        double y = 1 - ((double)j + (k / GRID + 0.5) / GRID) / size * 2;
        Ink ink = ink_at(x, y);
        for (int c = 0; c < 3 && ink != CLEAR; c++)
            sum[c] += pow(inks[ink][c] / 255, 2.2); /* averaged in (nearly) linear light */
        covered += ink != CLEAR;
    }
    for (int c = 0; c < 3; c++)
        pixel[c] = covered > 0 ? (uint8_t)lround(255 * pow(sum[c] / covered, 1 / 2.2)) : 0;
    pixel[3] = (uint8_t)lround(255 * covered / (GRID * GRID));
}

void emblem_draw(uint8_t *pixels, size_t size)
{
#pragma omp parallel for schedule(dynamic, 16)
    for (size_t j = 0; j < size; j++)
        for (size_t i = 0; i < size; i++)
            draw_pixel(pixels + 4 * (j * size + i), i, j, (double)size);
}
