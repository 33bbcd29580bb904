/*
 * What lens, frames and hardware leave unseen: the capture planner.
 *
 * A rig is a camera with a lens on a panning head, the frames it takes, and the hardware about it, read from
 * a rig file (docs/planning.md describes it). Axes as in <underfoot/sphere.h>, origin at the entrance pupil,
 * which lies on the vertical axis of the head: x right, y up, z forward at pan 0. A frame looks along Ry(pan)
 * Rx(tilt) z. A direction is contained in a frame when the lens images it onto the sensor; it is seen when
 * some frame contains it with no part in the way. Millimetres for hardware, metres for the floor.
 */
#ifndef UNDERFOOT_PLAN_H
#define UNDERFOOT_PLAN_H

#include <stdbool.h>
#include <stddef.h>

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/sphere.h>

UF_API_BEGIN

/*
 * How a lens maps the angle theta from its axis to the distance r from the picture's centre, f the focal
 * length: rectilinear    r = f tan theta          equidistant   r = f theta stereographic  r = 2 f
 * tan(theta/2)     equisolid     r = 2 f sin(theta/2) orthographic   r = f sin theta          polynomial    r
 * = f theta (1 + k1 t^2 + k2 t^4 + k3 t^6 + k4 t^8), t = theta in radians Sources: J. Kannala and S. S.
 * Brandt, IEEE TPAMI 28(8), 1335-1340 (2006), (1)-(6); the polynomial in the form of OpenCV's fisheye model.
 */
typedef enum UfMapping {
    UF_MAPPING_RECTILINEAR = 0,
    UF_MAPPING_EQUIDISTANT,
    UF_MAPPING_EQUISOLID,
    UF_MAPPING_STEREOGRAPHIC,
    UF_MAPPING_ORTHOGRAPHIC,
    UF_MAPPING_POLYNOMIAL,
    UF_MAPPING_COUNT
} UfMapping;

/* The name in lower case, NULL for a value out of range. */
const char *uf_mapping_name(UfMapping mapping);
/* True and *out set when `name` is one of them. */
bool uf_mapping_from_name(const char *name, UfMapping *out);

typedef struct UfLens {
    UfMapping mapping;
    double focal_mm;  /* > 0 */
    double k[4];      /* polynomial only: k1..k4 */
    double reach_rad; /* largest half-angle inside the image circle; 0: as far as the mapping goes */
} UfLens;

/*
 * The largest half-angle that the lens images: the reach, or the mapping's own limit (90 degrees for
 * rectilinear and orthographic, where a polynomial stops growing, otherwise 180).
 */
double uf_lens_limit_rad(const UfLens *lens);
/* False (and *radius_mm untouched) for an angle below 0 or beyond the limit. */
bool uf_lens_radius_mm(const UfLens *lens, double angle_rad, double *radius_mm);
/* The inverse: false (and *angle_rad untouched) for a radius that no angle within the limit has. */
bool uf_lens_angle_rad(const UfLens *lens, double radius_mm, double *angle_rad);
/*
 * Full angle over a length centred in the picture. The reach cuts it; without a reach it is false where the
 * mapping does not go as far as half the length.
 */
bool uf_lens_field_rad(const UfLens *lens, double length_mm, double *field_rad);

typedef struct UfCamera {
    double sensor_long_mm, sensor_short_mm;
    size_t long_px, short_px;
    bool portrait; /* the long side stands upright */
    UfLens lens;
    double aperture;        /* f-number; 0: not given */
    double confusion_mm;    /* diameter of the blur that still counts as sharp */
    double focus_m;         /* distance the lens is focused at; 0: the hyperfocal distance */
    double nearest_m;       /* distance of the nearest thing that matters; 0: not given */
    double pupil_offset_mm; /* the entrance pupil lies this far in front of the pan axis (negative: behind) */
} UfCamera;

typedef struct UfField {
    double across_rad, down_rad, diagonal_rad; /* full angles; across is the picture's width as it is held */
} UfField;

UfField uf_camera_field(const UfCamera *camera);
/*
 * Width of the equirectangular panorama that keeps the resolution of the picture's centre, even:
 * 2 pi f long_px / sensor_long, because every mapping has dr/dtheta = f on the axis.
 */
size_t uf_camera_native_width_px(const UfCamera *camera);

