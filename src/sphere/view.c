/*
 * Views: between the pixels of a picture and directions of the world.
 * plane x = (x_px - centre_x_px)/scale_px, plane y = (centre_y_px - y_px)/scale_px, d_world = rotation
 * d_camera.
 */
#include <underfoot/sphere.h>

#include <math.h>

UfView uf_view_equirectangular(size_t width_px)
{
    size_t height_px = width_px / 2;
    return (UfView){
        .projection = UF_PROJECTION_EQUIRECTANGULAR,
        .rotation = uf_rotation_identity(),
        .scale_px = (double)width_px / (2 * UF_PI),
        .centre_x_px = (double)width_px / 2,
        .centre_y_px = (double)height_px / 2,
        .width_px = width_px,
        .height_px = height_px,
    };
}

/* A view whose plane's origin is the picture's middle and whose width is 2 half_width in the plane. */
static UfView centred_view(UfProjection projection, size_t width_px, size_t height_px, double half_width,
                           UfRotation rotation)
{
    return (UfView){
        .projection = projection,
        .rotation = rotation,
        .scale_px = (double)width_px / 2 / half_width,
        .centre_x_px = (double)width_px / 2,
        .centre_y_px = (double)height_px / 2,
        .width_px = width_px,
        .height_px = height_px,
    };
}

UfView uf_view_rectilinear(size_t width_px, size_t height_px, double fov_rad, UfRotation rotation)
{
    return centred_view(UF_PROJECTION_RECTILINEAR, width_px, height_px, tan(fov_rad / 2), rotation);
}

UfView uf_view_face(UfFace face, size_t size_px)
{
    return centred_view(UF_PROJECTION_RECTILINEAR, size_px, size_px, 1, uf_face_rotation(face));
}

UfView uf_view_planet(size_t size_px, double fov_rad, double heading_rad, bool sky_centre)
{
    UfRotation turn = uf_rotation_from_angles(heading_rad, 0, 0);
    UfRotation tilt = uf_face_rotation(sky_centre ? UF_FACE_UP : UF_FACE_DOWN);
    return centred_view(UF_PROJECTION_STEREOGRAPHIC, size_px, size_px, 2 * tan(fov_rad / 4),
                        uf_rotation_product(&turn, &tilt));
}

UfView uf_view_window(const UfView *view, size_t x_px, size_t y_px, size_t width_px, size_t height_px)
{
    UfView window = *view;
    window.centre_x_px -= (double)x_px;
    window.centre_y_px -= (double)y_px;
    window.width_px = width_px;
    window.height_px = height_px;
    return window;
}

bool uf_view_is_full_turn(const UfView *view)
{
    double turn_px = 2 * UF_PI * view->scale_px;
    return view->projection == UF_PROJECTION_EQUIRECTANGULAR &&
           fabs((double)view->width_px - turn_px) <= 1e-9 * turn_px;
}

bool uf_view_direction(const UfView *view, UfPixelPoint at, UfDirection *out)
{
    UfPlanePoint point = {(at.x_px - view->centre_x_px) / view->scale_px,
                          (view->centre_y_px - at.y_px) / view->scale_px};
    UfDirection seen;
    if (!uf_unproject(view->projection, point, &seen))
        return false;
    *out = uf_rotation_apply(&view->rotation, seen);
    return true;
}

bool uf_view_pixel(const UfView *view, UfDirection direction, UfPixelPoint *out)
{
    UfRotation into_camera = uf_rotation_inverse(&view->rotation);
    UfPlanePoint point;
    if (!uf_project(view->projection, uf_rotation_apply(&into_camera, direction), &point))
        return false;
    *out = (UfPixelPoint){view->centre_x_px + point.x * view->scale_px,
                          view->centre_y_px - point.y * view->scale_px};
    return true;
}
