/*
 * Nodes of the membrane.
 *
 * Along a meridian the membrane is a polynomial in r = tan(theta/2)/tan(edge/2), and away from the rim a
 * smooth one. Lagrange's cubic through nodes at distances h is off by at most 9/16 h^4 max|u''''|/24 between
 * the two in the middle (remainder of polynomial interpolation; M. Abramowitz, I. Stegun, Handbook of
 * Mathematical Functions (1964), 25.2, from memory). The coefficients bound u'''', by more the further out.
 * Nodes lie at whole multiples of h = 2^-s from the pole, whatever rows are asked for: the same row always
 * comes from the same nodes.
 */
#include "patch/membrane_nodes.h"

#include <math.h>

/* Of the fourth derivative, h = 1. */
#define REMAINDER (9.0 / 16 / 24)

static double most_bent(const double *bend, size_t count, double ratio)
{
    double sum = 0;
    for (size_t i = count; i-- > 0;)
        sum = sum * ratio + bend[i];
    return sum;
}

/* The outermost node up to which the step will do: bisected, as the bound grows outwards. */
static double reach_of(const double *bend, size_t count, double step, double tolerance)
{
    double most = tolerance / (REMAINDER * pow(step, 4));
    size_t low = 0, high = (size_t)(1 / step) + 1;
    while (high - low > 1) {
        size_t middle = (low + high) / 2;
        if (most_bent(bend, count, (double)middle * step) <= most)
            low = middle;
        else
            high = middle;
    }
    return (double)low * step;
}

UfNodes uf_nodes_plan(const double *bend, size_t count, double least_step, double tolerance)
{
    UfNodes nodes = {{0}};
    double step = 0.5;
    for (size_t s = 0; s < UF_NODE_STEPS && step >= least_step; s++, step /= 2)
        nodes.reach[s] = reach_of(bend, count, step, tolerance);
    return nodes;
}

bool uf_nodes_place(const UfNodes *nodes, double ratio, UfNodePlace *out)
{
    double step = 0.5;
    for (size_t s = 0; s < UF_NODE_STEPS; s++, step /= 2) {
        double low = floor(ratio / step), t = ratio / step - low;
        if ((low + 2) * step > nodes->reach[s])
            continue;
        for (int i = 0; i < 4; i++)
            out->ratio[i] = (low + i - 1) * step;
        out->weight[0] = (float)(-t * (t - 1) * (t - 2) / 6);
        out->weight[1] = (float)((t + 1) * (t - 1) * (t - 2) / 2);
        out->weight[2] = (float)(-(t + 1) * t * (t - 2) / 2);
        out->weight[3] = (float)((t + 1) * t * (t - 1) / 6);
        return true;
    }
    return false;
}
