/*
 * Whole pictures against two other libraries at once: PROJ says where each pixel of a view lies on the Earth,
 * cv::remap takes it from there, bilinearly. Nothing is averaged, at a pole either, where the panorama's
 * pixels lie closer together than the view's. cv::remap rounds places to 1/32 pixel, so the means are
 * compared with those of maps that are a little off.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <proj.h>
#include <stdio.h>
#include <stdlib.h>

#include <underfoot/remap.h>
#include <underfoot/sphere.h>

#include "support/opencv_remap.h"
#include "support/photographs.h"

#define ACROSS   480u
#define DOWN     360u
#define PIXELS   ((size_t)ACROSS * DOWN)
#define SCALE_PX 580.0 /* of a view; the panorama's is 2048/(2 pi) = 326 */

/* Where PROJ's map projection has the view's pixels in a padded panorama `width` wide. */
static Maps maps_of_proj(const char *operation, UfLonLat centre, double width)
{
    char definition[256];
    Maps maps = maps_create(PIXELS);
    PJ_CONTEXT *context = proj_context_create();
    snprintf(definition, sizeof definition, "%s +R=1 +lat_0=%.17g +lon_0=%.17g", operation,
             uf_degrees(centre.lat_rad), uf_degrees(centre.lon_rad));
    PJ *projection = proj_create(context, definition);
    cr_assert_not_null(projection);
    for (size_t i = 0; i < PIXELS; i++) {
        double x = ((double)(i % ACROSS) + 0.5 - ACROSS / 2.0) / SCALE_PX;
        double y = (DOWN / 2.0 - (double)(i / ACROSS) - 0.5) / SCALE_PX;
        PJ_COORD at = proj_trans(projection, PJ_INV, proj_coord(x, y, 0, 0));
        /* 0 is the centre of OpenCV's first pixel */
        maps.x[i] = (at.lp.lam / (2 * UF_PI) + 0.5) * width - 0.5 + PAD_PX;
        maps.y[i] = (0.5 - at.lp.phi / UF_PI) * width / 2 - 0.5 + PAD_PX;
    }
    proj_destroy(projection);
    proj_context_destroy(context);
    return maps;
}

static double mean_difference(const UfPicture *panorama, const uint8_t *wide, const Maps *maps,
                              const UfPicture *ours)
{
    size_t width = uf_picture_width_px(panorama) + 2 * PAD_PX;
    size_t height = uf_picture_height_px(panorama) + 2 * PAD_PX;
    uint8_t *theirs = malloc(3 * PIXELS);
    cr_assert_not_null(theirs);
    opencv_remap(wide, width, height, 3, maps->x, maps->y, ACROSS, DOWN, OPENCV_LINEAR, theirs);
    double sum = 0;
    for (size_t y = 0; y < DOWN; y++)
        for (size_t i = 0; i < 3 * ACROSS; i++)
            sum += abs(((const uint8_t *)uf_picture_row_const(ours, y))[i] - theirs[3 * ACROSS * y + i]);
    free(theirs);
    return sum / (3.0 * PIXELS);
}

static void compare(const UfPicture *panorama, const uint8_t *wide, const char *operation,
                    UfProjection projection, UfLonLat centre)
{
    UfPicture *ours = NULL;
    UfView sphere = uf_view_equirectangular(uf_picture_width_px(panorama));
    UfView view = {.projection = projection,
                   .rotation = uf_rotation_from_angles(centre.lon_rad, centre.lat_rad, 0),
                   .scale_px = SCALE_PX,
                   .centre_x_px = ACROSS / 2.0,
                   .centre_y_px = DOWN / 2.0,
                   .width_px = ACROSS,
                   .height_px = DOWN};
    UfRemapOptions options = {.sampling = UF_SAMPLING_BILINEAR, .interpolates_only = true};
    cr_assert_eq(uf_remap(panorama, &sphere, &view, &options, &ours, NULL), UF_OK);
    Maps maps = maps_of_proj(operation, centre, (double)uf_picture_width_px(panorama));
    double found = mean_difference(panorama, wide, &maps, ours);
    for (size_t i = 0; i < PIXELS; i++)
        maps.x[i] += 0.05;
    double off = mean_difference(panorama, wide, &maps, ours);
    cr_log_info("%s at %.0f %.0f: mean difference %.3f of 255, off by 0.05 px %.3f", operation,
                uf_degrees(centre.lon_rad), uf_degrees(centre.lat_rad), found, off);
    cr_expect_leq(found, 0.2, "%s: mean difference %.3f", operation, found);
    cr_expect_leq(found, off / 1.5, "%s: mean difference %.3f, off by 0.05 px %.3f", operation, found, off);
    maps_free(&maps);
    uf_picture_free(&ours);
}

Test(truth_opencv, views_of_the_earth_as_proj_and_opencv_make_them)
{
    UfPicture *earth = photo(PHOTOS "earth.jpg");
    uint8_t *wide = padded(earth);
    const UfLonLat centres[] = {{uf_radians(10), uf_radians(35)},
                                {uf_radians(178), uf_radians(-20)},
                                {uf_radians(40), uf_radians(-86)}};
    for (size_t i = 0; i < 3; i++) {
        compare(earth, wide, "+proj=gnom", UF_PROJECTION_RECTILINEAR, centres[i]);
        compare(earth, wide, "+proj=stere +k_0=1", UF_PROJECTION_STEREOGRAPHIC, centres[i]);
    }
    free(wide);
    uf_picture_free(&earth);
}
