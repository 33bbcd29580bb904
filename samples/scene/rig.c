/* Rig files and rays against their parts. */
#include "rig.h"

#include <ini.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/report.h"

#define RADIANS (PI / 180)

typedef struct Reading {
    Rig *rig;
    const char *path;
    UfReport *report;
    bool failed;
    char row[48]; /* the row or shot being read */
    double row_tilt, row_pan;
} Reading;

static int numbers(const char *text, double *values, int most)
{
    int count = 0;
    char *end;
    for (;; text = end) {
        double v = strtod(text, &end);
        if (end == text || count == most)
            return count;
        values[count++] = v;
        while (*end == ' ' || *end == 'x' || *end == '\t')
            end++;
    }
}

static bool sensor(Rig *rig, const char *value)
{
    static const struct {
        const char *name;
        double a, b;
    } formats[] = {{"full-frame", 36, 24}, {"aps-c", 23.5, 15.6}, {"four-thirds", 17.3, 13}};
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++)
        if (strcmp(value, formats[i].name) == 0) {
            rig->long_side = formats[i].a;
            rig->short_side = formats[i].b;
            return true;
        }
    double v[2];
    if (numbers(value, v, 2) != 2)
        return false;
    rig->long_side = v[0];
    rig->short_side = v[1];
    return true;
}

static bool point(const char *value, V3 *out)
{
    double v[3];
    if (numbers(value, v, 3) != 3)
        return false;
    *out = v3(v[0] / 1000, v[1] / 1000, v[2] / 1000);
    return true;
}

static bool number(const char *value, double scale, double *out)
{
    double v;
    if (numbers(value, &v, 1) != 1)
        return false;
    *out = v * scale;
    return true;
}

static bool read_part(Rig *rig, const char *section, const char *key, const char *value)
{
    const char *name = section + 5;
    RigPart *part = rig->part_count == 0 ? NULL : &rig->parts[rig->part_count - 1];
    if (part == NULL || strcmp(part->name, name) != 0) {
        if (rig->part_count == RIG_MAX_PARTS || strlen(name) >= sizeof part->name)
            return false;
        part = &rig->parts[rig->part_count++];
        *part = (RigPart){.copies = 1};
        snprintf(part->name, sizeof part->name, "%s", name);
    }
    double copies;
    if (strcmp(key, "turns") == 0)
        part->turns = strcmp(value, "yes") == 0;
    else if (strcmp(key, "shape") == 0)
        part->shape = strcmp(value, "box") == 0 ? RIG_BOX : strcmp(value, "rod") == 0 ? RIG_ROD : RIG_DISC;
    else if (strcmp(key, "from") == 0 || strcmp(key, "centre") == 0)
        return point(value, &part->from);
    else if (strcmp(key, "to") == 0)
        return point(value, &part->to);
    else if (strcmp(key, "radius") == 0)
        return number(value, 0.001, &part->radius);
    else if (strcmp(key, "copies") == 0 && number(value, 1, &copies))
        part->copies = (int)copies;
    else
        return false;
    return true;
}

static bool add_frame(Rig *rig, double pan, double tilt)
{
    if (rig->frame_count == RIG_MAX_FRAMES)
        return false;
    rig->frames[rig->frame_count++] = (RigFrame){.pan = pan, .tilt = tilt};
    return true;
}

/* A row's tilt comes before its frames; a shot's tilt and pan in any order: the frame is the last one added.
 */
static bool read_row(Reading *reading, const char *section, const char *key, const char *value)
{
    Rig *rig = reading->rig;
    bool shot = strncmp(section, "shot ", 5) == 0;
    if (strcmp(reading->row, section) != 0) {
        snprintf(reading->row, sizeof reading->row, "%s", section);
        reading->row_tilt = reading->row_pan = 0;
        if (shot && !add_frame(rig, 0, 0))
            return false;
    }
    double count;
    if (strcmp(key, "tilt") == 0 && number(value, RADIANS, &reading->row_tilt)) {
        if (shot)
            rig->frames[rig->frame_count - 1].tilt = reading->row_tilt;
        return true;
    }
    if (strcmp(key, "pan") == 0 && number(value, RADIANS, &reading->row_pan)) {
        if (shot)
            rig->frames[rig->frame_count - 1].pan = reading->row_pan;
        return true;
    }
    if (shot || strcmp(key, "frames") != 0 || !number(value, 1, &count) || count < 1)
        return false;
    for (int i = 0; i < (int)count; i++)
        if (!add_frame(rig, reading->row_pan + i * 2 * PI / (int)count, reading->row_tilt))
            return false;
    return true;
}

static bool read_optics(Rig *rig, const char *key, const char *value)
{
    if (strcmp(key, "sensor") == 0)
        return sensor(rig, value);
    if (strcmp(key, "pixels") == 0)
        return true; /* the panorama's size is asked for at the command line */
    if (strcmp(key, "hold") == 0)
        rig->portrait = strcmp(value, "portrait") == 0;
    else if (strcmp(key, "focal") == 0)
        return number(value, 1, &rig->focal);
    else if (strcmp(key, "mapping") == 0)
        snprintf(rig->mapping, sizeof rig->mapping, "%s", value);
    else if (strcmp(key, "reach") == 0)
        return number(value, RADIANS, &rig->reach);
    else if (strcmp(key, "height") == 0)
        return number(value, 0.001, &rig->height);
    else
        return false;
    return true;
}

