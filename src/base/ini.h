/*
 * INI files in memory: sections in their order, each value with its line, so that a mistake can be named by
 * it.
 *
 *     ; a comment          [kind] or [kind name]          key = value   ; a comment after a blank
 *
 * Parsed by inih. What inih would take silently is refused here: a section or key given twice, text after a
 * heading's bracket, lines that it would cut.
 */
#ifndef UF_BASE_INI_H
#define UF_BASE_INI_H

#include <stdbool.h>
#include <stddef.h>

#include "base/report.h"

typedef struct UfIniEntry {
    char *key, *value; /* owned */
    int line;
} UfIniEntry;

typedef struct UfIniSection {
    char *kind, *name; /* owned; "part" and "arm" of [part arm]; an empty name for [camera] */
    int line;
    UfIniEntry *entries;
    size_t count;
} UfIniSection;

typedef struct UfIni {
    UfIniSection *sections;
    size_t count;
} UfIni;

/* UF_ERROR_FORMAT with file, line and remedy for a mistake. The caller clears *out in every case. */
UfStatus uf_ini_read(const char *path, UfIni *out, UfReport *report);
/* Fine on a zeroed UfIni. */
void uf_ini_clear(UfIni *ini);
/* NULL when it is not there. */
const UfIniSection *uf_ini_section(const UfIni *ini, const char *kind, const char *name);
/* For a value that was refused: "; " and what may be wrong with it as INI, or "". */
const char *uf_ini_slip(const char *value);
const UfIniEntry *uf_ini_entry(const UfIniSection *section, const char *key);

#endif
