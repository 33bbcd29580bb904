/* A stroke alphabet on a grid 4 wide and 6 high. */
#include "letters.h"

#include <string.h>

#include "vector.h"

#define CAP 6.0

/* Points "xy" joined by lines; ';' lifts the pen. */
static const char *strokes(char letter)
{
    static const struct {
        char letter;
        const char *path;
    } alphabet[] = {{'A', "00 26 40;12 32"},
                    {'B', "00 06 26 35 34 23 03;23 32 31 20 00"},
                    {'C', "41 30 10 01 05 16 36 45"},
                    {'D', "00 06 26 44 42 20 00"},
                    {'E', "40 00 06 46;03 33"},
                    {'F', "00 06 46;03 33"},
                    {'G', "45 36 16 05 01 10 30 41 43 23"},
                    {'H', "00 06;40 46;03 43"},
                    {'I', "20 26"},
                    {'K', "00 06;46 02;13 40"},
                    {'L', "06 00 40"},
                    {'M', "00 06 22 46 40"},
                    {'N', "00 06 40 46"},
                    {'O', "10 01 05 16 36 45 41 30 10"},
                    {'P', "00 06 36 45 44 33 03"},
                    {'R', "00 06 36 45 44 33 03;23 40"},
                    {'S', "01 10 30 41 42 33 13 04 05 16 36 45"},
                    {'T', "20 26;06 46"},
                    {'U', "06 01 10 30 41 46"},
                    {'V', "06 20 46"},
                    {'W', "06 10 24 30 46"},
                    {'Y', "06 23 46;23 20"}};
    for (size_t i = 0; i < sizeof alphabet / sizeof *alphabet; i++)
        if (alphabet[i].letter == letter)
            return alphabet[i].path;
    return "";
}

double letter_advance(char letter)
{
    if (letter == 'I')
        return 2.4 / CAP * 1.35;
    return (letter == ' ' ? 3.0 : 6.0) / CAP;
}

double letters_width(const char *text)
{
    double width = 0;
    for (; *text != '\0'; text++)
        width += letter_advance(*text);
    return width - 2.0 / CAP;
}

static double segment_distance(double x, double y, const char *a, const char *b)
{
    double ax = (a[0] - '0') / CAP, ay = (a[1] - '0') / CAP;
    double dx = (b[0] - '0') / CAP - ax, dy = (b[1] - '0') / CAP - ay;
    double t = clamp(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy), 0, 1);
    return hypot(x - ax - t * dx, y - ay - t * dy);
}

double letter_distance(char letter, double x, double y)
{
    const char *path = strokes(letter);
    double nearest = 1e9;
    if (letter == 'I')
        x += 1.4 / CAP;
    for (const char *at = path; strlen(at) >= 5; at += 3)
        if (at[2] == ' ')
            nearest = lesser(nearest, segment_distance(x, y, at, at + 3));
    return nearest;
}

double letters_distance(const char *text, double x, double y)
{
    double nearest = 1e9;
    for (; *text != '\0'; text++) {
        if (x > -1 && x < 2)
            nearest = lesser(nearest, letter_distance(*text, x, y));
        x -= letter_advance(*text);
    }
    return nearest;
}
