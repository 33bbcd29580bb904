/* What the commands that take pictures out of a panorama share: faces, view, planet. */
#ifndef UF_CLI_EXTRACT_H
#define UF_CLI_EXTRACT_H

#include "cli/arriving.h"
#include "cli/command.h"
#include "cli/leaving.h"

/* Can the format hold the picture? The panorama's transparency and the sides. CLI_DONE, or what to exit with.
 */
int cli_check_holds(const CliLine *line, const UfPictureInfo *panorama, UfFormat format, size_t width_px,
                    size_t height_px);
/* The panorama's rows that `read` asks for and the picture are in memory at once. */
int cli_check_memory(const CliLine *line, const UfPictureInfo *panorama, const UfReadOptions *read,
                     size_t width_px, size_t height_px);
/* Is the place of the picture's sidecar free? */
int cli_check_sidecar(const CliLine *line, const char *picture_path);

/* A picture that is taken out of a panorama, and written to `path`. */
typedef struct CliTaken {
    UfHome home; /* but for what uf_home_set_panorama sets */
    CliArriving *arriving;
    const char *path;
    UfReport *report; /* of the making, until it is waited for */
    CliLeaving leaving;
    UfPicture *picture; /* owned until it is waited for, or dropped */
} CliTaken;

/*
 * Makes the picture from the rows as they arrive. It will be written with its address, the panorama's
 * metadata and its sidecar: when `leaves`, while it is still being made, otherwise from cli_leaving_go on,
 * but in either case when all rows have arrived, and to its end after cli_leaving_go only. `taken`, whose
 * first four are given, stays where it is until cli_taken_wait or, after any failure, cli_taken_drop.
 */
UfStatus cli_take(const CliLine *line, bool leaves, CliTaken *taken);
/* After cli_leaving_go: waits until it is written. After a failure neither file is there. */
UfStatus cli_taken_wait(CliTaken *taken);
void cli_taken_drop(CliTaken *taken);
/* Everything from the checks that need the header to the written file, for a command with one output. */
int cli_extract_one(const CliLine *line, UfHome *home, const UfPictureInfo *info, UfFormat format,
                    UfReport *report);

#endif
