/*
 * The review page in a browser: what it shows, and that it does what hands and keys ask for. One build's
 * tests: the browser opens the same file whatever compiler flags made it.
 */
#include <criterion/criterion.h>
#include <fnmatch.h>
#include <math.h>
#include <stdio.h>
#include <jpeglib.h> /* after stdio.h */
#include <stdlib.h>
#include <string.h>

#include <underfoot/sphere.h>

#include "base/ini.h"
#include "support/browser.h"
#include "support/files.h"
#include "support/program.h"
#include "tour/review.h"

TestSuite(page, .init = folder_enter, .fini = folder_leave);

#define WINDOW_WIDTH  560u
#define WINDOW_HEIGHT 500u

/* RGB in the file: no rounding to YCbCr */
static const JpegOptions exact = {.quality = 100, .horizontal = 1, .vertical = 1, .colour_space = JCS_RGB};

static Pixels picture(size_t width, size_t height)
{
    Pixels pixels = {.width = width, .height = height, .channels = 3, .bits = 8};
    pixels.codes = calloc(width * height * 3, sizeof *pixels.codes);
    cr_assert_not_null(pixels.codes);
    return pixels;
}

static void write_flat(const char *path, unsigned red, unsigned green, unsigned blue)
{
    Pixels pixels = picture(64, 64);
    for (size_t i = 0; i < 64 * 64; i++) {
        pixels.codes[3 * i] = (uint16_t)red;
        pixels.codes[3 * i + 1] = (uint16_t)green;
        pixels.codes[3 * i + 2] = (uint16_t)blue;
    }
    jpeg_write(path, &pixels, &exact);
    pixels_free(&pixels);
}

/* A panorama whose colour is its direction: 127.5 + 120 (x, y, z). Angles of its pixels as sphere.h has them.
 */
static void write_directions(const char *path)
{
    const size_t width = 512;
    Pixels pixels = picture(width, width / 2);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++) {
            double lon = (((double)x + 0.5) / (double)width - 0.5) * 2 * M_PI;
            double lat = (0.5 - ((double)y + 0.5) / (double)(width / 2)) * M_PI;
            const double axes[3] = {cos(lat) * sin(lon), sin(lat), cos(lat) * cos(lon)};
            for (size_t channel = 0; channel < 3; channel++)
                pixels.codes[(y * width + x) * 3 + channel] = (uint16_t)lround(127.5 + 120 * axes[channel]);
        }
    jpeg_write(path, &pixels, &exact);
    pixels_free(&pixels);
}

#define STRANGE_NAME "a\"b <img src=x onerror=alert(1)>&'] [x;\xff</script>.jpg"

