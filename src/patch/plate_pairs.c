/* Point pairs from a text file: four numbers a line, '#' starts a comment. Numbers as in C, with a point. */
#include <ctype.h>
#include <errno.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>

#include <underfoot/plate.h>

#include "base/file.h"
#include "base/memory.h"

#define MOST_BYTES (1u << 20)

/* Digits, sign, point, exponent: no hexadecimal, no 'inf', and the same in every locale. */
static bool read_number(const char **text, const char *end, double *out)
{
    char copy[64];
    size_t length = 0;
    while (*text < end && (isspace((unsigned char)**text) || **text == ','))
        (*text)++;
    while (*text + length < end && strchr("+-.0123456789eE", (*text)[length]) != NULL &&
           length + 1 < sizeof copy) {
        copy[length] = (*text)[length];
        length++;
    }
    copy[length] = '\0';
    char *stop = copy;
    locale_t plain = newlocale(LC_NUMERIC_MASK, "C", (locale_t)0);
    if (plain == (locale_t)0)
        return false;
    *out = strtod_l(copy, &stop, plain);
    freelocale(plain);
    *text += length;
    return length > 0 && *stop == '\0' && isfinite(*out);
}

/* One line without its comment; *is_empty when nothing is on it. */
static bool read_line(const char *text, const char *end, UfPointPair *out, bool *is_empty)
{
    double numbers[4];
    const char *comment = memchr(text, '#', (size_t)(end - text));
    end = comment != NULL ? comment : end;
    while (end > text && isspace((unsigned char)end[-1]))
        end--;
    while (text < end && isspace((unsigned char)*text))
        text++;
    *is_empty = text == end;
    if (*is_empty)
        return true;
    for (size_t i = 0; i < 4; i++)
        if (!read_number(&text, end, &numbers[i]))
            return false;
    *out = (UfPointPair){{numbers[0], numbers[1]}, {numbers[2], numbers[3]}};
    return text == end;
}

static UfStatus read_lines(const char *path, const char *text, size_t size, UfPointPair *pairs, size_t *count,
                           UfReport *report)
{
    const char *end = text + size;
    for (size_t line = 1; text < end; line++) {
        const char *stop = memchr(text, '\n', (size_t)(end - text));
        UfPointPair pair;
        bool is_empty;
        stop = stop != NULL ? stop : end;
        if (!read_line(text, stop, &pair, &is_empty))
            return uf_fail(
                report, UF_ERROR_FORMAT,
                "%s: line %zu: expected four numbers, the point in the photograph and the same point in the "
                "panorama: photo_x photo_y panorama_x panorama_y",
                path, line);
        if (!is_empty && *count == UF_PLATE_MOST_PAIRS)
            return uf_fail(report, UF_ERROR_FORMAT, "%s: line %zu: more than %u point pairs", path, line,
                           UF_PLATE_MOST_PAIRS);
        if (!is_empty)
            pairs[(*count)++] = pair;
        text = stop < end ? stop + 1 : end;
    }
    if (*count < UF_PLATE_LEAST_PAIRS)
        return uf_fail(report, UF_ERROR_FORMAT, "%s: holds too few point pairs, %zu; at least %u are needed",
                       path, *count, UF_PLATE_LEAST_PAIRS);
    return UF_OK;
}

UfStatus uf_plate_pairs_read(const char *path, UfPointPair **out, size_t *count, UfReport *report)
{
    UfInput input;
    uint8_t *data = NULL;
    size_t size = 0, found = 0;
    UfStatus status = uf_input_open(path, &input, report);
    if (status != UF_OK)
        return status;
    UfPointPair *pairs = uf_alloc(UF_PLATE_MOST_PAIRS, sizeof *pairs);
    if (pairs == NULL)
        status = uf_fail_memory(report);
    else if (input.size_bytes > MOST_BYTES)
        status = uf_fail(report, UF_ERROR_FORMAT, "%s: is too large for a list of point pairs", path);
    else
        status = uf_input_read_all(&input, &data, &size, report);
    if (status == UF_OK)
        status = read_lines(path, (const char *)data, size, pairs, &found, report);
    uf_input_close(&input);
    free(data);
    if (status != UF_OK) {
        free(pairs);
        return status;
    }
    *out = pairs;
    *count = found;
    return UF_OK;
}
