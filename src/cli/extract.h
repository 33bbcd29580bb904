/* What the commands that take pictures out of a panorama share: faces, view, planet. */
#ifndef UF_CLI_EXTRACT_H
#define UF_CLI_EXTRACT_H

#include "cli/command.h"

/* Can the format hold the picture? The panorama's transparency and the sides. CLI_DONE, or what to exit with.
 */
int cli_check_holds(const CliLine *line, const UfPictureInfo *panorama, UfFormat format, size_t width_px,
                    size_t height_px);
/* The panorama's rows that `read` asks for and the picture are in memory at once. */
int cli_check_memory(const CliLine *line, const UfPictureInfo *panorama, const UfReadOptions *read,
                     size_t width_px, size_t height_px);
/* Is the place of the picture's sidecar free? */
int cli_check_sidecar(const CliLine *line, const char *picture_path);

/* A picture that was taken out of a panorama, to be written to `path`. */
typedef struct CliTaken {
    UfHome home;        /* but for what uf_home_set_panorama sets */
    UfPicture *picture; /* owned until it is written */
    const UfPicture *panorama;
    const char *panorama_path, *path;
    const UfWriteOptions *write;
    UfReport *report;
} CliTaken;

/*
 * Writes the picture with its address, the panorama's metadata and its sidecar, and frees it; after a failure
 * neither file is there. Prints nothing: it may run beside the making of the next one, with a report of its
 * own.
 */
UfStatus cli_write_taken(CliTaken *taken);
/* Everything from the checks that need the header to the written file, for a command with one output. */
int cli_extract_one(const CliLine *line, UfHome *home, const UfPictureInfo *info, UfFormat format,
                    UfReport *report);

#endif
