/*
 * Bringing retouched faces and views home into their panorama.
 *
 * The edited picture is compared with the same extraction made anew; what differs is what the retoucher did.
 * Only that difference is resampled and added to the panorama, through a mask: the panorama's own detail is
 * never resampled, and every sample that the mask does not reach stays as it is, bit for bit.
 *
 * The mask: pixels that differ by more than the tolerance; gaps of up to UF_PUTBACK_GAP_PX between them
 * closed; round them a soft edge, over which what lies below the tolerance fades out. The mask's own weight
 * is 1 wherever a difference was found.
 *
 * Where several edits reach a pixel, a change wins over no change, and of two changes the later edit wins;
 * changes that meet at a common edge of two faces add up to one without a seam.
 *
 * Transparency: a part of the edit that was erased changes nothing. A part that was painted where the
 * panorama is transparent fills it. An edit without transparency brings nothing home where the panorama is
 * transparent.
 */
#ifndef UNDERFOOT_PUTBACK_H
#define UNDERFOOT_PUTBACK_H

#include <underfoot/api.h>
#include <underfoot/home.h>

UF_API_BEGIN

#define UF_PUTBACK_GAP_PX     3.0
#define UF_PUTBACK_FEATHER_PX 2.0

/* One edited picture. All of it is borrowed. */
typedef struct UfEdit {
    const UfPicture *picture;
    const char *name; /* for messages, before a colon */
    UfHome home;      /* FACE, VIEW, STRIP or CROSS */
    /*
     * The address was not found but given by a person: kind, face, yaw, pitch, roll and fov are known; size,
     * sampling and fingerprint are not, and are found by trying.
     */
    bool by_hand;
} UfEdit;

typedef struct UfPutbackOptions {
    double feather_px; /* width of the soft edge in pixels of the edited picture; below 0:
                          UF_PUTBACK_FEATHER_PX */
    double tolerance;  /* in steps of 1/255; below 0: 0 where that is right, otherwise from the noise that is
                          there */
    int threads;       /* 0: all cores */
} UfPutbackOptions;

/* How an edit was compared, and what of it came home. */
typedef struct UfPutbackChange {
    bool changed;
    bool exact;             /* compared sample by sample, tolerance 0 */
    double tolerance;       /* that was used where the picture is plain, in steps of 1/255 */
    size_t changed_px;      /* pixels of the edit that differ */
    double changed_percent; /* of the edit's pixels */
    size_t left_px, top_px, width_px, height_px; /* the smallest rectangle of the edit that holds them */
    double sphere_percent;                       /* their share of the sphere */
    double lon_deg, lat_deg;                     /* the middle of what changed */
    double radius_deg;                           /* of the circle about it that holds all of it */
    bool resized;                                /* it came at another size than it was taken out at */
    bool converted;                              /* it came in another colour space */
    bool other_panorama; /* where the edit looks the fingerprint is another one, but the pictures agree
                            outside the change */
} UfPutbackChange;

/* What changed in the panorama. */
typedef struct UfPutbackResult {
    size_t changed_px;
    size_t top_px, bottom_px; /* rows [top, bottom) hold all of it; both 0 when nothing changed */
    double sphere_percent;
} UfPutbackResult;

/*
 * Brings `count` edits home into `panorama`, which is 2:1, and marks what changed in `touched` (may be NULL).
 * All edits are compared with the panorama as it comes. `changes` has one element for each edit; it and
 * `result` may be NULL. On failure the panorama is as it was, unless memory ran out (UF_ERROR_MEMORY): then
 * it may be changed in part.
 *
 * UF_ERROR_ARGUMENT: a size whose ratio is not that of the extraction, a picture of another panorama (the
 * fingerprint differs and so do the pictures, almost everywhere), a planet. NULL options mean the defaults.
 */
UfStatus uf_putback(UfPicture *panorama, const UfEdit *edits, size_t count, const UfPutbackOptions *options,
                    UfTouched *touched, UfPutbackChange *changes, UfPutbackResult *result, UfReport *report);

/*
 * Writes the panorama that was read from `source_path`: as uf_picture_rewrite, but when nothing changed and
 * the format stays, the file is copied byte for byte.
 */
UfStatus uf_putback_write(const UfPicture *panorama, const char *source_path, const UfTouched *touched,
                          const UfPutbackResult *result, const char *path, const UfWriteOptions *options,
                          UfReport *report);

UF_API_END
#endif
