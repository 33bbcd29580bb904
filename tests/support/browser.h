/*
 * A page in a browser: Debian's chromium-headless-shell, driven over a pipe by the Chrome DevTools Protocol
 * (messages of JSON, each ended by a zero byte). It has a profile in the working folder, software OpenGL and
 * no network: every name fails to resolve.
 *
 *     Browser *browser = browser_start(1200, 800);
 *     browser_open(browser, "page.html");
 *     browser_until(browser, "document.title === 'ready'");
 *     browser_end(&browser);
 *
 * Every call fails the test when it cannot do it. Places are CSS pixels of the window, one pixel of the
 * picture each.
 */
#ifndef UF_TESTS_SUPPORT_BROWSER_H
#define UF_TESTS_SUPPORT_BROWSER_H

#include <stddef.h>

#include "support/pictures.h"

typedef struct Browser Browser;

Browser *browser_start(size_t width, size_t height);
void browser_end(Browser **browser);

/* Opens a file of the working folder, "page.html" or "page.html#part", and waits until it is loaded. */
void browser_open(Browser *browser, const char *file);
/* What an expression is, as text; promises are awaited. Free it. An exception fails the test. */
char *browser_text(Browser *browser, const char *expression, ...) __attribute__((format(printf, 2, 3)));
double browser_number(Browser *browser, const char *expression, ...) __attribute__((format(printf, 2, 3)));
/* Waits until the expression is true; a test that waits for half a minute fails. */
void browser_until(Browser *browser, const char *expression, ...) __attribute__((format(printf, 2, 3)));

/* As by hand. Key names as in UI Events: "ArrowLeft", "a". */
void browser_key(Browser *browser, const char *key);
void browser_click(Browser *browser, double x, double y);
void browser_drag(Browser *browser, double from_x, double from_y, double to_x, double to_y);
void browser_wheel(Browser *browser, double x, double y, double delta_y);
/* One finger comes down, moves, goes up. */
void browser_swipe(Browser *browser, double from_x, double from_y, double to_x, double to_y);
/* Two fingers about a place, from one distance to another. */
void browser_pinch(Browser *browser, double x, double y, double from_px, double to_px);

/* What the window shows. */
Pixels browser_picture(Browser *browser);

/*
 * All that was written to the console, thrown, logged by the browser, or asked for outside of the page's file
 * and its blobs since the start; "" for nothing. Borrowed.
 */
const char *browser_complaints(const Browser *browser);

#endif