/* Three panoramas: one as it should be, one with warnings and a strange name, one that failed. */
static void write_page(const char *path)
{
    static const char *const warnings[] = {"the seam <b>differs</b>"};
    const UfTourRecord records[] = {
        {.name = "hall.jpg",
         .input_path = "in/hall.jpg",
         .output_path = "out/hall.jpg",
         .cap_deg = 25,
         .cap_origin = "rig hall.ini",
         .has_heading = true,
         .heading_deg = 300,
         .width_px = 8192,
         .height_px = 4096,
         .input_bytes = 20000000,
         .output_bytes = 21000000,
         .time_s = 3.25,
         .steps_json = "{\"patch\":{\"fill\":\"floor\"}}",
         .pieces = {"before.jpg", "after.jpg", "seam.jpg", "zenith.jpg", "around.jpg"}},
        {.name = STRANGE_NAME,
         .input_path = "in/x",
         .output_path = "out/x",
         .outcome = UF_TOUR_WARNED,
         .warnings = warnings,
         .warning_count = 1,
         .pieces = {"before.jpg", "after.jpg", NULL, NULL, "around.jpg"}},
        {.name = "gone.jpg",
         .input_path = "in/gone.jpg",
         .outcome = UF_TOUR_FAILED,
         .error = "gone.jpg: is empty"},
    };
    UfReport *report = uf_report_create();
    const UfReviewInfo info = {
        .title = "A <tour>", .tour_key = "test tour", .sheet = "tour.ini", .overwrite = true};
    UfStatus status = uf_review_write(path, records, sizeof records / sizeof records[0], &info, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(uf_report_warning_count(report), 0u, "%s", uf_report_warning(report, 0));
    uf_report_free(&report);
}

static Browser *open_page(void)
{
    write_flat("before.jpg", 200, 30, 30);
    write_flat("after.jpg", 30, 60, 200);
    write_flat("seam.jpg", 30, 160, 60);
    write_flat("zenith.jpg", 120, 120, 30);
    write_directions("around.jpg");
    write_page("page.html");
    Browser *browser = browser_start(WINDOW_WIDTH, WINDOW_HEIGHT);
    browser_open(browser, "page.html");
    return browser;
}

static void end_in_peace(Browser **browser)
{
    cr_assert_str_eq(browser_complaints(*browser), "");
    browser_end(browser);
}

/* The direction that a pixel of a picture is coloured with. */
static UfDirection coded_direction(const Pixels *pixels, size_t x, size_t y)
{
    UfDirection d = {(pixels_at(pixels, x, y, 0) * 255 - 127.5) / 120,
                     (pixels_at(pixels, x, y, 1) * 255 - 127.5) / 120,
                     (pixels_at(pixels, x, y, 2) * 255 - 127.5) / 120};
    return d;
}

static double angle_deg(UfDirection a, UfDirection b)
{
    double dot = a.x * b.x + a.y * b.y + a.z * b.z;
    double lengths = sqrt((a.x * a.x + a.y * a.y + a.z * a.z) * (b.x * b.x + b.y * b.y + b.z * b.z));
    return acos(fmin(1, dot / lengths)) * 180 / M_PI;
}

typedef struct Box {
    double left, top, width, height;
} Box;

static Box box_of(Browser *browser, const char *selector)
{
    Box box;
    const char *const names[] = {"left", "top", "width", "height"};
    double *const values[] = {&box.left, &box.top, &box.width, &box.height};
    for (size_t i = 0; i < 4; i++)
        *values[i] = browser_number(browser, "document.querySelector('%s').getBoundingClientRect().%s",
                                    selector, names[i]);
    return box;
}

/* Where the view is free of compass and buttons: its upper part. */
static void assert_looks_at(Browser *browser, double yaw_deg, double pitch_deg, double fov_deg)
{
    Box view_box = box_of(browser, "#view");
    UfView view =
        uf_view_rectilinear((size_t)view_box.width, (size_t)view_box.height, fov_deg * M_PI / 180,
                            uf_rotation_from_angles(yaw_deg * M_PI / 180, pitch_deg * M_PI / 180, 0));
    Pixels shown = browser_picture(browser);
    for (size_t i = 1; i < 10; i++)
        for (size_t k = 1; k < 7; k++) {
            size_t x = (size_t)(view_box.width * (double)i / 10);
            size_t y = (size_t)(view_box.height * (double)k / 10);
            UfDirection expected;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &expected));
            UfDirection found = coded_direction(&shown, x + (size_t)view_box.left, y + (size_t)view_box.top);
            cr_assert_lt(angle_deg(expected, found), 1.0,
                         "yaw %g pitch %g at %zu %zu: (%.3f %.3f %.3f) for (%.3f %.3f %.3f)", yaw_deg,
                         pitch_deg, x, y, found.x, found.y, found.z, expected.x, expected.y, expected.z);
        }
    pixels_free(&shown);
}

static void look_at(Browser *browser, double yaw_deg, double pitch_deg, double fov_deg)
{
    /* the same address twice would be no change */
    static unsigned call;
    free(browser_text(
        browser,
        "new Promise(done => { addEventListener('hashchange', () => done(true), { once: true }); "
        "location.hash = '#open=hall.jpg&yaw=%g&pitch=%g&fov=%g&call=%u'; })",
        yaw_deg, pitch_deg, fov_deg, call++));
    browser_until(browser, "document.getElementById('view').dataset.shows === 'hall.jpg'");
    browser_until(
        browser, "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))");
}