/* Thin-lens depth of field (textbook optics). */
typedef struct UfSharpness {
    double hyperfocal_m; /* f^2/(N c) + f */
    double focus_m;
    double near_m, far_m; /* sharp from .. to; far is INFINITY from the hyperfocal distance on */
    double
        diffraction_mm; /* diameter of the Airy disc to its first dark ring, 2.44 lambda N, lambda = 550 nm */
    double pixel_mm;    /* one pixel of the sensor */
} UfSharpness;

/* False when the rig names no aperture. */
bool uf_camera_sharpness(const UfCamera *camera, UfSharpness *out);

/*
 * Angle by which an object half-way between two neighbouring frames shifts from one to the other, when the
 * entrance pupil goes round the axis at a distance: 2 atan(e sin(s/2) / (D - e cos(s/2))), e = offset, s =
 * step, D = distance of the object from the axis, D > |e|.
 */
double uf_parallax_rad(double offset_mm, double step_rad, double distance_m);
/* The offset that makes the parallax equal to an angle: how well the head must be set up. */
double uf_parallax_offset_mm(double parallax_rad, double step_rad, double distance_m);

typedef enum UfPartShape { UF_PART_BOX = 0, UF_PART_ROD, UF_PART_DISC } UfPartShape;

#define UF_RIG_NAME_BYTES 40

/*
 * A piece of hardware in the camera's frame at pan 0. Box: edges along the axes. Rod: a cylinder with flat
 * ends. Disc: horizontal, without thickness. Copies are turned evenly about the vertical axis through the
 * origin.
 */
typedef struct UfPart {
    char name[UF_RIG_NAME_BYTES];
    UfPartShape shape;
    bool turns;                  /* goes round with the pan (not with the tilt) */
    double from_mm[3], to_mm[3]; /* box: lower and upper corner; rod: its ends; disc: centre, in from_mm */
    double radius_mm;            /* rod, disc */
    size_t copies;
    int line; /* of its heading in the rig file */
} UfPart;

/* A row of frames evenly round, or a single shot. */
typedef struct UfRow {
    char name[UF_RIG_NAME_BYTES];
    bool is_shot;
    double tilt_rad, pan_rad; /* pan of the first frame */
    size_t frame_count, first_frame;
    double step_rad; /* pan from frame to frame: a full turn / frame_count */
    /*
     * Width of a frame in longitude along the parallel through its centre, and the share of it that the next
     * frame has too, 1 - step/width: below 0 where they leave a gap, 0 for a single frame.
     */
    double width_rad, overlap;
    int line;
} UfRow;

typedef struct UfFrame {
    double pan_rad, tilt_rad;
    size_t row;
} UfFrame;

typedef struct UfPace {
    bool given;
    double exposure_s; /* of one frame, all its brackets together */
    double wait_s;     /* before each exposure */
    double turn_rad_s; /* speed of panning and tilting */
} UfPace;

/* A camera, its frames and the hardware about it. Opaque. */
typedef struct UfRig UfRig;

/*
 * Reads a rig file. Every mistake in it is UF_ERROR_FORMAT with the file, the line, and what to do about it.
 * On success the caller owns *out.
 */
UfStatus uf_rig_read(const char *path, UfRig **out, UfReport *report);
void uf_rig_free(UfRig **rig);
UfStatus uf_rig_copy(const UfRig *rig, UfRig **out, UfReport *report);
/* One more frame, as a row of its own with that name. */
UfStatus uf_rig_add_frame(UfRig *rig, const char *name, double pan_rad, double tilt_rad, UfReport *report);

/* Borrowed; they last as long as the rig, those of rows and frames until a frame is added. */
const UfCamera *uf_rig_camera(const UfRig *rig);
const UfPace *uf_rig_pace(const UfRig *rig);
double uf_rig_height_mm(const UfRig *rig);
double uf_rig_margin_rad(const UfRig *rig);
size_t uf_rig_row_count(const UfRig *rig);
const UfRow *uf_rig_row(const UfRig *rig, size_t index);
size_t uf_rig_frame_count(const UfRig *rig);
const UfFrame *uf_rig_frame(const UfRig *rig, size_t index);
size_t uf_rig_part_count(const UfRig *rig);
const UfPart *uf_rig_part(const UfRig *rig, size_t index);

