/* Where boards end: the short joints across, found in the ring and made in the hole. */
#ifndef UF_PATCH_BOARDS_ENDS_H
#define UF_PATCH_BOARDS_ENDS_H

#include "patch/boards_joints.h"

typedef struct UfEnd {
    size_t x;      /* its middle column */
    bool is_whole; /* seen over the board's whole width; else part of it lies in the hole */
} UfEnd;

#define UF_MOST_ENDS 64

/* A row of boards: rows y0 .. y1 - 1 between two joints' middles, and the end joints in it that are seen. */
typedef struct UfBoardRow {
    size_t y0, y1;
    UfEnd end[UF_MOST_ENDS]; /* from left to right */
    size_t end_count;
} UfBoardRow;

/* Looks for the end joints of a row of boards. */
UfStatus uf_board_ends_find(const UfCanvas *canvas, const UfJoints *joints, UfBoardRow *row,
                            UfReport *report);

/*
 * What an end joint makes of the boards: factors for the four values of a pixel, (2 reach + 1) columns about
 * its middle, `height` rows.
 */
typedef struct UfStamp {
    size_t reach, height;
    size_t around; /* columns about its middle that the line takes up, at most */
    size_t edge;   /* rows at the top and at the bottom that show the joints along */
    float *factor;
    float *line; /* of each column, of the joint's line alone */
} UfStamp;

/* From the clearest end joint that is wholly seen; from the joints along where there is none. */
UfStatus uf_stamp_take(const UfCanvas *canvas, const UfJoints *joints, const UfBoardRow *rows, size_t count,
                       UfStamp *out, UfReport *report);
void uf_stamp_clear(UfStamp *stamp);
/* Multiplies what is hole about column x of a row of boards. */
void uf_stamp_press(const UfStamp *stamp, const UfBoardRow *row, size_t x, UfCanvas *canvas);

#endif
