#include "support/caster.h"

#include <math.h>

typedef struct V {
    double x, y, z;
} V;

static V turn_about_y(V v, double angle)
{
    return (V){v.x * cos(angle) + v.z * sin(angle), v.y, v.z * cos(angle) - v.x * sin(angle)};
}

static bool caster_contains(const UfCamera *camera, const UfFrame *frame, V d)
{
    V flat = turn_about_y(d, -frame->pan_rad);
    V c = {flat.x, flat.y * cos(frame->tilt_rad) - flat.z * sin(frame->tilt_rad),
           flat.y * sin(frame->tilt_rad) + flat.z * cos(frame->tilt_rad)};
    double theta = acos(fmax(-1, fmin(1, c.z)));
    double f = camera->lens.focal_mm;
    double r = camera->lens.mapping == UF_MAPPING_RECTILINEAR ? (c.z > 0 ? f * tan(theta) : INFINITY)
               : camera->lens.mapping == UF_MAPPING_EQUISOLID ? 2 * f * sin(theta / 2)
                                                              : f * theta;
    if (camera->lens.reach_rad > 0 && theta > camera->lens.reach_rad)
        return false;
    double azimuth = atan2(c.y, c.x);
    double half_width = (camera->portrait ? camera->sensor_short_mm : camera->sensor_long_mm) / 2;
    double half_height = (camera->portrait ? camera->sensor_long_mm : camera->sensor_short_mm) / 2;
    return fabs(r * cos(azimuth)) <= half_width && fabs(r * sin(azimuth)) <= half_height;
}

/* Each of the six faces as a rectangle. */
static bool caster_box(const UfPart *part, V d)
{
    double ray[3] = {d.x, d.y, d.z};
    for (int axis = 0; axis < 3; axis++)
        for (int side = 0; side < 2; side++) {
            double t = (side == 0 ? part->from_mm[axis] : part->to_mm[axis]) / ray[axis];
            bool is_on = t > 0;
            for (int other = 0; other < 3; other++) {
                double at = t * ray[other];
                double low = fmin(part->from_mm[other], part->to_mm[other]);
                double high = fmax(part->from_mm[other], part->to_mm[other]);
                is_on = is_on && (other == axis || (at >= low && at <= high));
            }
            if (is_on)
                return true;
        }
    return false;
}

/* In coordinates where the rod stands upright on the origin. */
static bool caster_rod(const UfPart *part, V d)
{
    V along = {part->to_mm[0] - part->from_mm[0], part->to_mm[1] - part->from_mm[1],
               part->to_mm[2] - part->from_mm[2]};
    double length = sqrt(along.x * along.x + along.y * along.y + along.z * along.z);
    along = (V){along.x / length, along.y / length, along.z / length};
    V any = fabs(along.x) < 0.6 ? (V){1, 0, 0} : (V){0, 1, 0};
    V side = {along.y * any.z - along.z * any.y, along.z * any.x - along.x * any.z,
              along.x * any.y - along.y * any.x};
    double side_length = sqrt(side.x * side.x + side.y * side.y + side.z * side.z);
    side = (V){side.x / side_length, side.y / side_length, side.z / side_length};
    V front = {along.y * side.z - along.z * side.y, along.z * side.x - along.x * side.z,
               along.x * side.y - along.y * side.x};
    V axes[3] = {side, front, along};
    double o[3];
    double v[3];
    for (int i = 0; i < 3; i++) {
        o[i] = -(axes[i].x * part->from_mm[0] + axes[i].y * part->from_mm[1] + axes[i].z * part->from_mm[2]);
        v[i] = axes[i].x * d.x + axes[i].y * d.y + axes[i].z * d.z;
    }
    for (int end = 0; end < 2; end++) {
        double t = (end * length - o[2]) / v[2];
        if (t > 0 && hypot(o[0] + t * v[0], o[1] + t * v[1]) <= part->radius_mm)
            return true;
    }
    double a = v[0] * v[0] + v[1] * v[1];
    double b = 2 * (o[0] * v[0] + o[1] * v[1]);
    double c = o[0] * o[0] + o[1] * o[1] - part->radius_mm * part->radius_mm;
    for (int root = -1; root <= 1; root += 2) {
        double t = (-b + root * sqrt(b * b - 4 * a * c)) / (2 * a);
        if (t > 0 && o[2] + t * v[2] >= 0 && o[2] + t * v[2] <= length)
            return true;
    }
    return false;
}

static bool caster_disc(const UfPart *part, V d)
{
    double t = part->from_mm[1] / d.y;
    return t > 0 && hypot(t * d.x - part->from_mm[0], t * d.z - part->from_mm[2]) <= part->radius_mm;
}

static bool caster_blocked(const UfRig *rig, V d, double pan_rad)
{
    for (size_t i = 0; i < uf_rig_part_count(rig); i++) {
        const UfPart *part = uf_rig_part(rig, i);
        for (size_t copy = 0; copy < part->copies; copy++) {
            double angle = (part->turns ? pan_rad : 0) + 2 * UF_PI * (double)copy / (double)part->copies;
            V local = turn_about_y(d, -angle);
            if (part->shape == UF_PART_BOX   ? caster_box(part, local)
                : part->shape == UF_PART_ROD ? caster_rod(part, local)
                                             : caster_disc(part, local))
                return true;
        }
    }
    return false;
}

UfSight caster_sight(const UfRig *rig, UfDirection direction)
{
    UfSight sight = {0, 0};
    V d = {direction.x, direction.y, direction.z};
    for (size_t i = 0; i < uf_rig_frame_count(rig); i++) {
        const UfFrame *frame = uf_rig_frame(rig, i);
        if (!caster_contains(uf_rig_camera(rig), frame, d))
            continue;
        sight.containing++;
        sight.seeing += caster_blocked(rig, d, frame->pan_rad) ? 0 : 1;
    }
    return sight;
}
