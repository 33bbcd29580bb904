/* The list of spots. A new one is one file and one line here. */
#include "spots.h"

#include <string.h>

const Spot spots[] = {
    {"ticket-hall",
     "Thimble House, ticket hall",
     "hall.ini",
     "jpg",
     hall_build,
     352.0,
     "2026:05:14 10:12:40",
     12,
     12,
     1 / 4.0,
     false,
     false,
     {0.28, 1.55, -0.22, -50, -75, 12, 78, {1.25, 1.16, 1.02}},
     24},
    {"workshop",
     "Thimble House, restorer's workshop",
     "workshop.ini",
     "tif",
     workshop_build,
     17.5,
     "2026:05:14 10:41:05",
     12,
     41,
     1 / 3.0,
     true,
     false,
     {-0.30, 1.40, 0.18, 124, -73, -6, 80, {0.72, 0.78, 0.90}},
     0},
    {"yard",
     "Thimble House, cobbled yard",
     "yard.ini",
     "jpg",
     yard_build,
     319.0,
     "2026:05:14 11:35:00",
     13,
     35,
     1 / 125.0,
     false,
     true,
     {0.20, 1.70, 0.25, -146, -79, 9, 76, {0.80, 0.84, 0.92}},
     0},
};
const int spot_count = (int)(sizeof spots / sizeof *spots);

const Spot *spot_named(const char *name)
{
    for (int i = 0; i < spot_count; i++)
        if (strcmp(spots[i].name, name) == 0)
            return &spots[i];
    return NULL;
}
