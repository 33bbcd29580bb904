#include "support/base64.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

Bytes base64_decode(const char *text, size_t size)
{
    static const char table[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    cr_assert_eq(size % 4, 0u, "%zu characters of base64", size);
    size_t padding = size == 0 ? 0 : (size_t)(text[size - 1] == '=') + (size_t)(text[size - 2] == '=');
    Bytes bytes = {.data = calloc(size / 4 * 3 + 1, 1), .size = size / 4 * 3 - padding};
    cr_assert_not_null(bytes.data);
    unsigned long bits = 0;
    for (size_t i = 0; i < size; i++) {
        const char *letter = text[i] == '=' || text[i] == '\0' ? NULL : strchr(table, text[i]);
        cr_assert(letter != NULL || (text[i] == '=' && i >= size - padding), "'%c' at %zu", text[i], i);
        bits = bits << 6 | (letter != NULL ? (unsigned long)(letter - table) : 0);
        if (i % 4 == 3) {
            for (size_t k = 0; k < 3; k++)
                bytes.data[i / 4 * 3 + k] = (unsigned char)(bits >> (16 - 8 * k));
            bits = 0;
        }
    }
    bytes.data[bytes.size] = 0;
    return bytes;
}
