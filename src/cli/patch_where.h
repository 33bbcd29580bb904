/* What `patch` covers beside the cap: --mask, and the shadow of --sun. */
#ifndef UF_CLI_PATCH_WHERE_H
#define UF_CLI_PATCH_WHERE_H

#include "cli/command.h"
#include "cli/json.h"

typedef struct CliWhere {
    UfPicture *mask;
    UfView mask_view;
    bool has_view; /* the mask is a face or a view that was taken out */
    bool has_sun;
    UfLonLat sun;
    double height_m;
} CliWhere;

/* The mask's picture, and its place in this panorama. CLI_DONE, or what to exit with. */
int cli_read_mask(const CliLine *line, const char *path, const UfPicture *panorama, CliWhere *where,
                  UfReport *report);
/* Where the sun stands: "find", "clock" or "AZ,EL". `path` is the panorama's. */
int cli_place_sun(const CliLine *line, const CliValue *sun, const char *path, const UfPicture *panorama,
                  CliWhere *where, UfReport *report);
void cli_where_clear(CliWhere *where);

#endif
