/*
 * Bad files, each made from a sound one with the one fault that its name says, and what the program has to
 * say. Sources of the layouts: ITU-T T.81 (JPEG), PNG Specification (ISO/IEC 15948), TIFF 6.0 and libtiff's
 * description of BigTIFF, CIPA DC-008 (EXIF), XMP Specification Part 3.
 */
#ifndef UF_TESTS_CLI_BAD_FILES_H
#define UF_TESTS_CLI_BAD_FILES_H

#include <stddef.h>
#include <stdint.h>

#include "support/files.h"

typedef enum Outcome {
    BAD_FAILS, /* cannot be read: status 1, no output */
    BAD_WARNS, /* its pixels are sound: patched, and what is wrong with the rest is a warning, status 2 */
    BAD_READS  /* odd, but nothing to complain about: status 0 */
} Outcome;

typedef struct BadFile BadFile;
struct BadFile {
    const char *name; /* of the file, too */
    void (*make)(const BadFile *bad);
    long a, b;           /* for `make` */
    const char *message; /* a part of what is said; "" when it is left to the words of a decoding library */
    Outcome outcome;
};

/* Ended by one without a name. */
extern const BadFile bad_jpegs[];
extern const BadFile bad_pngs[];
extern const BadFile bad_tiffs[];
extern const BadFile bad_others[];
/* Sound pictures that are no full panorama: check reads them. */
extern const BadFile bad_shapes[];

/*
 * An XMP packet of entities that stand for ten of the one before, ten deep (XML 1.0, 4.4): expanded it would
 * be 30 GB.
 */
extern const char bad_xmp_bomb[];

/* So many million zeros, deflated: for chunks and strips that inflate to more than the picture. */
Bytes bad_zeros_bomb(long millions);

/* Cuts the sound file of the same ending: to `a` percent, or to `b` bytes (from the end when negative). */
void bad_cut(const BadFile *bad);

#endif
