/*
 * Where a picture came from: its home address.
 *
 * A face, a view, a sheet of faces or a small planet that was taken out of a panorama carries what it shows,
 * the size it had, how it was sampled, and which panorama it belongs to. With that address the same
 * extraction can be made anew, sample for sample, however the picture was edited meanwhile.
 *
 * The address travels twice: as properties in the picture's XMP (namespace UF_HOME_NAMESPACE), and in a small
 * text file beside it, the sidecar, named after the picture with UF_HOME_SUFFIX behind
 * ("front.png.home.ini"), for editors that drop what they do not know. docs/home-address.md describes both.
 */
#ifndef UNDERFOOT_HOME_H
#define UNDERFOOT_HOME_H

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/remap.h>
#include <underfoot/sphere.h>

UF_API_BEGIN

/* A name, never fetched: .invalid leads nowhere by RFC 2606 and RFC 6761. */
#define UF_HOME_NAMESPACE "https://underfoot.invalid/ns/home/1.0/"
#define UF_HOME_SUFFIX    ".home.ini"

typedef enum UfHomeKind {
    UF_HOME_FACE = 0, /* one cube face */
    UF_HOME_VIEW,     /* a rectilinear view */
    UF_HOME_PLANET,   /* a stereographic planet */
    UF_HOME_STRIP,    /* six faces side by side: front right back left up down */
    UF_HOME_CROSS, /* 4 x 3 faces: left front right back in the middle row, up above front, down below it */
    UF_HOME_KIND_COUNT
} UfHomeKind;

/* "face", "view", "planet", "strip", "cross"; NULL for a value out of range. */
const char *uf_home_kind_name(UfHomeKind kind);

/* 128 bits of XXH3 over a picture's size, channels, sample type and some of its rows; the same pixels give
 * the same one. */
typedef struct UfFingerprint {
    uint8_t bytes[16];
} UfFingerprint;

/* Over rows [first_px, end_px), which are there; over all of them when end_px is 0. */
UfFingerprint uf_picture_fingerprint(const UfPicture *picture, size_t first_px, size_t end_px);
bool uf_fingerprint_same(const UfFingerprint *a, const UfFingerprint *b);

#define UF_HOME_SOURCE_BYTES 120

/*
 * Angles are in degrees, as they are written; they are rounded to UF_HOME_STEPS_DEG steps to the degree
 * whenever they are used, so that an address that was written and read makes exactly the same picture.
 */
typedef struct UfHome {
    UfHomeKind kind;
    UfFace face;                         /* FACE only */
    double yaw_deg, pitch_deg, roll_deg; /* VIEW: the camera's; PLANET: yaw is the heading, the others 0 */
    double fov_deg;                      /* VIEW and PLANET: the full angle across the width */
    bool sky_centre;                     /* PLANET only */
    size_t width_px, height_px;          /* of the whole picture as it was taken out */
    UfSampling sampling;
    size_t panorama_width_px; /* its height is half of that */
    /* The panorama's rows [first_row_px, end_row_px) that the picture looks at; all of them when both are 0.
     */
    size_t first_row_px, end_row_px;
    UfFingerprint fingerprint; /* of these rows as they were read */
    /* The panorama's file name without folders, for people; cut when it is long. UTF-8, "" when not known. */
    char source[UF_HOME_SOURCE_BYTES];
} UfHome;

#define UF_HOME_STEPS_DEG   1000000000LL
#define UF_VIEW_FOV_MAX_DEG 170.0

/* UF_ERROR_ARGUMENT when a value makes no sense (a face that is not square, an angle out of range ...). */
UfStatus uf_home_check(const UfHome *home, UfReport *report);
/*
 * The rows [*first_px, *end_px) of its panorama that the picture's pixels come from, all taps included:
 * reading these (UfReadOptions) is enough for uf_home_set_panorama and uf_home_extract. A sheet's are all of
 * them. The address must be good but for what uf_home_set_panorama sets, panorama_width_px given.
 */