/* A number of the readout, such as "yaw". */
static double readout(Browser *browser, const char *what)
{
    return browser_number(
        browser,
        "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => "
        "done(document.getElementById('readout-text').textContent.replaceAll('\\u2212', '-')"
        ".match(/%s ([+-]?[0-9.]+)/)[1]))))",
        what);
}

Test(page, shows_the_asked_direction)
{
    Browser *browser = open_page();
    static const double aims[][3] = {{0, 0, 90},     {90, 0, 75},    {-90, 20, 60}, {180, 0, 90},
                                     {37, -48, 100}, {-140, 61, 80}, {12, 90, 90},  {-75, -90, 90}};
    for (size_t i = 0; i < sizeof aims / sizeof aims[0]; i++) {
        look_at(browser, aims[i][0], aims[i][1], aims[i][2]);
        assert_looks_at(browser, aims[i][0], aims[i][1], aims[i][2]);
    }
    end_in_peace(&browser);
}

Test(page, is_moved_by_hands_and_keys)
{
    Browser *browser = open_page();
    /* from the page, by keys: the focus comes back to where it was */
    free(browser_text(browser, "document.querySelectorAll('.strip')[1].focus()"));
    browser_key(browser, "Enter");
    browser_until(browser, "document.getElementById('view').dataset.shows === 'hall.jpg'");
    cr_assert_float_eq(readout(browser, "heading"), 300, 0.05);
    Box view = box_of(browser, "#view");
    double middle_x = view.left + view.width / 2;
    double middle_y = view.top + view.height / 3;

    browser_key(browser, "ArrowRight");
    cr_assert_float_eq(readout(browser, "yaw"), 7.5, 0.05);
    browser_key(browser, "ArrowUp");
    cr_assert_float_eq(readout(browser, "pitch"), 7.5, 0.05);
    browser_key(browser, "3");
    cr_assert_float_eq(fabs(readout(browser, "yaw")), 180, 0.05);
    browser_key(browser, "Home");
    browser_key(browser, "+");
    cr_assert_float_eq(readout(browser, "field"), 72, 0.6);
    for (int i = 0; i < 20; i++)
        browser_key(browser, "+");
    cr_assert_float_eq(readout(browser, "field"), 20, 0.6, "the narrow limit");
    for (int i = 0; i < 20; i++)
        browser_key(browser, "-");
    cr_assert_float_eq(readout(browser, "field"), 120, 0.6, "the wide limit");

    /* what was under the pointer goes with it: to the left, so the view turns to the right */
    look_at(browser, 0, 0, 90);
    browser_drag(browser, middle_x, middle_y, middle_x - 90, middle_y + 60);
    cr_assert_gt(readout(browser, "yaw"), 8);
    cr_assert_gt(readout(browser, "pitch"), 5);
    look_at(browser, 0, 0, 90);
    browser_swipe(browser, middle_x, middle_y, middle_x + 90, middle_y);
    cr_assert_lt(readout(browser, "yaw"), -8);
    look_at(browser, 0, 0, 90);
    browser_wheel(browser, middle_x, middle_y, -200);
    browser_until(browser, "!document.getElementById('readout-text').textContent.includes('field 90')");
    cr_assert_lt(readout(browser, "field"), 80);
    look_at(browser, 0, 0, 60);
    browser_pinch(browser, middle_x, middle_y, 240, 120);
    cr_assert_gt(readout(browser, "field"), 90);

    browser_key(browser, "Escape");
    browser_until(browser, "!document.getElementById('look').open");
    browser_until(browser, "document.activeElement === document.querySelectorAll('.strip')[1]");
    end_in_peace(&browser);
}

/* The first column of a row of the picture that is more blue than red. */
static size_t first_blue(const Pixels *shown, size_t left, size_t width, size_t y)
{
    size_t x = left;
    while (x < left + width && pixels_at(shown, x, y, 2) <= pixels_at(shown, x, y, 0))
        x++;
    return x - left;
}

