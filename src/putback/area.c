/*
 * The solid angle of a pixel of a plane at distance f from the eye is f/(f^2 + r^2)^(3/2) with r the distance
 * from the plane's foot: the projected area over the distance squared.
 */
#include "putback/area.h"

#include <math.h>

/* Sum of the directions, each as long as the solid angle that stands for it; and the sum of these. */
typedef struct Sum {
    UfDirection middle;
    double steradian;
} Sum;

static double solid_angle(const UfView *view, size_t x, size_t y)
{
    double u = ((double)x + 0.5 - view->centre_x_px) / view->scale_px;
    double v = ((double)y + 0.5 - view->centre_y_px) / view->scale_px;
    double r2 = 1 + u * u + v * v;
    return 1 / (view->scale_px * view->scale_px * r2 * sqrt(r2));
}

static UfDirection direction_at(const UfView *view, size_t x, size_t y)
{
    UfDirection direction = {0, 0, 1};
    (void)uf_view_direction(view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction);
    return direction;
}

static UfBox add_pixels(const UfPart *part, Sum *sum)
{
    size_t width = uf_part_width_px(part), height = uf_part_height_px(part);
    UfBox box = {.x0 = width, .y0 = height};
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            if (part->weight[y * width + x] == 0)
                continue;
            box.x0 = x < box.x0 ? x : box.x0;
            box.x1 = x >= box.x1 ? x + 1 : box.x1;
            box.y0 = y < box.y0 ? y : box.y0;
            box.y1 = y + 1;
            double part_of_sphere = solid_angle(&part->view, x, y);
            UfDirection direction = direction_at(&part->view, x, y);
            sum->middle.x += part_of_sphere * direction.x;
            sum->middle.y += part_of_sphere * direction.y;
            sum->middle.z += part_of_sphere * direction.z;
            sum->steradian += part_of_sphere;
        }
    return box;
}

static double farthest_rad(const UfPart *part, UfDirection middle)
{
    size_t width = uf_part_width_px(part), height = uf_part_height_px(part);
    double least = 1;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            if (part->weight[y * width + x] == 0)
                continue;
            UfDirection d = direction_at(&part->view, x, y);
            least = fmin(least, d.x * middle.x + d.y * middle.y + d.z * middle.z);
        }
    return acos(fmax(least, -1));
}

void uf_area_add(const UfPart *part, UfPutbackChange *change)
{
    Sum sum = {0};
    UfBox box = add_pixels(part, &sum);
    double length =
        sqrt(sum.middle.x * sum.middle.x + sum.middle.y * sum.middle.y + sum.middle.z * sum.middle.z);
    if (box.x1 == 0 || !(length > 0))
        return;
    UfDirection middle = {sum.middle.x / length, sum.middle.y / length, sum.middle.z / length};
    UfLonLat at = uf_lonlat_from_direction(middle);
    change->left_px = box.x0;
    change->top_px = box.y0;
    change->width_px = box.x1 - box.x0;
    change->height_px = box.y1 - box.y0;
    change->sphere_percent += 100 * sum.steradian / (4 * UF_PI);
    change->lon_deg = uf_degrees(at.lon_rad);
    change->lat_deg = uf_degrees(at.lat_rad);
    change->radius_deg = uf_degrees(farthest_rad(part, middle));
}
