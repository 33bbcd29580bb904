/*
 * Any bytes as text for the review page: in HTML, in JSON inside a <script>, in an address, in a sheet.
 * Everything is written to a stream, whose errors are looked at when the file is closed.
 */
#ifndef UF_TOUR_PAGE_TEXT_H
#define UF_TOUR_PAGE_TEXT_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* HTML text or the value of a quoted attribute. Bytes that are no UTF-8, and controls, become U+FFFD. */
void uf_page_put_html(FILE *stream, const char *text);
/*
 * A JSON string (RFC 8259) with its quotes, NULL as null. What could end a script element or a line of script
 * (< > & U+2028 U+2029) is escaped, too; bytes that are no UTF-8 become U+FFFD.
 */
void uf_page_put_json(FILE *stream, const char *text);
/* Percent-encoded (RFC 3986, 2.1) but for the unreserved characters, with quotes: a name of plain ASCII for
 * any bytes. */
void uf_page_put_key(FILE *stream, const char *text);
/*
 * A JSON string that is the pattern (POSIX fnmatch) for a file name in a [panorama NAME] heading: the name
 * itself but for what a heading of an INI file cannot hold, which becomes ?, and what is longer than a line,
 * which becomes *.
 */
void uf_page_put_section(FILE *stream, const char *name);
/* Base64 (RFC 4648, section 4), padded, in one line. */
void uf_page_put_base64(FILE *stream, const uint8_t *data, size_t size_bytes);

#endif