static void assert_cut_at(Browser *browser, double part)
{
    Box box = box_of(browser, ".compare");
    browser_until(
        browser, "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))");
    Pixels shown = browser_picture(browser);
    size_t row = (size_t)(box.top + box.height * 0.3);
    double found = (double)first_blue(&shown, (size_t)ceil(box.left), (size_t)box.width - 1, row) / box.width;
    cr_assert_float_eq(found, part, 0.02, "%g, not %g", found, part);
    pixels_free(&shown);
}

Test(page, slides_between_before_and_after)
{
    Browser *browser = open_page();
    free(browser_text(browser, "document.getElementById('ring').click()"));
    free(
        browser_text(browser, "document.querySelector('.card:not(.slim)').scrollIntoView({ block: 'end' })"));
    browser_until(browser,
                  "[...document.querySelectorAll('.compare')].length > 0 && "
                  "[...document.querySelector('.compare').querySelectorAll('img')].every(i => i.complete && "
                  "i.naturalWidth > 0)");
    assert_cut_at(browser, 0.5);
    Box box = box_of(browser, ".compare");
    browser_click(browser, box.left + box.width * 0.25, box.top + box.height / 4);
    assert_cut_at(browser, 0.25);
    browser_drag(browser, box.left + box.width * 0.25, box.top + box.height / 4, box.left + box.width * 0.6,
                 box.top + box.height / 4);
    assert_cut_at(browser, 0.6);
    for (int i = 0; i < 10; i++)
        browser_key(browser, "ArrowRight");
    assert_cut_at(browser, 0.7);
    browser_key(browser, "Home");
    assert_cut_at(browser, 0);
    browser_key(browser, "End");
    assert_cut_at(browser, 1);
    browser_swipe(browser, box.left + box.width * 0.9, box.top + box.height / 4, box.left + box.width * 0.4,
                  box.top + box.height / 4);
    assert_cut_at(browser, 0.4);
    char *said =
        browser_text(browser, "document.querySelector('.compare input').getAttribute('aria-valuetext')");
    int before = 0;
    int after = 0;
    cr_assert_eq(sscanf(said, "%d%% before, %d%% after", &before, &after), 2, "%s", said);
    cr_assert(abs(before - 40) <= 1 && before + after == 100, "%s", said);
    free(said);
    end_in_peace(&browser);
}

static void assert_text(Browser *browser, const char *expression, const char *expected)
{
    char *text = browser_text(browser, "%s", expression);
    cr_assert_str_eq(text, expected, "%s: %s", expression, text);
    free(text);
}

static const char shown_names[] =
    "[...document.querySelectorAll('.card:not([hidden]) h2')].map(h => h.textContent).join('|')";
#define STRANGE_SHOWN "a\"b <img src=x onerror=alert(1)>&'] [x;\xEF\xBF\xBD</script>.jpg"

static void press_on(Browser *browser, size_t card, const char *key)
{
    free(browser_text(browser, "document.querySelectorAll('.card')[%zu].focus()", card));
    browser_key(browser, key);
}

/* The exported sections are sections for the reader of sheets, and their names fit the files. */
static void assert_sheet(Browser *browser)
{
    free(browser_text(browser, "document.getElementById('sheet-open').click()"));
    char *text = browser_text(browser, "document.getElementById('sheet-text').value");
    free(browser_text(browser, "document.getElementById('sheet').close()"));
    file_write("redo.ini", text, strlen(text));
    cr_assert_not_null(strstr(text, "; smaller; please\n"), "%s", text);
    cr_assert_not_null(strstr(text, "\n; patch.cap = 25.0\n"), "%s", text);
    free(text);
    UfIni ini;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_ini_read("redo.ini", &ini, report), UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(ini.count, 2u);
    cr_assert_str_eq(ini.sections[0].kind, "panorama");
    cr_assert_eq(fnmatch(ini.sections[0].name, STRANGE_NAME, 0), 0, "%s", ini.sections[0].name);
    cr_assert_neq(fnmatch(ini.sections[0].name, "hall.jpg", 0), 0);
    cr_assert_str_eq(ini.sections[1].name, "hall.jpg");
    uf_ini_clear(&ini);
    uf_report_free(&report);
}

