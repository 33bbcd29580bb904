/*
 * Strokes are smooth because a pixel takes the ink by its distance from the stroke's edge: all of it half a
 * pixel inside, none half a pixel outside.
 */
#include "plan/sheet.h"

#include <math.h>

#include "base/banned.h"
#include "plan/strokes.h"

/* Width of a letter's strokes over its height. */
#define LETTER_WEIGHT 0.13

static void mix(UfPicture *sheet, long x_px, long y_px, UfInk ink, double share)
{
    if (x_px < 0 || y_px < 0 || (size_t)x_px >= uf_picture_width_px(sheet) ||
        (size_t)y_px >= uf_picture_height_px(sheet) || !(share > 0))
        return;
    uint8_t *at = (uint8_t *)uf_picture_row(sheet, (size_t)y_px) + 3 * (size_t)x_px;
    const uint8_t wanted[3] = {ink.red, ink.green, ink.blue};
    for (size_t i = 0; i < 3; i++)
        at[i] = (uint8_t)lround(at[i] + (wanted[i] - at[i]) * fmin(share, 1));
}

void uf_sheet_dot(UfPicture *sheet, long x_px, long y_px, UfInk ink)
{
    mix(sheet, x_px, y_px, ink, 1);
}

void uf_sheet_fill(UfPicture *sheet, long x_px, long y_px, long width_px, long height_px, UfInk ink)
{
    for (long y = y_px; y < y_px + height_px; y++)
        for (long x = x_px; x < x_px + width_px; x++)
            mix(sheet, x, y, ink, 1);
}

void uf_sheet_line(UfPicture *sheet, double x0_px, double y0_px, double x1_px, double y1_px, double width_px,
                   UfInk ink)
{
    double reach = width_px / 2 + 1;
    double dx = x1_px - x0_px;
    double dy = y1_px - y0_px;
    double square = dx * dx + dy * dy;
    for (long y = (long)floor(fmin(y0_px, y1_px) - reach); y <= (long)ceil(fmax(y0_px, y1_px) + reach); y++)
        for (long x = (long)floor(fmin(x0_px, x1_px) - reach); x <= (long)ceil(fmax(x0_px, x1_px) + reach);
             x++) {
            double px = (double)x + 0.5 - x0_px;
            double py = (double)y + 0.5 - y0_px;
            double along = square > 0 ? fmin(1, fmax(0, (px * dx + py * dy) / square)) : 0;
            double distance = hypot(px - along * dx, py - along * dy);
            mix(sheet, x, y, ink, width_px / 2 - distance + 0.5);
        }
}

void uf_sheet_circle(UfPicture *sheet, double x_px, double y_px, double radius_px, double width_px,
                     double dash_px, UfInk ink)
{
    double reach = radius_px + width_px / 2 + 1;
    for (long y = (long)floor(y_px - reach); y <= (long)ceil(y_px + reach); y++)
        for (long x = (long)floor(x_px - reach); x <= (long)ceil(x_px + reach); x++) {
            double px = (double)x + 0.5 - x_px;
            double py = (double)y + 0.5 - y_px;
            double off = fabs(hypot(px, py) - radius_px);
            bool in_gap = dash_px > 0 && fmod((atan2(py, px) + UF_PI) * radius_px, 2 * dash_px) > dash_px;
            if (off < width_px / 2 + 0.5 && !in_gap)
                mix(sheet, x, y, ink, width_px / 2 - off + 0.5);
        }
}

static void letter(UfPicture *sheet, double x_px, double y_px, double unit_px, UfInk ink, const char *strokes)
{
    bool is_down = false;
    double last_x = 0;
    double last_y = 0;
    for (const char *at = strokes; *at != '\0'; at++) {
        if (*at == ' ') {
            is_down = false;
            continue;
        }
        double x = x_px + unit_px * (at[0] - '0');
        double y = y_px - unit_px * (at[1] - '0');
        at++;
        if (is_down)
            uf_sheet_line(sheet, last_x, last_y, x, y, LETTER_WEIGHT * unit_px * UF_STROKES_HEIGHT, ink);
        is_down = true;
        last_x = x;
        last_y = y;
    }
}

void uf_sheet_text(UfPicture *sheet, double x_px, double y_px, double height_px, UfInk ink, const char *text)
{
    double unit = height_px / UF_STROKES_HEIGHT;
    for (const char *at = text; *at != '\0'; at++) {
        letter(sheet, x_px, y_px, unit, ink, uf_strokes(*at));
        x_px += unit * UF_STROKES_ADVANCE;
    }
}

double uf_sheet_text_width(double height_px, const char *text)
{
    return (double)strlen(text) * height_px / UF_STROKES_HEIGHT * UF_STROKES_ADVANCE;
}
