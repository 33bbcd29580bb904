/*
 * Folders and files of the output: where steps write, and how their files come to their places.
 *
 * A job's files are made in a folder of its own inside the hidden one, on the same file system. When all are
 * there, the journal learns of them, and then each is renamed to its place: nothing unfinished is ever seen.
 */
#ifndef UF_TOUR_PLACE_H
#define UF_TOUR_PLACE_H

#include "tour/journal.h"

/* Makes the folder and what is missing above it. */
UfStatus uf_place_make_folder(const char *path, UfReport *report);
/* Removes a folder with all in it; links are removed, not followed. Fine when it is not there. */
UfStatus uf_place_remove(const char *path, UfReport *report);
/* Removes the temporary files ".NAME.uf-..." that killed processes left beside `path`. */
void uf_place_sweep(const char *path);

/*
 * Every regular file under `folder` with size and digest; path = `prefix` and its path below the folder.
 * Sorted.
 */
UfStatus uf_place_list(UfArena *arena, const char *folder, const char *prefix, UfJournalFile **out,
                       size_t *count, UfReport *report);

typedef enum UfPlaceState { UF_PLACE_SAME = 0, UF_PLACE_MISSING, UF_PLACE_OTHER } UfPlaceState;
/* Does the file at `root` + file->path hold what the record says? */
UfPlaceState uf_place_state(const char *root, const UfJournalFile *file);

/* Renames, on the same file system; what is there goes. On the disk when it returns UF_OK. */
UfStatus uf_place_move(const char *from, const char *to, UfReport *report);

#endif
