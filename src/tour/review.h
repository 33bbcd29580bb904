/*
 * The review page: one HTML file with everything in it, to look at a tour the morning after. It asks no
 * network for anything: pictures are embedded as base64 (RFC 4648), the page's own parts are src/tour/page/.
 */
#ifndef UF_TOUR_REVIEW_H
#define UF_TOUR_REVIEW_H

#include <stdbool.h>

#include <underfoot/status.h>

#include "tour/record.h"

typedef struct UfReviewInfo {
    const char *title; /* the page's heading, any bytes; NULL: "Tour" */
    const char
        *tour_key;     /* tells this tour's ticks from another's in the browser's memory; NULL: the title */
    const char *made;  /* when, as it is to be shown: "2026-05-04 06:12"; NULL: not shown */
    const char *sheet; /* name of the job sheet that sections are to be pasted into; NULL: a bare folder */
    double time_s;     /* of the whole run; 0: not shown */
    bool overwrite;    /* replace an existing file (otherwise UF_ERROR_EXISTS) */
} UfReviewInfo;

/*
 * Writes the page to `path`, whole or not at all. Records with failures come first, then those with warnings,
 * else in the order given. A piece that cannot be read is left out with a warning in the report. The same
 * arguments give the same bytes. `info` NULL: all defaults.
 */
UfStatus uf_review_write(const char *path, const UfTourRecord *records, size_t count,
                         const UfReviewInfo *info, UfReport *report);

#endif
