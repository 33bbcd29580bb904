/* What `patch --plate` reads, and what it says of how it fits. */
#ifndef UF_CLI_PLATE_H
#define UF_CLI_PLATE_H

#include "cli/command.h"
#include "cli/json.h"

typedef struct CliPlate {
    UfPlate plate; /* photo NULL: none */
    UfPicture *photo;
    UfRig *rig;
    UfPointPair *pairs;
} CliPlate;

/* `rig` and `points` are NULL where they were not given. CLI_DONE, or what to exit with; clear *out in either
 * case. */
int cli_plate_read(const CliLine *line, const char *photo, const char *rig, const char *points, CliPlate *out,
                   UfReport *report);
void cli_plate_clear(CliPlate *plate);
void cli_plate_print(const char *photo, const UfPlateFit *fit);
void cli_plate_json(CliJson *json, const char *photo, const UfPlateFit *fit);

#endif
