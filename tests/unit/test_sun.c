/* Moments as text, and the sun at odd places. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include <underfoot/sun.h>

static double day_of(const char *text)
{
    double julian_day = 0;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_time_parse(text, &julian_day, report), UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return julian_day;
}

Test(sun, the_same_moment_in_several_spellings)
{
    double moment = uf_julian_day(2026, 6, 21, 12.5);
    static const char *const texts[] = {"2026-06-21T12:30Z",           "2026-06-21T14:30:00+02:00",
                                        "2026-06-21 07:00:00.0-05:30", "2026-06-22T02:15+13:45",
                                        "2026-06-20T22:30-14:00",      "2026-06-21t12:30:00z"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        cr_expect_float_eq(day_of(texts[i]), moment, 1e-9, "%s", texts[i]);
    cr_expect_float_eq((day_of("2026-06-21T12:30:00.5Z") - moment) * 86400, 0.5, 1e-3);
    cr_expect_float_eq(day_of("2024-03-01T00:00Z") - day_of("2024-02-28T00:00Z"), 2, 1e-9);
    cr_expect_float_eq(day_of("2100-03-01T00:00Z") - day_of("2100-02-28T00:00Z"), 1, 1e-9);
}

Test(sun, times_that_are_refused)
{
    static const struct {
        const char *text, *words;
    } bad[] = {{"2026-06-21T14:30", "has no time zone; add Z"},
               {"2026-06-21T14:30:00", "has no time zone"},
               {"2026-06-21T14:30 CET", "' CET' is no time zone"},
               {"2026-06-21T14:30+2", "'+2' is no time zone; write Z"},
               {"2026-06-21T14:30+15:00", "'+15:00' is no time zone"},
               {"2026-06-21T14:30Zulu", "'Zulu' is no time zone"},
               {"21.6.2026 14:30", "is no time; write year-month-day"},
               {"2026-02-29T14:30Z", "is no time"},
               {"2026-13-01T14:30Z", "is no time"},
               {"2026-06-21T24:30Z", "is no time"},
               {"2026-06-21", "is no time"},
               {"1776-07-04T12:00Z", "years 1900 to 2100"},
               {"", "is no time"}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        double untouched = -7;
        UfReport *report = uf_report_create();
        cr_expect_eq(uf_time_parse(bad[i].text, &untouched, report), UF_ERROR_ARGUMENT, "%s", bad[i].text);
        cr_expect_eq(untouched, -7.0);
        cr_expect_not_null(strstr(uf_report_error(report), bad[i].words), "%s", uf_report_error(report));
        uf_report_free(&report);
    }
}

/* At the pole the sun goes round at the height of its declination; at night there is no shadow. */
Test(sun, odd_places)
{
    double noon = uf_julian_day(2024, 6, 21, 12);
    for (int hour = 0; hour < 24; hour += 3) {
        double moment = noon + hour / 24.0;
        UfSun sun = uf_sun_at(moment, (UfPlace){UF_PI / 2, 0});
        cr_expect_float_eq(sun.elevation_rad, uf_sun_orbit(moment).declination_rad, 1e-9);
        cr_expect(sun.azimuth_rad >= 0 && sun.azimuth_rad < 2 * UF_PI);
    }
    UfSun night = uf_sun_at(uf_julian_day(2024, 6, 21, 0), (UfPlace){uf_radians(48.9), uf_radians(2.4)});
    cr_expect_lt(night.elevation_rad, 0);
    cr_expect(isinf(uf_sun_shadow_ratio(night)));
    UfSun low = {.azimuth_rad = 1, .elevation_rad = UF_PI / 4};
    cr_expect_float_eq(uf_sun_shadow_ratio(low), 1, 1e-12);
}

/* North of the tropics the sun is in the south when it is highest, and moves from east to west. */
Test(sun, a_day_goes_from_east_to_west)
{
    double last = 0;
    for (int hour = 5; hour < 19; hour++) {
        UfSun sun = uf_sun_at(uf_julian_day(2025, 3, 21, hour), (UfPlace){uf_radians(48.9), 0});
        cr_expect_gt(sun.azimuth_rad, last, "%d o'clock", hour);
        last = sun.azimuth_rad;
    }
    UfSun noon = uf_sun_at(uf_julian_day(2025, 3, 21, 12.12), (UfPlace){uf_radians(48.9), 0});
    cr_expect_float_eq(uf_degrees(noon.azimuth_rad), 180, 0.5);
    cr_expect_float_eq(uf_degrees(noon.elevation_rad), 41.3, 0.5);
}
