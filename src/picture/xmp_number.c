/*
 * Numbers in XMP (XMP Specification Part 1, 8.2.1): Integer and Real in decimal notation, and rationals
 * "a/b". Read here, because strtod follows the program's locale and Exempi complains on stderr about what is
 * no number.
 */
#include <exempi/xmp.h>

#include "picture/xmp_internal.h"

static const char *parse_decimal(const char *text, double *out)
{
    bool negative = *text == '-';
    if (*text == '-' || *text == '+')
        text++;
    double value = 0, unit = 1;
    size_t digits = 0;
    for (; *text >= '0' && *text <= '9'; text++, digits++)
        value = value * 10 + (*text - '0');
    if (*text == '.')
        for (text++; *text >= '0' && *text <= '9'; text++, digits++) {
            value = value * 10 + (*text - '0');
            unit *= 10;
        }
    if (digits == 0 || digits > 30)
        return NULL;
    *out = (negative ? -value : value) / unit;
    return text;
}

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t\r\n");
}

bool uf_xmp_parse_real(const char *text, double *out)
{
    double value, divisor = 1;
    const char *rest = parse_decimal(skip_blanks(text), &value);
    if (rest != NULL && *rest == '/')
        rest = parse_decimal(rest + 1, &divisor);
    if (rest == NULL || *skip_blanks(rest) != '\0' || divisor == 0)
        return false;
    *out = value / divisor;
    return true;
}

bool uf_xmp_get_real(XmpPtr xmp, const char *ns, const char *name, double *out)
{
    XmpStringPtr text = xmp_string_new();
    bool good = text != NULL && xmp_get_property(xmp, ns, name, text, NULL) &&
                uf_xmp_parse_real(xmp_string_cstr(text), out);
    xmp_string_free(text);
    return good;
}
