/* Values of a rig file's sections, each refused with file, line and remedy. */
#ifndef UF_PLAN_RIG_VALUES_H
#define UF_PLAN_RIG_VALUES_H

#include "base/ini.h"

/*
 * The section being read. A call that fails sets `status` and the report; later calls do nothing, so that a
 * section can be read straight through and the status asked once.
 */
typedef struct UfRigSection {
    const char *path;
    const UfIniSection *section;
    UfReport *report;
    UfStatus status;
} UfRigSection;

typedef struct UfRigRange {
    double least, most;
    bool without_least, without_most; /* the limit itself is refused */
    const char *unit;                 /* for messages: "millimetres" */
} UfRigRange;

/* Refuses keys that are not in the list, which ends with NULL. */
void uf_rig_known_keys(UfRigSection *reader, const char *const *known);
bool uf_rig_has(const UfRigSection *reader, const char *key);
/* The value's text; a missing key is an error that shows `example`. "" after a failure. */
const char *uf_rig_text(UfRigSection *reader, const char *key, const char *example);
/* One number / `count` numbers that must be there. `separator`: what may stand between them besides blanks,
 * or 0. */
void uf_rig_number(UfRigSection *reader, const char *key, UfRigRange range, const char *example, double *out);
void uf_rig_numbers(UfRigSection *reader, const char *key, char separator, size_t count, UfRigRange range,
                    const char *example, double *out);
/* As uf_rig_number; leaves *out where the key is not there. */
void uf_rig_maybe_number(UfRigSection *reader, const char *key, UfRigRange range, const char *example,
                         double *out);
/* Index of the word in the list of `count`. */
size_t uf_rig_word(UfRigSection *reader, const char *key, const char *const *words, size_t count);
/* A failure about the section's key (its heading's line when the key is not there); sets the status once. */
void uf_rig_refuse(UfRigSection *reader, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