static int take(void *user, const char *section, const char *key, const char *value)
{
    Reading *reading = user;
    bool good;
    if (strncmp(section, "part ", 5) == 0)
        good = read_part(reading->rig, section, key, value);
    else if (strncmp(section, "row ", 4) == 0 || strncmp(section, "shot ", 5) == 0)
        good = read_row(reading, section, key, value);
    else if (strcmp(section, "edge") == 0)
        good = true; /* the margin is for those who cover the hardware */
    else
        good = read_optics(reading->rig, key, value);
    if (!good && !reading->failed) {
        reading->failed = true;
        uf_fail(reading->report, UF_ERROR_FORMAT, "%s: [%s] %s = %s makes no sense here", reading->path,
                section, key, value);
    }
    return good ? 1 : 0;
}

/* The band of slopes that a part can cover from the pupil, whatever the pan; wide rather than tight. */
static void set_band(RigPart *p)
{
    V3 a = p->from, b = p->shape == RIG_DISC ? p->from : p->to;
    double low = lesser(a.y, b.y) - p->radius, high = greater(a.y, b.y) + p->radius;
    double far = greater(hypot(a.x, a.z), hypot(b.x, b.z)) + p->radius;
    if (p->shape == RIG_BOX)
        far = hypot(greater(fabs(a.x), fabs(b.x)), greater(fabs(a.z), fabs(b.z)));
    /* how near the axis it comes is not worked out: below the pupil the band reaches down to the nadir */
    p->high_slope = high < 0 ? high / far : INFINITY;
    p->low_slope = low > 0 ? low / far : -INFINITY;
}

/* What rays need again and again. */
static void prepare(Rig *rig)
{
    for (int i = 0; i < rig->frame_count; i++) {
        RigFrame *f = &rig->frames[i];
        f->cos_pan = cos(f->pan);
        f->sin_pan = sin(f->pan);
        f->cos_tilt = cos(f->tilt);
        f->sin_tilt = sin(f->tilt);
    }
    rig->around = 0;
    for (int i = 0; i < rig->part_count; i++) {
        RigPart *p = &rig->parts[i];
        double x = greater(fabs(p->from.x), fabs(p->to.x)), z = greater(fabs(p->from.z), fabs(p->to.z));
        p->step_cos = cos(2 * PI / p->copies);
        p->step_sin = sin(2 * PI / p->copies);
        set_band(p);
        rig->around = greater(rig->around, hypot(x, z) + p->radius);
    }
}

UfStatus rig_read(const char *path, Rig *out, UfReport *report)
{
    Rig rig = {.reach = PI};
    Reading reading = {.rig = &rig, .path = path, .report = report};
    int result = ini_parse(path, take, &reading);
    if (reading.failed)
        return UF_ERROR_FORMAT;
    if (result < 0)
        return uf_fail_errno(report, "cannot be read", path);
    if (result > 0)
        return uf_fail(report, UF_ERROR_FORMAT, "%s: line %d is not a [section] or a key = value", path,
                       result);
    if (rig.focal <= 0 || rig.height <= 0 || rig.long_side <= 0 || rig.frame_count == 0)
        return uf_fail(report, UF_ERROR_FORMAT, "%s: needs sensor, focal, height and frames", path);
    prepare(&rig);
    *out = rig;
    return UF_OK;
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
    if (part->shape == RIG_BOX)
        return trace_box(part, from, along, distance, normal);
    if (part->shape == RIG_ROD)
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

/* r = focal x this. Sources as for the lens names: J. Kannala and S. S. Brandt, IEEE TPAMI 28(8), 2006. */
static double mapped(const char *mapping, double theta)
{
    if (strcmp(mapping, "rectilinear") == 0)
        return theta < PI / 2 ? tan(theta) : INFINITY;
    if (strcmp(mapping, "stereographic") == 0)
        return 2 * tan(theta / 2);
    if (strcmp(mapping, "equisolid") == 0)
        return 2 * sin(theta / 2);
    if (strcmp(mapping, "orthographic") == 0)
        return theta <= PI / 2 ? sin(theta) : INFINITY;
    return theta;
}

static bool in_frame(const Rig *rig, const RigFrame *frame, V3 along)
{
    V3 d = turn(along, frame->cos_pan, -frame->sin_pan);
    double c = frame->cos_tilt, s = frame->sin_tilt;
    d = v3(d.x, c * d.y - s * d.z, c * d.z + s * d.y);
    double across = sqrt(d.x * d.x + d.y * d.y), theta = atan2(across, d.z);
    double r = rig->focal * mapped(rig->mapping, theta);
    double x = across > 0 ? fabs(r * d.x / across) : 0, y = across > 0 ? fabs(r * d.y / across) : 0;
    double half_x = (rig->portrait ? rig->short_side : rig->long_side) / 2;
    double half_y = (rig->portrait ? rig->long_side : rig->short_side) / 2;
    return theta <= rig->reach && x <= half_x && y <= half_y;
}

bool rig_hides(const Rig *rig, V3 along, RigHit *hit)
{
    V3 pupil = {0, 0, 0};
    bool blocked = false;
    RigHit other;
    for (int i = 0; i < rig->frame_count; i++) {
        const RigFrame *frame = &rig->frames[i];
        bool seen = in_frame(rig, frame, along);
        if (blocked && !seen)
            continue;
        Turn pan = {frame->cos_pan, frame->sin_pan};
        bool hits = nearest_part(rig, pupil, along, pan, INFINITY, blocked, blocked ? &other : hit);
        if (!hits && seen)
            return false;
        blocked = blocked || hits;
    }
    return blocked;
}
