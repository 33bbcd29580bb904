/* The page's own parts, made from src/tour/page/ when the library is built. */
#ifndef UF_TOUR_PAGE_PARTS_H
#define UF_TOUR_PAGE_PARTS_H

#include <stddef.h>

/* Files without a zero byte at the end. */
extern const unsigned char uf_page_html[], uf_page_style[], uf_page_script[];
extern const size_t uf_page_html_bytes, uf_page_style_bytes, uf_page_script_bytes;
/* "sha256-..." of style and script, for the page's Content-Security-Policy. */
extern const char uf_page_style_hash[], uf_page_script_hash[];

#endif
