/* Value noise and its octave sums. Source of the quintic fade: K. Perlin, "Improving Noise", SIGGRAPH 2002.
 */
#include "noise.h"

#include "vector.h"

static double corner(int x, int y, uint32_t seed)
{
    return hash_cell(x, y, seed) * (2.0 / 4294967296.0) - 1;
}

static double fade(double t)
{
    return t * t * t * (t * (t * 6 - 15) + 10);
}

double noise_at(double x, double y, uint32_t seed)
{
    double fx = floor(x), fy = floor(y);
    int ix = (int)fx, iy = (int)fy;
    double u = fade(x - fx), v = fade(y - fy);
    double low = mix(corner(ix, iy, seed), corner(ix + 1, iy, seed), u);
    double high = mix(corner(ix, iy + 1, seed), corner(ix + 1, iy + 1, seed), u);
    return mix(low, high, v);
}

double noise_sum(double x, double y, int octaves, double footprint, uint32_t seed)
{
    double sum = 0, strength = 0.55, scale = 1;
    for (int i = 0; i < octaves; i++) {
        double keep = clamp(2 - 3 * footprint * scale, 0, 1);
        if (keep <= 0)
            break;
        /* each octave is turned, so that the grids of the octaves do not add up to lines */
        double px = (0.8 * x - 0.6 * y) * scale + 17.3 * i, py = (0.6 * x + 0.8 * y) * scale - 9.1 * i;
        sum += keep * strength *
               noise_at(i % 2 == 0 ? x * scale : px, i % 2 == 0 ? y * scale : py, seed + (uint32_t)i);
        strength *= 0.5;
        scale *= 2.03;
    }
    return sum;
}
