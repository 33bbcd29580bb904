/*
 * Plain capitals drawn with strokes, for drawings. Our own because a font file would have to be there at run
 * time, and a text library brings some twenty shared libraries into the program's start.
 */
#ifndef UF_PLAN_STROKES_H
#define UF_PLAN_STROKES_H

/*
 * The strokes of a character: pairs of digits, x from 0 to 4 to the right and y from 0 to 6 upwards; a blank
 * lifts the pen. Small letters are drawn as capitals; a box for what there is no drawing of; "" for a blank.
 */
const char *uf_strokes(char character);

/* A character with the space behind it, and the height of a capital, in the units above. */
#define UF_STROKES_ADVANCE 6.0
#define UF_STROKES_HEIGHT  6.0

#endif
