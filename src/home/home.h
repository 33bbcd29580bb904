/* A home address as text, the same in XMP and in the sidecar, and what the files of src/home/ share. */
#ifndef UF_HOME_HOME_H
#define UF_HOME_HOME_H

#include <underfoot/home.h>

#include "picture/properties.h"

/* Field, key in the sidecar, name in XMP. */
#define UF_HOME_FIELDS(X)                                                                                    \
    X(VERSION, "version", "Version")                                                                         \
    X(KIND, "kind", "Kind")                                                                                  \
    X(FACE, "face", "Face")                                                                                  \
    X(YAW, "yaw", "YawDegrees")                                                                              \
    X(PITCH, "pitch", "PitchDegrees")                                                                        \
    X(ROLL, "roll", "RollDegrees")                                                                           \
    X(FOV, "fov", "FieldDegrees")                                                                            \
    X(CENTRE, "centre", "Centre")                                                                            \
    X(SIZE, "size", "Size")                                                                                  \
    X(SAMPLING, "sampling", "Sampling")                                                                      \
    X(PANORAMA, "panorama-width", "PanoramaWidthPixels")                                                     \
    X(ROWS, "rows", "Rows")                                                                                  \
    X(FINGERPRINT, "fingerprint", "Fingerprint")                                                             \
    X(SOURCE, "source", "Source")

enum {
#define UF_HOME_ID(id, key, name) UF_HOME_##id##_FIELD,
    UF_HOME_FIELDS(UF_HOME_ID)
#undef UF_HOME_ID
        UF_HOME_FIELD_COUNT
};

typedef struct UfHomeText {
    UfProperty fields[UF_HOME_FIELD_COUNT]; /* by field; `name` is the one in XMP */
} UfHomeText;

/* No field present. */
UfHomeText uf_home_text_empty(void);
const char *uf_home_key(size_t field);
/* The fields that its kind has. The address must be good. */
UfHomeText uf_home_to_text(const UfHome *home);
/* `where` begins the message: what the text was read from. */
UfStatus uf_home_from_text(const UfHomeText *text, const char *where, UfHome *out, UfReport *report);
bool uf_home_text_same(const UfHomeText *a, const UfHomeText *b);

/* The address with its angles rounded to whole steps. */
UfHome uf_home_rounded(const UfHome *home);

/* NULL for a value out of range. */
const char *uf_home_sampling_name(UfSampling sampling);
bool uf_home_sampling_from_name(const char *name, UfSampling *out);

#endif
