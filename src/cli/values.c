/* Words, numbers, angles, sizes and colours as they are written on a command line. */
#include "cli/values.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

static bool refuse(char *problem, const char *format, ...) __attribute__((format(printf, 2, 3)));

static bool refuse(char *problem, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(problem, CLI_PROBLEM_BYTES, format, arguments);
    va_end(arguments);
    return false;
}

/* A finite decimal number at the start of `text`: no blanks before it, no hexadecimal, no "inf" or "nan". */
static bool read_number(const char *text, const char **end, double *out)
{
    size_t sign = text[0] == '-' || text[0] == '+';
    bool digit_first = isdigit((unsigned char)text[sign]) != 0;
    bool point_first = text[sign] == '.' && isdigit((unsigned char)text[sign + 1]) != 0;
    if (!digit_first && !point_first)
        return false;
    if (text[sign] == '0' && (text[sign + 1] == 'x' || text[sign + 1] == 'X'))
        return false;
    char *stop = NULL;
    double number = strtod(text, &stop);
    if (!isfinite(number))
        return false;
    *out = number;
    *end = stop;
    return true;
}

static bool in_range(const CliRange *range, double number)
{
    if (!(range->low < range->high))
        return true;
    bool above = range->without_low ? number > range->low : number >= range->low;
    bool below = range->without_high ? number < range->high : number <= range->high;
    return above && below;
}

static bool check_range(const CliOption *option, double number, char *problem)
{
    const CliRange *range = &option->range;
    if (in_range(range, number))
        return true;
    return refuse(problem, "it must be %s %.10g and %s %.10g", range->without_low ? "more than" : "at least",
                  range->low, range->without_high ? "less than" : "at most", range->high);
}

static bool read_angle(const CliOption *option, const char *text, CliValue *value, char *problem)
{
    const char *end = NULL;
    double number = 0;
    if (read_number(text, &end, &number) && *end == ',' && isdigit((unsigned char)end[1]))
        return refuse(problem, "it must be an angle in degrees, with a point: %.*s.%s", (int)(end - text),
                      text, end + 1);
    if (!read_number(text, &end, &number) || (*end != '\0' && strcmp(end, "deg") != 0))
        return refuse(problem, "it must be an angle in degrees, such as 12.5 or 12.5deg");
    value->number = number;
    return check_range(option, number, problem);
}

static bool read_plain(const CliOption *option, const char *text, CliValue *value, char *problem)
{
    const char *end = NULL;
    if (read_number(text, &end, &value->number) && *end == ',' && isdigit((unsigned char)end[1]))
        return refuse(problem, "it must be a number, with a point: %.*s.%s", (int)(end - text), text,
                      end + 1);
    if (!read_number(text, &end, &value->number) || *end != '\0')
        return refuse(problem, "it must be a number, such as 1.65");
    return check_range(option, value->number, problem);
}

static bool read_sun(const char *text, CliValue *value)
{
    const char *end = NULL;
    return read_number(text, &end, &value->number) && *end == ',' &&
           read_number(end + 1, &end, &value->second) && *end == '\0' && fabs(value->number) <= 3600 &&
           value->second > 0 && value->second <= 90;
}

static bool read_count(const CliOption *option, const char *text, CliValue *value, char *problem)
{
    size_t digits = strspn(text, "0123456789");
    /* 15 digits are exact in a double */
    if (digits == 0 || digits > 15 || text[digits] != '\0')
        return refuse(problem, "it must be a whole number and nothing else");
    value->number = strtod(text, NULL);
    return check_range(option, value->number, problem);
}

static bool read_bytes(const CliOption *option, const char *text, CliValue *value, char *problem)
{
    const char *units = "KMGT";
    const char *end = NULL;
    double number = 0;
    bool right = read_number(text, &end, &number);
    if (right && *end != '\0') {
        const char *unit = strchr(units, toupper((unsigned char)*end));
        right = unit != NULL && end[1] == '\0';
        if (right)
            number = ldexp(number, 10 * (int)(unit - units + 1));
    }
    if (!right)
        return refuse(problem, "it must be a size in bytes, such as 500M or 8G");
    value->number = floor(number);
    return check_range(option, value->number, problem);
}

/* A side in pixels, 1 .. UF_PICTURE_MAX_SIDE_PX. */
static bool read_side(const char *text, size_t digits, size_t *out)
{
    if (digits == 0 || digits > 7)
        return false;
    size_t side = 0;
    for (size_t i = 0; i < digits; i++)
        side = side * 10 + (size_t)(text[i] - '0');
    *out = side;
    return side >= 1 && side <= UF_PICTURE_MAX_SIDE_PX;
}

