/* Moments: Julian days, and ISO 8601 texts with their zone (RFC 3339). */
#include <ctype.h>
#include <math.h>

#include <underfoot/sun.h>

#include "base/report.h"
#include "plan/sun_time.h"

double uf_julian_day(int year, int month, int day, double hours)
{
    int y = month > 2 ? year : year - 1;
    int m = month > 2 ? month : month + 12;
    int century = y / 100;
    int leap_centuries = century / 4;
    return floor(365.25 * (y + 4716)) + floor(30.6001 * (m + 1)) + day + (2 - century + leap_centuries) -
           1524.5 + hours / 24;
}

static int days_of_month(int year, int month)
{
    static const int days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool is_leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && is_leap ? 29 : days[month - 1];
}

/* Exactly `count` digits. */
static bool digits(const char **at, int count, int *out)
{
    int value = 0;
    for (int i = 0; i < count; i++) {
        if (!isdigit((unsigned char)(*at)[i]))
            return false;
        value = 10 * value + ((*at)[i] - '0');
    }
    *at += count;
    *out = value;
    return true;
}

static bool letter(const char **at, char wanted)
{
    if (**at != wanted)
        return false;
    (*at)++;
    return true;
}

bool uf_zone_parse(const char *text, double *hours_east)
{
    const char *at = text;
    int hours = 0;
    int minutes = 0;
    if ((*at == 'Z' || *at == 'z') && at[1] == '\0') {
        *hours_east = 0;
        return true;
    }
    double sign = *at == '-' ? -1 : 1;
    if (*at != '+' && *at != '-')
        return false;
    at++;
    if (!digits(&at, 2, &hours) || !letter(&at, ':') || !digits(&at, 2, &minutes) || *at != '\0')
        return false;
    if (hours > 14 || minutes > 59)
        return false;
    *hours_east = sign * (hours + minutes / 60.0);
    return true;
}

/* ".25" */
static double fraction(const char **at)
{
    double value = 0;
    double digit = 0.1;
    if (**at != '.')
        return 0;
    for ((*at)++; isdigit((unsigned char)**at); (*at)++) {
        value += digit * (**at - '0');
        digit /= 10;
    }
    return value;
}

bool uf_clock_parse(const char *text, char date_separator, double *julian_day, const char **rest)
{
    const char *at = text;
    int year = 0;
    int month = 0;
    int day = 0;
    int hour = 0;
    int minute = 0;
    int second = 0;
    double part = 0;
    if (!digits(&at, 4, &year) || !letter(&at, date_separator) || !digits(&at, 2, &month) ||
        !letter(&at, date_separator) || !digits(&at, 2, &day))
        return false;
    if (*at != 'T' && *at != 't' && *at != ' ')
        return false;
    at++;
    if (!digits(&at, 2, &hour) || !letter(&at, ':') || !digits(&at, 2, &minute))
        return false;
    if (*at == ':') {
        at++;
        if (!digits(&at, 2, &second))
            return false;
        part = fraction(&at);
    }
    if (year < 1900 || year > 2100 || month < 1 || month > 12 || day < 1 ||
        day > days_of_month(year, month) || hour > 23 || minute > 59 || second > 60)
        return false;
    *julian_day = uf_julian_day(year, month, day, hour + minute / 60.0 + (second + part) / 3600);
    *rest = at;
    return true;
}

UfStatus uf_time_parse(const char *text, double *julian_day, UfReport *report)
{
    double local = 0;
    double hours_east = 0;
    const char *rest = "";
    if (!uf_clock_parse(text, '-', &local, &rest))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "'%s' is no time; write year-month-day, T, hours:minutes and the zone, such as "
                       "2026-06-21T14:30+02:00 (years 1900 to 2100)",
                       text);
    if (*rest == '\0')
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "'%s' has no time zone; add Z for universal time, or what the clocks there were ahead of it, "
            "such as +02:00",
            text);
    if (!uf_zone_parse(rest, &hours_east))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "'%s': '%s' is no time zone; write Z, or hours and minutes such as +02:00 or -05:30",
                       text, rest);
    *julian_day = local - hours_east / 24;
    return UF_OK;
}
