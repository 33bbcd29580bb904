/* UTF-8 (RFC 3629, section 4: the table of well-formed byte sequences). */
#include "base/utf8.h"

#include <stdbool.h>

size_t uf_utf8_bytes(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;
    if (at[0] < 0x80)
        return 1;
    size_t length = at[0] >= 0xF0 ? 4 : at[0] >= 0xE0 ? 3 : 2;
    if (at[0] < 0xC2 || at[0] > 0xF4)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((at[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (at[0] == 0xE0 && at[1] < 0xA0) || (at[0] == 0xF0 && at[1] < 0x90);
    bool surrogate = at[0] == 0xED && at[1] > 0x9F;
    bool too_high = at[0] == 0xF4 && at[1] > 0x8F;
    return overlong || surrogate || too_high ? 0 : length;
}
