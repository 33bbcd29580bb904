/* Rigs as rays need them: the library reads the file and knows what frames contain; here are the parts'
 * surfaces. */
#include "rig.h"

#include <math.h>
#include <string.h>

#include "base/report.h"

/* The band of slopes that a part can cover from the pupil, whatever the pan; wide rather than tight. */
static void set_band(RigPart *p)
{
    V3 a = p->from, b = p->shape == UF_PART_DISC ? p->from : p->to;
    double low = lesser(a.y, b.y) - p->radius, high = greater(a.y, b.y) + p->radius;
    double far = greater(hypot(a.x, a.z), hypot(b.x, b.z)) + p->radius;
    if (p->shape == UF_PART_BOX)
        far = hypot(greater(fabs(a.x), fabs(b.x)), greater(fabs(a.z), fabs(b.z)));
    /* how near the axis it comes is not worked out: below the pupil the band reaches down to the nadir */
    p->high_slope = high < 0 ? high / far : INFINITY;
    p->low_slope = low > 0 ? low / far : -INFINITY;
}

static V3 metres(const double mm[3])
{
    return v3(mm[0] / 1000, mm[1] / 1000, mm[2] / 1000);
}

static RigPart take_part(const UfPart *part)
{
    RigPart p = {.shape = part->shape,
                 .turns = part->turns,
                 .from = metres(part->from_mm),
                 .to = metres(part->to_mm),
                 .radius = part->radius_mm / 1000,
                 .copies = (int)part->copies,
                 .step_cos = cos(2 * PI / (double)part->copies),
                 .step_sin = sin(2 * PI / (double)part->copies)};
    memcpy(p.name, part->name, sizeof p.name);
    set_band(&p);
    return p;
}

UfStatus rig_read(const char *path, Rig *out, UfReport *report)
{
    Rig rig = {0};
    UfStatus status = uf_rig_read(path, &rig.plan, report);
    if (status != UF_OK)
        return status;
    if (uf_rig_part_count(rig.plan) > RIG_MAX_PARTS) {
        rig_clear(&rig);
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "%s: has more than %d parts, too many to draw", path,
                       RIG_MAX_PARTS);
    }
    rig.focal = uf_rig_camera(rig.plan)->lens.focal_mm;
    rig.height = uf_rig_height_mm(rig.plan) / 1000;
    for (size_t i = 0; i < uf_rig_part_count(rig.plan); i++) {
        RigPart p = take_part(uf_rig_part(rig.plan, i));
        double x = greater(fabs(p.from.x), fabs(p.to.x)), z = greater(fabs(p.from.z), fabs(p.to.z));
        rig.around = greater(rig.around, hypot(x, z) + p.radius);
        rig.parts[rig.part_count++] = p;
    }
    *out = rig;
    return UF_OK;
}

void rig_clear(Rig *rig)
{
    uf_rig_free(&rig->plan);
}

/* A turn about the vertical axis. */
typedef struct Turn {
    double c, s;
} Turn;

static Turn turn_by(double angle)
{
    return (Turn){cos(angle), sin(angle)};
}

static V3 turn(V3 v, double c, double s)
{
    return v3(c * v.x + s * v.z, v.y, c * v.z - s * v.x);
}

static bool trace_box(const RigPart *part, V3 from, V3 along, double *distance, V3 *normal)
{
    double lo[3] = {part->from.x, part->from.y, part->from.z}, hi[3] = {part->to.x, part->to.y, part->to.z};
    double o[3] = {from.x, from.y, from.z}, d[3] = {along.x, along.y, along.z};
    double in = -INFINITY, out = INFINITY, side = 0;
    int axis = 0;
    for (int i = 0; i < 3; i++) {
        double inverse = 1 / (fabs(d[i]) < 1e-12 ? 1e-12 : d[i]);
        double a = (lesser(lo[i], hi[i]) - o[i]) * inverse, b = (greater(lo[i], hi[i]) - o[i]) * inverse;
        if (lesser(a, b) > in) {
            in = lesser(a, b);
            axis = i;
            side = inverse > 0 ? -1 : 1;
        }
        out = lesser(out, greater(a, b));
    }
    if (in > out || in <= 0)
        return false;
    *distance = in;
    *normal = v3(axis == 0 ? side : 0, axis == 1 ? side : 0, axis == 2 ? side : 0);
    return true;
}

