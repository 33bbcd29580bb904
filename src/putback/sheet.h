/* A sheet of six faces as six faces. */
#ifndef UF_PUTBACK_SHEET_H
#define UF_PUTBACK_SHEET_H

#include <underfoot/putback.h>

/*
 * The edits, sheets replaced by their faces; `origin` says which edit each comes from. Faces cut out of
 * sheets are owned by the list, everything else is borrowed.
 */
typedef struct UfEditList {
    UfEdit *edits;
    size_t *origin;
    UfPicture **owned; /* NULL for what is borrowed */
    size_t count;
} UfEditList;

UfStatus uf_edit_list_make(const UfEdit *edits, size_t count, UfEditList *out, UfReport *report);
/* Fine on a zeroed UfEditList. */
void uf_edit_list_clear(UfEditList *list);

#endif
