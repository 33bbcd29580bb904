/* The floors: hashed lattices, nothing random, so that every run sees the same ones. */
#include "support/floors.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "unit/test_patch_support.h"

/* The floor is drawn out to this angle from the nadir; beyond is wall. */
#define WALL_RAD 1.1

static double hash(long x, long y, unsigned salt)
{
    uint32_t h = (uint32_t)x * 374761393u + (uint32_t)y * 668265263u + salt * 2246822519u;
    h = (h ^ (h >> 13)) * 1274126177u;
    h = (h ^ (h >> 16)) * 2246822519u;
    h ^= h >> 13;
    return h / 4294967296.0;
}

/*
 * Tones spread evenly over neighbouring things (the plane's additive recurrence with the plastic number's
 * powers), so that the floor under a cap is on the average as bright as the floor around it: a difference is
 * then the fill's, not chance.
 */
static double even(long x, long y)
{
    double v = 0.7548776662466927 * (double)x + 0.5698402909980532 * (double)y;
    return v - floor(v);
}

/* Value noise of grain 1. */
static double value_noise(double x, double y, unsigned salt)
{
    long i = (long)floor(x), j = (long)floor(y);
    double u = x - (double)i, v = y - (double)j;
    return (hash(i, j, salt) * (1 - u) + hash(i + 1, j, salt) * u) * (1 - v) +
           (hash(i, j + 1, salt) * (1 - u) + hash(i + 1, j + 1, salt) * u) * v;
}

static void turn(double angle, double *x, double *y)
{
    double u = *x * cos(angle) + *y * sin(angle);
    *y = -*x * sin(angle) + *y * cos(angle);
    *x = u;
}

static void tint(double value, double r, double g, double b, double rgb[3])
{
    rgb[0] = value * r;
    rgb[1] = value * g;
    rgb[2] = value * b;
}

static void tiles(double x, double y, double rgb[3])
{
    turn(0.29, &x, &y);
    double u = x / 0.2, v = y / 0.2;
    bool is_joint = (u - floor(u)) * 0.2 < 0.016 || (v - floor(v)) * 0.2 < 0.016;
    double tone = 0.5 + 0.07 * even((long)floor(u), (long)floor(v)) + 0.08 * value_noise(x * 90, y * 90, 2);
    tint(is_joint ? 0.2 : tone, 1, 0.9, 0.8, rgb);
}

static void planks(double x, double y, double rgb[3])
{
    turn(-0.4, &x, &y);
    long row = (long)floor(y / 0.13);
    double along = x / 0.9 + hash(row, 0, 11);
    long board = (long)floor(along);
    bool is_gap = y - (double)row * 0.13 < 0.008 || (along - (double)board) * 0.9 < 0.008;
    double lane = y * 70 + 1.5 * value_noise(x * 4, y * 12, 12);
    double grain = value_noise(x * 5 + 31 * hash(row, board, 14), lane, 13) - 0.5;
    double tone = 0.45 + 0.14 * (even(row, board) - 0.5) + 0.14 * grain +
                  0.04 * hash((long)(x * 300), (long)(y * 300), 16);
    tint(is_gap ? 0.12 : tone, 1.1, 0.85, 0.6, rgb);
}

static void bricks(double x, double y, double rgb[3])
{
    turn(0.12, &x, &y);
    long row = (long)floor(y / 0.09);
    double along = x / 0.24 + 0.5 * (double)(row & 1);
    long brick = (long)floor(along);
    bool is_joint = y - (double)row * 0.09 < 0.014 || (along - (double)brick) * 0.24 < 0.014;
    double tone = 0.42 + 0.14 * (even(row, brick) - 0.5) + 0.14 * (value_noise(x * 60, y * 60, 22) - 0.5);
    if (is_joint)
        tint(0.62 + 0.1 * (value_noise(x * 90, y * 90, 23) - 0.5), 1, 0.97, 0.9, rgb);
    else
        tint(tone, 1.25, 0.75, 0.6, rgb);
}

/* Blades: the brightest of five layers of stretched noise. */
static void grass(double x, double y, double rgb[3])
{
    double best = 0;
    for (unsigned k = 0; k < 5; k++) {
        double u = x, v = y;
        turn(0.63 * k, &u, &v);
        best = fmax(best, value_noise(u * 70, v * 14, 31 + k));
    }
    double patch = value_noise(x * 4, y * 4, 37);
    tint(0.1 + 0.55 * best * best, 0.65 + 0.2 * patch, 0.9, 0.3, rgb);
}

/* Distances to the nearest and the second nearest of the cells' scattered points; the nearest's tone. */
static void nearest(double x, double y, unsigned salt, double *first, double *second, double *who)
{
    long i = (long)floor(x), j = (long)floor(y);
    *first = *second = 9;
    for (long dj = -1; dj <= 1; dj++)
        for (long di = -1; di <= 1; di++) {
            double d = hypot((double)(i + di) + hash(i + di, j + dj, salt) - x,
                             (double)(j + dj) + hash(i + di, j + dj, salt + 1) - y);
            if (d < *first) {
                *second = *first;
                *first = d;
                *who = even(i + di, j + dj);
            } else if (d < *second) {
                *second = d;
            }
        }
}

