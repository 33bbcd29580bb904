/* UTF-8 (RFC 3629). */
#ifndef UF_BASE_UTF8_H
#define UF_BASE_UTF8_H

#include <stddef.h>

/* Bytes of the well-formed character that begins at `text`, 1 to 4: shortest form, no surrogates, up to
 * U+10FFFF. 0 when there is none; 1 for the zero byte. */
size_t uf_utf8_bytes(const char *text);

#endif