static bool read_size(const char *text, CliValue *value, char *problem)
{
    size_t first = strspn(text, "0123456789");
    const char *rest = text[first] == 'x' ? text + first + 1 : text + first;
    size_t second = strspn(rest, "0123456789");
    bool shape = text[first] == 'x' && rest[second] == '\0';
    if (!shape || !read_side(text, first, &value->width_px) || !read_side(rest, second, &value->height_px))
        return refuse(problem, "it must be width x height in pixels, such as 1600x1200, each 1 to %u",
                      UF_PICTURE_MAX_SIDE_PX);
    return true;
}

static unsigned hex_digit(char digit)
{
    return isdigit((unsigned char)digit) ? (unsigned)(digit - '0')
                                         : (unsigned)(tolower((unsigned char)digit) - 'a') + 10u;
}

static bool read_colour(const char *text, CliValue *value)
{
    size_t digits = text[0] == '#' ? strspn(text + 1, "0123456789abcdefABCDEF") : 0;
    if ((digits != 3 && digits != 6) || text[1 + digits] != '\0')
        return false;
    for (size_t i = 0; i < 3; i++) {
        unsigned high = hex_digit(text[1 + (digits == 3 ? i : 2 * i)]);
        unsigned low = digits == 3 ? high : hex_digit(text[2 + 2 * i]);
        value->colour[i] = (16 * high + low) / 255.0;
    }
    return true;
}

/* "floor, smooth or none", with `last` ("a colour such as #808080") as one more. */
static void list_words(const CliOption *option, const char *last, char *text, size_t size)
{
    size_t count = 0;
    while (count < CLI_WORDS && option->words[count] != NULL)
        count++;
    size_t total = count + (last != NULL);
    text[0] = '\0';
    for (size_t i = 0, at = 0; i < total && at < size; i++) {
        const char *join = i == 0 ? "" : i + 1 == total ? " or " : ", ";
        int wrote = snprintf(text + at, size - at, "%s%s", join, i < count ? option->words[i] : last);
        at += wrote > 0 ? (size_t)wrote : 0;
    }
}

static bool find_word(const CliOption *option, const char *text, CliValue *value)
{
    for (int i = 0; i < CLI_WORDS && option->words[i] != NULL; i++) {
        if (strcmp(option->words[i], text) == 0) {
            value->word = i;
            return true;
        }
    }
    return false;
}

static bool read_by_kind(const CliOption *option, const char *text, CliValue *value, char *problem)
{
    char words[120];
    switch (option->kind) {
    case CLI_TEXT:
        return text[0] != '\0' || refuse(problem, "it is empty");
    case CLI_FILE:
        return text[0] != '\0' || refuse(problem, "the name is empty");
    case CLI_ANGLE:
        return read_angle(option, text, value, problem);
    case CLI_COUNT:
        return read_count(option, text, value, problem);
    case CLI_BYTES:
        return read_bytes(option, text, value, problem);
    case CLI_NUMBER:
        return read_plain(option, text, value, problem);
    case CLI_SUN:
        return read_sun(text, value) ||
               refuse(problem,
                      "it must be the sun's yaw in the panorama and its elevation (above 0, up to 90) in "
                      "degrees, such as 130,42, or one of the words find and clock");
    case CLI_SIZE:
        return read_size(text, value, problem);
    case CLI_COLOUR:
        list_words(option, "a colour such as #808080", words, sizeof words);
        return read_colour(text, value) || refuse(problem, "it must be %s", words);
    case CLI_WORD:
    case CLI_FLAG:
        break;
    }
    list_words(option, NULL, words, sizeof words);
    return refuse(problem, "it must be %s", words);
}

bool cli_read_value(const CliOption *option, const char *text, CliValue *value,
                    char problem[static CLI_PROBLEM_BYTES])
{
    CliValue read = {.given = true, .word = -1, .text = text};
    if (!find_word(option, text, &read) && !read_by_kind(option, text, &read, problem)) {
        size_t used = strlen(problem);
        if (option->kind == CLI_ANGLE && option->words[0] != NULL)
            snprintf(problem + used, CLI_PROBLEM_BYTES - used, ", or the word %s", option->words[0]);
        return false;
    }
    *value = read;
    return true;
}