typedef struct UfSight {
    size_t containing; /* frames that contain the direction */
    size_t seeing;     /* those of them with no part in the way */
} UfSight;

/* The direction is a unit vector. */
UfSight uf_rig_sight(const UfRig *rig, UfDirection direction);

/* What counts towards a cap about a pole: unseen directions no farther from it than this. */
#define UF_PLAN_POLE_ZONE_DEG 70.0

/* A connected area that no frame sees. */
typedef struct UfBlindArea {
    double lon_rad, lat_rad; /* its centre of gravity */
    double radius_rad;       /* of the smallest circle about that centre that holds it */
    double share;            /* of the sphere, 0..1 */
    double lens_share;       /* that part of the share which no frame contains; the rest is behind hardware */
} UfBlindArea;

#define UF_PLAN_MAX_BLIND 64

/* What sets the size of the cap. */
typedef enum UfCapCause { UF_CAP_NOTHING = 0, UF_CAP_LENS, UF_CAP_PART } UfCapCause;

typedef struct UfPlan {
    UfField field;
    size_t native_width_px;
    size_t width_px;                      /* of the panorama that rows_px is for */
    double seen_share;                    /* of the sphere */
    double contained_share;               /* what the frames would see without any hardware */
    double stable_share;                  /* how far the shares moved when the sampling was last refined */
    size_t blind_count;                   /* all areas of more than a millionth of the sphere */
    UfBlindArea blind[UF_PLAN_MAX_BLIND]; /* the largest of them first */
    /* Caps are half-angles about the pole; 0 where nothing is unseen. */
    double lens_cap_rad; /* nadir: what the frames do not contain */
    /*
     * Nadir: what is behind hardware in every frame that contains it; a direction that no frame contains
     * counts when the hardware would be in the way in every frame.
     */
    double hardware_cap_rad;
    double unseen_cap_rad;   /* nadir: both together */
    double cap_rad;          /* nadir: unseen_cap_rad and the margin */
    double floor_diameter_m; /* of the cap on the floor */
    size_t rows_px;          /* rows of the panorama that the cap reaches into */
    UfDirection nadir_edge;  /* the unseen direction farthest from the nadir, within the zone */
    UfCapCause cause;
    size_t cause_part;                          /* for UF_CAP_PART: the part that is in the way there */
    double zenith_lens_cap_rad, zenith_cap_rad; /* zenith: not contained, not seen; without margin */
    bool has_time;
    double time_s; /* from the rig's pace */
} UfPlan;

typedef struct UfPlanOptions {
    size_t width_px; /* 0: the native width */
    int threads;     /* 0: all cores; never changes the result */
} UfPlanOptions;

/* NULL options mean the defaults. */
UfStatus uf_plan(const UfRig *rig, const UfPlanOptions *options, UfPlan *out, UfReport *report);

/* What would make the cap smaller, found by trying it. */
typedef enum UfAdviceKind {
    UF_ADVICE_ADD_FRAME = 0, /* a frame at pan, tilt */
    UF_ADVICE_ADD_TWO,       /* frames at pan and second_pan, tilt */
    UF_ADVICE_MOVE_PART      /* the cap without this part: what moving it could be worth at most */
} UfAdviceKind;

typedef struct UfAdvice {
    UfAdviceKind kind;
    double pan_rad, second_pan_rad, tilt_rad;
    size_t part;
    double cap_rad; /* with the margin; 0: nothing left to cover */
} UfAdvice;

#define UF_PLAN_MAX_ADVICE 4

/* Fills up to UF_PLAN_MAX_ADVICE entries, the most useful first; only what lowers the cap by 0.1 degrees or
 * more. */
UfStatus uf_plan_advise(const UfRig *rig, const UfPlan *plan, UfAdvice out[UF_PLAN_MAX_ADVICE], size_t *count,
                        UfReport *report);

/*
 * The plan as a drawing: above, the sphere in equirectangular form, coloured by how many frames see each
 * direction, what hardware hides, and what no frame contains; below, the floor from straight above with the
 * hidden area, the cap's circle and a scale; and a legend. On success the caller owns *out.
 */
UfStatus uf_plan_draw(const UfRig *rig, const UfPlan *plan, int threads, UfPicture **out, UfReport *report);

UF_API_END
#endif
