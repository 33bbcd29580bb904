/* Base64 read back, by the table of RFC 4648 rather than by the library. */
#ifndef UF_TESTS_SUPPORT_BASE64_H
#define UF_TESTS_SUPPORT_BASE64_H

#include "support/files.h"

/* Of `size` characters; fails the test when they are no padded base64. Free it with bytes_free. */
Bytes base64_decode(const char *text, size_t size);

#endif
