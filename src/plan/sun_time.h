/* Pieces of a moment's text. */
#ifndef UF_PLAN_SUN_TIME_H
#define UF_PLAN_SUN_TIME_H

#include <stdbool.h>

/* "Z", "+02:00", "-05:30", and nothing behind it. */
bool uf_zone_parse(const char *text, double *hours_east);
/* "2026-06-21T14:30:05.25" with this separator in the date; *rest is what follows. The day is as if in
 * Greenwich. */
bool uf_clock_parse(const char *text, char date_separator, double *julian_day, const char **rest);

#endif
