/* What the boards in a hole are to be made of. */
#ifndef UF_PATCH_BOARDS_PLAN_H
#define UF_PATCH_BOARDS_PLAN_H

#include "patch/boards_ends.h"

/* A piece of board in the ring with neither end nor hole, from joint to joint: to copy from. */
typedef struct UfRun {
    const UfBoardRow *row;
    size_t x0, x1;
    double mean[4];
    double uneven; /* how much of it strikes the eye: see src/patch/boards_plan.c */
    unsigned uses;
} UfRun;

/* A board as far as it is seen, and what it goes on with. */
typedef struct UfBoard {
    double mean[4];
    size_t seen; /* pixels that the mean is of */
    const UfRun *run;
    float gain[4]; /* makes the run as light as the board */
} UfBoard;

/* Where a row of boards meets the hole, on its left or on its right. */
typedef struct UfRim {
    double middle; /* the mean place of the hole's edge */
    size_t limit;  /* the last column, from the hole outwards, that shows nothing of the board's end */
    UfBoard board;
} UfRim;

enum { UF_LEFT = 0, UF_RIGHT = 1 };

/* The part of a row of boards that is hole. */
typedef struct UfPiece {
    const UfBoardRow *row;
    size_t *from, *to;         /* of each of its rows: hole from column `from` up to `to`; none when equal */
    size_t x0, x1;             /* around all of it */
    size_t whole_x0, whole_x1; /* hole from joint to joint; nowhere when equal */
    size_t joint[2], joint_count; /* its end joints, from left to right; with none it is one board */
    UfRim rim[2];
    UfBoard between;   /* two joints: what lies between them */
    UfBoard corner[2]; /* what is seen beside the hole of a board behind its first or last joint */
} UfPiece;

typedef struct UfBoardsPlan {
    const UfCanvas *canvas;
    const UfJoints *joints;
    unsigned seed;
    UfBoardRow *row;
    size_t row_count;
    bool has_ends; /* is an end joint seen anywhere? If not, boards are longer than the ring, and none is made
                    */
    UfPiece *piece;
    size_t piece_count, piece_room;
    UfRun *run;
    size_t run_count, run_room;
    uint32_t *count; /* of each column, while rows of boards are looked through: its cells of some kind */
} UfBoardsPlan;

/* Without a run when no board is seen well enough to be copied. Canvas and joints are borrowed. */
UfStatus uf_boards_plan(const UfCanvas *canvas, const UfJoints *joints, unsigned seed, UfBoardsPlan *out,
                        UfReport *report);
void uf_boards_plan_clear(UfBoardsPlan *plan);
/* What makes one board as light as another, within half and twice. */
void uf_board_gain(const double of[4], const double wanted[4], float gain[4]);
double uf_board_width(const UfBoardRow *row);
/* The end joint nearest to a column on one side of it, or NULL. */
const UfEnd *uf_board_end(const UfBoardRow *row, double x, int side);
/* How far from its end joint a board of which `seen` columns are seen is copied: without nails, if it can be.
 */
double uf_board_margin(const UfBoardsPlan *plan, const UfBoardRow *row, double seen);

#endif
