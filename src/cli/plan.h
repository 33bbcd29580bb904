/* The parts of `underfoot plan`: numbers for people, numbers for programs, and the sun. */
#ifndef UF_CLI_PLAN_H
#define UF_CLI_PLAN_H

#include "cli/command.h"
#include "cli/json.h"

enum { PLAN_WIDTH = CLI_COMMON_COUNT, PLAN_MAP, PLAN_SUN, PLAN_PLACE, PLAN_HEADING };

/* Everything about a rig in short tables. */
void cli_plan_print(const char *path, const UfRig *rig, const UfPlan *plan, const UfAdvice *advice,
                    size_t count);
/* Members of the object that is open. */
void cli_plan_json(CliJson *json, const UfRig *rig, const UfPlan *plan);

typedef struct CliSun {
    UfTaken taken; /* has_time and has_place are true */
    UfSun sun;
} CliSun;

/* From --sun, --place and --heading. CLI_DONE, or what to exit with. */
int cli_sun_find(const CliLine *line, CliSun *out, UfReport *report);
/* `height_mm` is 0 when there is no rig. */
void cli_sun_print(const CliSun *sun, double height_mm);
void cli_sun_json(CliJson *json, const CliSun *sun);

#endif