static void gravel(double x, double y, double rgb[3])
{
    double first, second, who = 0;
    nearest(x * 22, y * 22, 41, &first, &second, &who);
    double edge = fmin(1, (second - first) * 4);
    tint(0.12 + edge * (0.2 + 0.35 * who) + 0.06 * value_noise(x * 120, y * 120, 45), 1, 0.95 - 0.06 * who,
         0.85, rgb);
}

/* Threads over and under, 5 pixels a thread at 1024. */
static void carpet(double x, double y, double rgb[3])
{
    turn(0.5, &x, &y);
    double u = x / 0.031, v = y / 0.031;
    bool is_over = (((long)floor(u) + (long)floor(v)) & 1) != 0;
    double across = is_over ? u - floor(u) : v - floor(v);
    double tone = 0.25 + 0.25 * sin(UF_PI * across) + 0.1 * (hash((long)floor(u), (long)floor(v), 51) - 0.5);
    tint(tone, is_over ? 0.9 : 0.7, is_over ? 0.4 : 0.45, is_over ? 0.35 : 0.5, rgb);
}

static void terrazzo(double x, double y, double rgb[3])
{
    double first, second, who = 0;
    nearest(x * 17, y * 17, 61, &first, &second, &who);
    double grain = 0.05 * (value_noise(x * 100, y * 100, 65) - 0.5);
    if (second - first < 0.12 + 0.25 * who)
        tint(0.66 + grain, 1, 0.97, 0.9, rgb);
    else if (who < 0.3)
        tint(0.3 + grain, 1, 0.8, 0.7, rgb);
    else if (who < 0.7)
        tint(0.55 + grain, 0.9, 0.95, 1, rgb);
    else
        tint(0.8 + grain, 1, 0.85, 0.65, rgb);
}

static void asphalt(double x, double y, double rgb[3])
{
    double speck = hash((long)floor(x * 140), (long)floor(y * 140), 71);
    double tone = 0.24 + 0.1 * value_noise(x * 50, y * 50, 72) + 0.1 * value_noise(x * 120, y * 120, 73) +
                  (speck > 0.96 ? 0.2 : 0);
    tint(tone, 1, 1, 1.03, rgb);
}

/* Next to nothing but the picture's own grain. */
static void concrete(double x, double y, double rgb[3])
{
    tint(0.55 + 0.04 * value_noise(x * 3, y * 3, 81) + 0.02 * value_noise(x * 14, y * 14, 82), 1, 0.98, 0.94,
         rgb);
}

const Floor floors[FLOOR_COUNT] = {
    {"tiles", tiles, 0.1, 1},        {"planks", planks, 0.1, 1},    {"bricks", bricks, 0, 1},
    {"grass", grass, 0, 1},          {"gravel", gravel, -0.1, 1},   {"carpet", carpet, 0, 1},
    {"terrazzo", terrazzo, 0.05, 1}, {"asphalt", asphalt, 0.25, 1}, {"concrete", concrete, 0.12, 2}};

/* About normal: the sum of four hashes, in standard deviations. */
static double noise(size_t x, size_t y, size_t c)
{
    double sum = 0;
    for (unsigned k = 0; k < 4; k++)
        sum += hash((long)(3 * x + c), (long)y, 91 + k) - 0.5;
    return sum * sqrt(3);
}

UfPicture *floor_panorama(const Floor *floor, size_t width)
{
    UfPicture *picture = make_picture(width, width / 2, 3, UF_SAMPLE_U8);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++) {
            double sum[3] = {0.6, 0.6, 0.6};
            double middle = UF_PI - ((double)y + 0.5) / (double)(width / 2) * UF_PI;
            if (middle < WALL_RAD)
                memset(sum, 0, sizeof sum);
            for (int k = 0; k < 4 && middle < WALL_RAD; k++) {
                double lon = (((double)x + 0.25 + 0.5 * (k & 1)) / (double)width - 0.5) * 2 * UF_PI, rgb[3];
                double r = tan(UF_PI - ((double)y + 0.25 + 0.5 * (k >> 1)) / (double)(width / 2) * UF_PI);
                floor->texture(r * sin(lon), r * cos(lon), rgb);
                for (size_t c = 0; c < 3; c++)
                    sum[c] += rgb[c] * (1 + floor->slope * r * sin(lon)) / 4;
            }
            for (size_t c = 0; c < 3; c++)
                set(picture, x, y, c, fmin(1, fmax(0, sum[c] + floor->grain / 255 * noise(x, y, c))));
        }
    return picture;
}

UfPicture *floor_with_tripod(const UfPicture *truth, double disc_deg)
{
    UfPicture *picture = copy_picture(truth);
    size_t height = uf_picture_height_px(truth);
    for (size_t y = height - (size_t)(disc_deg / 180 * (double)height); y < height; y++)
        memset(uf_picture_row(picture, y), 0, uf_picture_stride_bytes(picture));
    return picture;
}