/* A rod is a cylinder with flat ends. */
static bool trace_rod(const RigPart *part, V3 from, V3 along, double *distance, V3 *normal)
{
    V3 span = v_sub(part->to, part->from), o = v_sub(from, part->from);
    double length = v_length(span), best = INFINITY;
    V3 axis = v_scale(span, 1 / length);
    double od = v_dot(o, axis), dd = v_dot(along, axis);
    V3 oa = v_along(o, axis, -od), da = v_along(along, axis, -dd);
    double a = v_dot(da, da), b = v_dot(oa, da), c = v_dot(oa, oa) - part->radius * part->radius;
    double root = b * b - a * c;
    if (a > 1e-12 && root >= 0) {
        double t = (-b - sqrt(root)) / a, s = od + t * dd;
        if (t > 0 && s >= 0 && s <= length) {
            best = t;
            *normal = v_scale(v_along(oa, da, t), 1 / part->radius);
        }
    }
    for (int end = 0; end < 2 && fabs(dd) > 1e-12; end++) {
        double t = (end * length - od) / dd;
        V3 across = v_along(oa, da, t);
        if (t > 0 && t < best && v_dot(across, across) <= part->radius * part->radius) {
            best = t;
            *normal = v_scale(axis, dd > 0 ? -1 : 1);
        }
    }
    *distance = best;
    return best < INFINITY;
}

static bool trace_disc(const RigPart *part, V3 from, V3 along, double *distance, V3 *normal)
{
    double t = fabs(along.y) < 1e-12 ? -1 : (part->from.y - from.y) / along.y;
    double x = from.x + t * along.x - part->from.x, z = from.z + t * along.z - part->from.z;
    if (t <= 0 || x * x + z * z > part->radius * part->radius)
        return false;
    *distance = t;
    *normal = v3(0, along.y > 0 ? -1 : 1, 0);
    return true;
}

static bool trace_part(const RigPart *part, V3 from, V3 along, double *distance, V3 *normal)
{
    if (part->shape == UF_PART_BOX)
        return trace_box(part, from, along, distance, normal);
    if (part->shape == UF_PART_ROD)
        return trace_rod(part, from, along, distance, normal);
    return trace_disc(part, from, along, distance, normal);
}

/* False when the ray stays clear of the upright cylinder that holds all parts. */
static bool comes_near(const Rig *rig, V3 from, V3 along)
{
    double a = along.x * along.x + along.z * along.z, b = from.x * along.x + from.z * along.z;
    double t = a > 1e-12 ? greater(0, -b / a) : 0, x = from.x + t * along.x, z = from.z + t * along.z;
    return x * x + z * z <= rig->around * rig->around;
}

static bool nearest_part(const Rig *rig, V3 from, V3 along, Turn pan, double reach, bool any, RigHit *hit)
{
    bool found = false, pupil = v_dot(from, from) == 0;
    double slope = pupil ? along.y / (hypot(along.x, along.z) + 1e-12) : 0;
    for (int i = 0; i < rig->part_count; i++) {
        const RigPart *part = &rig->parts[i];
        if (pupil && (slope > part->high_slope || slope < part->low_slope))
            continue;
        Turn at = part->turns ? pan : (Turn){1, 0};
        for (int copy = 0; copy < part->copies; copy++) {
            double distance;
            V3 normal = {0, 0, 0};
            if (trace_part(part, turn(from, at.c, -at.s), turn(along, at.c, -at.s), &distance, &normal) &&
                distance < reach) {
                reach = distance;
                *hit = (RigHit){distance, part, v_along(from, along, distance), turn(normal, at.c, at.s)};
                found = true;
                if (any)
                    return true;
            }
            at = (Turn){at.c * part->step_cos - at.s * part->step_sin,
                        at.s * part->step_cos + at.c * part->step_sin};
        }
    }
    return found;
}

bool rig_trace(const Rig *rig, V3 from, V3 along, double pan, double reach, RigHit *hit)
{
    return comes_near(rig, from, along) && nearest_part(rig, from, along, turn_by(pan), reach, false, hit);
}

/*
 * The frames that contain the direction are the library's affair. Where none of them sees it, the first frame
 * that something stands in the way of shows it; where nothing does, the place behind is shown.
 */
bool rig_hides(const Rig *rig, V3 along, RigHit *hit)
{
    V3 pupil = {0, 0, 0};
    double slope = along.y / (hypot(along.x, along.z) + 1e-12), high = -INFINITY;
    for (int i = 0; i < rig->part_count; i++)
        high = greater(high, rig->parts[i].high_slope);
    if (slope > high || uf_rig_sight(rig->plan, (UfDirection){along.x, along.y, along.z}).seeing > 0)
        return false;
    for (size_t i = 0; i < uf_rig_frame_count(rig->plan); i++)
        if (nearest_part(rig, pupil, along, turn_by(uf_rig_frame(rig->plan, i)->pan_rad), INFINITY, false,
                         hit))
            return true;
    return false;
}
