/* Plain capital letters drawn with strokes: for signs, and for the emblem. */
#ifndef SCENE_LETTERS_H
#define SCENE_LETTERS_H

/* Width of a letter with the space after it, in cap heights. */
double letter_advance(char letter);
/* Width of a line, in cap heights. */
double letters_width(const char *text);
/* Distance from (x, y) to the nearest stroke of one letter; origin at its lower left, cap height 1. */
double letter_distance(char letter, double x, double y);
/* The same for a line of text. */
double letters_distance(const char *text, double x, double y);

#endif
