/*
 * What became of one panorama of a tour, and the small pictures of it that the review page shows: what the
 * engine hands to the summary and to the page.
 */
#ifndef UF_TOUR_RECORD_H
#define UF_TOUR_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum UfTourOutcome {
    UF_TOUR_DONE = 0,
    UF_TOUR_WARNED,  /* done, with warnings */
    UF_TOUR_FAILED,  /* no output; `error` says why */
    UF_TOUR_SKIPPED, /* the sheet says so */
    UF_TOUR_OUTCOME_COUNT
} UfTourOutcome;

/* Pieces of a review: 8-bit JPEG files. Views are rectilinear with the orientation of sphere.h: nadir and
 * zenith have yaw 0. */
typedef enum UfTourPiece {
    UF_TOUR_NADIR_BEFORE = 0, /* the original: 640 x 640, pitch -90, field 100 degrees */
    UF_TOUR_NADIR_AFTER,      /* the same view of the result */
    UF_TOUR_SEAM,             /* the result at yaw 180, pitch 0 */
    UF_TOUR_ZENITH,           /* the result at pitch 90 */
    UF_TOUR_AROUND,           /* the whole result, equirectangular, 1536 x 768 */
    UF_TOUR_PIECE_COUNT
} UfTourPiece;

/* Strings are borrowed, never NULL unless said otherwise; file names may hold any bytes but '/' and zero. */
typedef struct UfTourRecord {
    const char *name; /* what a [panorama NAME] section of the sheet calls it; unique within the tour */
    const char *input_path;
    const char *output_path; /* the panorama made; NULL when there is none */
    UfTourOutcome outcome;
    const char *error;           /* NULL unless it failed */
    const char *const *warnings; /* `warning_count` sentences */
    size_t warning_count;
    double cap_deg;         /* half-angle of what was covered; 0: nothing was */
    const char *cap_origin; /* where the cap came from, for a person: "rig hall.ini", "sheet", "found in the
                               picture"; NULL when nothing was covered */
    const char *steps_json; /* one JSON text (RFC 8259, UTF-8): the steps' results as the commands print them;
                               or NULL */
    size_t width_px, height_px; /* of the input; 0 when it could not be read */
    bool has_heading;           /* the result says to which compass heading its centre looks */
    double heading_deg;         /* [0, 360) */
    uint64_t input_bytes;
    uint64_t output_bytes; /* all outputs together */
    double time_s;
    const char *pieces[UF_TOUR_PIECE_COUNT]; /* paths by UfTourPiece; NULL for what there is none of */
} UfTourRecord;

#endif