Test(page, lists_searches_and_remembers)
{
    Browser *browser = open_page();
    assert_text(browser, "document.querySelector('h1').textContent + '|' + document.title",
                "A <tour>|A <tour> \xC2\xB7 review");
    assert_text(browser, shown_names, "gone.jpg|" STRANGE_SHOWN "|hall.jpg");
    assert_text(browser, "document.querySelector('.messages.warned').textContent", "the seam <b>differs</b>");
    assert_text(browser, "document.querySelectorAll('img[src=\"x\"], .messages b').length", "0");

    free(browser_text(browser, "document.querySelector('#filters input[value=attention]').click()"));
    assert_text(browser, shown_names, "gone.jpg|" STRANGE_SHOWN);
    free(browser_text(browser, "document.querySelector('#filters input[value=all]').click()"));
    browser_key(browser, "/");
    for (const char *letter = "HaL"; *letter != '\0'; letter++)
        browser_key(browser, (const char[]){*letter, '\0'});
    assert_text(browser, shown_names, "hall.jpg");
    free(browser_text(browser, "document.getElementById('show-all').click()"));

    press_on(browser, 1, "r");
    press_on(browser, 2, "r");
    press_on(browser, 0, "a");
    free(browser_text(
        browser,
        "(() => { const note = document.querySelectorAll('.noted input')[2]; note.value = 'smaller; please';"
        " note.dispatchEvent(new Event('input')); })()"));
    /* longer than a sheet's line, and without a place to break it */
    free(browser_text(browser,
                      "(() => { const note = document.querySelectorAll('.noted input')[1]; note.value = "
                      "'\\u{1F4F7}'.repeat(60); note.dispatchEvent(new Event('input')); })()"));
    static const char states[] =
        "[...document.querySelectorAll('.card')].map(c => c.dataset.state).join('|')";
    assert_text(browser, states, "accept|redo|redo");
    assert_sheet(browser);
    browser_open(browser, "page.html");
    assert_text(browser, states, "accept|redo|redo");
    assert_sheet(browser);

    /* a result that was made anew is open again */
    write_flat("after.jpg", 30, 61, 200);
    write_page("page.html");
    browser_open(browser, "page.html");
    assert_text(browser, states, "accept||");
    assert_text(browser, "[...document.querySelectorAll('.stale')].map(s => s.hidden).join('|')",
                "true|false|false");
    end_in_peace(&browser);
}

Test(page, asks_nobody_and_runs_nothing_else)
{
    Browser *browser = open_page();
    /* the address of a panorama with any bytes in its name, as the page itself writes it and as a person
     * would */
    free(browser_text(browser,
                      "location.hash = '#open=' + JSON.parse(document.getElementById('index').textContent)"
                      ".panoramas[1].key + '&view=down'"));
    browser_until(browser, "document.getElementById('look').open && "
                           "document.getElementById('look-name').textContent.startsWith('a\\\"b <img')");
    cr_assert_str_eq(browser_complaints(browser), "");
    /* 192.0.2.1 is for documentation (RFC 5737): nobody is there, and nobody may be asked */
    static const char *const breaches[][2] = {
        {"document.body.append(Object.assign(new Image(), { src: 'http://192.0.2.1/a.png' }))", "img-src"},
        {"document.body.append(Object.assign(document.createElement('script'), { textContent: 'window.breach "
         "= 1' }))",
         "script-src-elem"},
        {"document.body.append(Object.assign(document.createElement('style'), { textContent: 'p { color: red "
         "}' }))",
         "style-src-elem"},
        {"fetch('http://192.0.2.1/').catch(() => 0)", "connect-src"},
    };
    for (size_t i = 0; i < sizeof breaches / sizeof breaches[0]; i++) {
        char *refused = browser_text(browser,
                                     "new Promise(done => { addEventListener('securitypolicyviolation', e => "
                                     "done(e.effectiveDirective), "
                                     "{ once: true }); %s; setTimeout(() => done('allowed'), 3000); })",
                                     breaches[i][0]);
        cr_assert_str_eq(refused, breaches[i][1]);
        free(refused);
    }
    assert_text(browser, "typeof window.breach", "undefined");
    browser_end(&browser);
}
