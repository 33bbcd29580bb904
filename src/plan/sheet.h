/* A drawing on an RGB picture: smooth lines, circles, letters, patterns. */
#ifndef UF_PLAN_SHEET_H
#define UF_PLAN_SHEET_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

/* 0..255, sRGB */
typedef struct UfInk {
    uint8_t red, green, blue;
} UfInk;

/* The picture is 8 bit RGB; points may lie outside of it. Places are pixels, y down, centres at +1/2. */
void uf_sheet_dot(UfPicture *sheet, long x_px, long y_px, UfInk ink);
void uf_sheet_fill(UfPicture *sheet, long x_px, long y_px, long width_px, long height_px, UfInk ink);
void uf_sheet_line(UfPicture *sheet, double x0_px, double y0_px, double x1_px, double y1_px, double width_px,
                   UfInk ink);
/* `dash_px` is the length of a dash and of the gap after it; 0 for a whole circle. */
void uf_sheet_circle(UfPicture *sheet, double x_px, double y_px, double radius_px, double width_px,
                     double dash_px, UfInk ink);
/* (x, y) is the left end of the baseline; `height_px` that of a capital. */
void uf_sheet_text(UfPicture *sheet, double x_px, double y_px, double height_px, UfInk ink, const char *text);
double uf_sheet_text_width(double height_px, const char *text);

#endif
