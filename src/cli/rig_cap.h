/* The cap that a rig file asks for. */
#ifndef UF_CLI_RIG_CAP_H
#define UF_CLI_RIG_CAP_H

#include "cli/command.h"

/*
 * Plans the rig and takes the cap about the nadir or the zenith, its margin included, and the camera's
 * height. A rig that leaves nothing to cover there, or more than can be covered, is refused. CLI_DONE or
 * CLI_FAILED.
 */
int cli_rig_cap(const char *path, bool at_zenith, int threads, double *cap_rad, double *height_m,
                UfReport *report);

#endif