UfStatus uf_home_rows(const UfHome *home, size_t *first_px, size_t *end_px, UfReport *report);
/*
 * Sets panorama_width_px, rows, fingerprint and source; `path` may be NULL. The panorama must be 2:1, and
 * hold the rows of uf_home_rows.
 */
UfStatus uf_home_set_panorama(UfHome *home, const UfPicture *panorama, const char *path, UfReport *report);
/* Whether `panorama` has the pixels that the picture was made of. */
bool uf_home_is_of(const UfHome *home, const UfPicture *panorama);
/*
 * UF_OK when `panorama` is the one that the picture was taken from, as far as the picture looks at it;
 * otherwise UF_ERROR_ARGUMENT with a message that says what differs.
 */
UfStatus uf_home_check_panorama(const UfHome *home, const UfPicture *panorama, UfReport *report);

/*
 * The view that a FACE, VIEW or PLANET is, at the size it was taken out. For another size (an edit that was
 * resized) give that size: width and height must keep their ratio to within one pixel.
 */
UfStatus uf_home_view(const UfHome *home, UfView *out, UfReport *report);
UfStatus uf_home_view_at(const UfHome *home, size_t width_px, size_t height_px, UfView *out,
                         UfReport *report);
/* The corner of a face on a STRIP or CROSS whose faces are `face_px` wide; in faces when face_px is 1. */
void uf_home_sheet_place(UfHomeKind kind, UfFace face, size_t face_px, size_t *x_px, size_t *y_px);
/* How many faces a sheet is wide and high: 6 x 1, 4 x 3. */
void uf_home_sheet_size(UfHomeKind kind, size_t *across, size_t *down);

/*
 * Takes the picture out of the panorama. The result depends on the panorama's pixels and on the address only:
 * the same call makes the same samples again, also of a panorama that was read in part (uf_home_rows). It has
 * the panorama's sample type, channels and profile; a cross has an alpha channel more, 0 where there is no
 * face. The panorama must have the address's width; the fingerprint is not compared here. `rows`: as
 * uf_remap's, NULL for none; the rows of a sheet are not told of. On success the caller owns *out.
 */
UfStatus uf_home_extract(const UfHome *home, const UfPicture *panorama, int threads, const UfRemapRows *rows,
                         UfPicture **out, UfReport *report);

/*
 * Gives `picture` the panorama's metadata, less what says that it is a panorama, and the address in its XMP.
 * XMP that cannot be read is left out, with a warning.
 */
UfStatus uf_home_dress(const UfHome *home, const UfPicture *panorama, UfPicture *picture, UfReport *report);

/* The address in the picture's XMP: set, removed, read. *found is false when there is none. */
UfStatus uf_home_set(UfPicture *picture, const UfHome *home, UfReport *report);
UfStatus uf_home_drop(UfPicture *picture, UfReport *report);
UfStatus uf_home_get(const UfPicture *picture, UfHome *out, bool *found, UfReport *report);

/* "front.png.home.ini" for "front.png"; NULL when there is no memory. Free it. */
char *uf_home_sidecar_name(const char *picture_path);
/* Written whole or not at all, as every output. */
UfStatus uf_home_write_sidecar(const UfHome *home, const char *picture_path, bool overwrite,
                               UfReport *report);
/*
 * Reads the sidecar of `picture_path`. When there is none, those of the same name with the extension of
 * another picture format are tried (an editor saved front.png as front.jpg); two of them that differ are
 * UF_ERROR_UNCLEAR. *found is false when there is none at all.
 */
UfStatus uf_home_read_sidecar(const char *picture_path, UfHome *out, bool *found, UfReport *report);

/*
 * The address of a picture that was read from `path`: its XMP's, or the sidecar's when the XMP has none. When
 * both are there and do not agree, the XMP's is taken, with a warning: it travels inside the file, while a
 * sidecar may have been left behind by another picture of that name. A damaged sidecar beside a good XMP is a
 * warning, too.
 */
UfStatus uf_home_find(const UfPicture *picture, const char *path, UfHome *out, bool *found, UfReport *report);

UF_API_END
#endif
