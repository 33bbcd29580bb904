/* Where the membrane is computed, and where a cubic through such rows is near enough. */
#ifndef UF_PATCH_MEMBRANE_NODES_H
#define UF_PATCH_MEMBRANE_NODES_H

#include <stdbool.h>
#include <stddef.h>

/* Steps of 1/2, 1/4 ... of the rim's radius. */
#define UF_NODE_STEPS 16

/* Of each step, how far out from the pole a node may lie; 0: nowhere. Parts of the rim's radius. */
typedef struct UfNodes {
    double reach[UF_NODE_STEPS];
} UfNodes;

/* The four nodes about a place, parts of the rim's radius, negative beyond the pole, and their weights. */
typedef struct UfNodePlace {
    double ratio[4];
    float weight[4];
} UfNodePlace;

/*
 * For functions whose fourth derivative at r, 0 to 1, is nowhere more than sum over i of bend[i] r^i, bend >=
 * 0: the steps, `least_step` or wider, with which the cubic is nowhere further off than `tolerance`.
 */
UfNodes uf_nodes_plan(const double *bend, size_t count, double least_step, double tolerance);
/* The widest step that will do at `ratio`, 0 to 1; false where none does. */
bool uf_nodes_place(const UfNodes *nodes, double ratio, UfNodePlace *out);

#endif
