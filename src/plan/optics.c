/*
 * Sharpness and parallax: the thin lens's depth of field, the Airy disc, and what an entrance pupil off the
 * pan axis does (textbook optics: S. F. Ray, Applied Photographic Optics, from memory; the parallax is plane
 * trigonometry).
 */
#include <math.h>

#include <underfoot/plan.h>

/* Green light, for which the eye and the sensor are most sensitive. */
#define WAVELENGTH_MM 550e-6

bool uf_camera_sharpness(const UfCamera *camera, UfSharpness *out)
{
    if (!(camera->aperture > 0) || !(camera->confusion_mm > 0))
        return false;
    double f = camera->lens.focal_mm;
    double hyperfocal = f * f / (camera->aperture * camera->confusion_mm) + f;
    double focus = camera->focus_m > 0 ? camera->focus_m * 1000 : hyperfocal;
    double near = focus * (hyperfocal - f) / (hyperfocal + focus - 2 * f);
    double far = focus < hyperfocal ? focus * (hyperfocal - f) / (hyperfocal - focus) : INFINITY;
    *out = (UfSharpness){.hyperfocal_m = hyperfocal / 1000,
                         .focus_m = focus / 1000,
                         .near_m = near / 1000,
                         .far_m = far / 1000,
                         .diffraction_mm = 2.44 * WAVELENGTH_MM * camera->aperture,
                         .pixel_mm = camera->sensor_long_mm / (double)camera->long_px};
    return true;
}

double uf_parallax_rad(double offset_mm, double step_rad, double distance_m)
{
    double offset = fabs(offset_mm);
    double half = step_rad / 2;
    return 2 * atan2(offset * fabs(sin(half)), distance_m * 1000 - offset_mm * cos(half));
}

double uf_parallax_offset_mm(double parallax_rad, double step_rad, double distance_m)
{
    double half = step_rad / 2;
    double slope = tan(parallax_rad / 2);
    return distance_m * 1000 * slope / (fabs(sin(half)) + slope * cos(half));
}
