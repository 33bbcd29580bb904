/* An address as text: written and read without the program's locale, and the same way for XMP and sidecar. */
#include <math.h>

#include "base/utf8.h"
#include "home/home.h"

/* Addresses without rows are as they ever were; a program that knows no rows must not take a fingerprint of
 * some for one of all. */
#define VERSION_TEXT      "1"
#define ROWS_VERSION_TEXT "2"
#define HASH_PREFIX       "xxh3-128:"
/* INI lines are short (src/base/ini.h): longer names are cut. */
#define SOURCE_TEXT_BYTES 160

static const char *const keys[UF_HOME_FIELD_COUNT] = {
#define UF_HOME_KEY(id, key, name) [UF_HOME_##id##_FIELD] = (key),
    UF_HOME_FIELDS(UF_HOME_KEY)
#undef UF_HOME_KEY
};

static const char *const names[UF_HOME_FIELD_COUNT] = {
#define UF_HOME_NAME(id, key, name) [UF_HOME_##id##_FIELD] = (name),
    UF_HOME_FIELDS(UF_HOME_NAME)
#undef UF_HOME_NAME
};

UfHomeText uf_home_text_empty(void)
{
    UfHomeText text = {0};
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++)
        text.fields[i].name = names[i];
    return text;
}

const char *uf_home_key(size_t field)
{
    return keys[field];
}

bool uf_home_text_same(const UfHomeText *a, const UfHomeText *b)
{
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++) {
        const UfProperty *of_a = &a->fields[i];
        const UfProperty *of_b = &b->fields[i];
        if (of_a->present != of_b->present || (of_a->present && strcmp(of_a->value, of_b->value) != 0))
            return false;
    }
    return true;
}

static void put_text(UfProperty *field, const char *text)
{
    field->present = true;
    (void)snprintf(field->value, sizeof field->value, "%s", text);
}

static void put_degrees(UfProperty *field, double deg)
{
    long long steps = llround(deg * (double)UF_HOME_STEPS_DEG);
    long long size = llabs(steps);
    int length = snprintf(field->value, sizeof field->value, "%s%lld.%09lld", steps < 0 ? "-" : "",
                          size / UF_HOME_STEPS_DEG, size % UF_HOME_STEPS_DEG);
    while (length > 0 && field->value[length - 1] == '0')
        field->value[--length] = '\0';
    if (length > 0 && field->value[length - 1] == '.')
        field->value[--length] = '\0';
    field->present = true;
}

static void put_fingerprint(UfProperty *field, const UfFingerprint *fingerprint)
{
    char text[sizeof HASH_PREFIX + 2 * sizeof fingerprint->bytes];
    size_t used = sizeof HASH_PREFIX - 1;
    memcpy(text, HASH_PREFIX, used);
    for (size_t i = 0; i < sizeof fingerprint->bytes; i++, used += 2)
        (void)snprintf(text + used, sizeof text - used, "%02x", fingerprint->bytes[i]);
    put_text(field, text);
}

/* Bytes of the character of two to four bytes that begins here, 0 for what XML has no place for: controls
 * beyond ASCII and noncharacters. */
static size_t utf8_bytes(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;
    size_t count = uf_utf8_bytes(text);
    bool c1_control = at[0] == 0xC2 && at[1] < 0xA0;
    bool noncharacter = at[0] == 0xEF && at[1] == 0xBF && at[2] >= 0xBE;
    return count < 2 || c1_control || noncharacter ? 0 : count;
}

/*
 * %XX (RFC 3986, 2.1) for what INI or XMP cannot hold: control characters, bytes that are no UTF-8, the ;
 * that begins a comment, blanks at the ends, and % itself. Whole characters only, as many as there is room
 * for.
 */
static void put_source(UfProperty *field, const char *source)
{
    char text[SOURCE_TEXT_BYTES];
    size_t used = 0;
    for (const char *at = source; *at != '\0';) {
        unsigned char byte = (unsigned char)*at;
        size_t whole = utf8_bytes(at);
        bool edge = at == source || at[1] == '\0';
        bool plain = byte > ' ' && byte < 0x7F && byte != '%' && byte != ';';
        if (byte == ' ' && !edge)
            plain = true;
        if (used + (whole > 3 ? whole : 3) >= sizeof text - 1)
            break;
        if (plain || whole > 0) {
            size_t count = plain ? 1 : whole;
            memcpy(text + used, at, count);
            used += count;
            at += count;
        } else {
            used += (size_t)snprintf(text + used, sizeof text - used, "%%%02X", byte);
            at++;
        }
    }
    while (used > 0 && text[used - 1] == ' ')
        used--;
    text[used] = '\0';
    put_text(field, text);
}

UfHomeText uf_home_to_text(const UfHome *home)
{
    UfHomeText text = uf_home_text_empty();
    UfProperty *fields = text.fields;
    put_text(&fields[UF_HOME_VERSION_FIELD], home->end_row_px > 0 ? ROWS_VERSION_TEXT : VERSION_TEXT);
    put_text(&fields[UF_HOME_KIND_FIELD], uf_home_kind_name(home->kind));
    if (home->kind == UF_HOME_FACE)
        put_text(&fields[UF_HOME_FACE_FIELD], uf_face_name(home->face));
    if (home->kind == UF_HOME_VIEW || home->kind == UF_HOME_PLANET) {
        put_degrees(&fields[UF_HOME_YAW_FIELD], home->yaw_deg);
        put_degrees(&fields[UF_HOME_FOV_FIELD], home->fov_deg);
    }
    if (home->kind == UF_HOME_VIEW) {
        put_degrees(&fields[UF_HOME_PITCH_FIELD], home->pitch_deg);
        put_degrees(&fields[UF_HOME_ROLL_FIELD], home->roll_deg);
    }
    if (home->kind == UF_HOME_PLANET)
        put_text(&fields[UF_HOME_CENTRE_FIELD], home->sky_centre ? "sky" : "ground");
    char size[64];
    (void)snprintf(size, sizeof size, "%zux%zu", home->width_px, home->height_px);
    put_text(&fields[UF_HOME_SIZE_FIELD], size);
    put_text(&fields[UF_HOME_SAMPLING_FIELD], uf_home_sampling_name(home->sampling));
    (void)snprintf(size, sizeof size, "%zu", home->panorama_width_px);
    put_text(&fields[UF_HOME_PANORAMA_FIELD], size);
    if (home->end_row_px > 0) {
        (void)snprintf(size, sizeof size, "%zu-%zu", home->first_row_px, home->end_row_px);
        put_text(&fields[UF_HOME_ROWS_FIELD], size);
    }
    put_fingerprint(&fields[UF_HOME_FINGERPRINT_FIELD], &home->fingerprint);
    if (home->source[0] != '\0')
        put_source(&fields[UF_HOME_SOURCE_FIELD], home->source);
    return text;
}

/* At most nine digits; NULL when there is none. */
static const char *read_digits(const char *text, long long *out, size_t *count)
{
    long long value = 0;
    size_t digits = 0;
    for (; *text >= '0' && *text <= '9' && digits <= 9; text++, digits++)
        value = value * 10 + (*text - '0');
    if (digits == 0 || digits > 9)
        return NULL;
    *out = value;
    *count = digits;
    return text;
}

static bool read_degrees(const char *text, double *out)
{
    bool negative = *text == '-';
    long long whole;
    long long part = 0;
    size_t digits;
    const char *rest = read_digits(text + (negative ? 1 : 0), &whole, &digits);
    if (rest != NULL && *rest == '.') {
        rest = read_digits(rest + 1, &part, &digits);
        for (; rest != NULL && digits < 9; digits++)
            part *= 10;
    }
    if (rest == NULL || *rest != '\0')
        return false;
    double steps = (double)(whole * UF_HOME_STEPS_DEG + part);
    *out = (negative ? -steps : steps) / (double)UF_HOME_STEPS_DEG;
    return true;
}

/* 1600x1200, 2656-4096 */
static bool read_two(const char *text, char between, size_t *first, size_t *second)
{
    long long before;
    long long behind;
    size_t digits;
    const char *rest = read_digits(text, &before, &digits);
    if (rest == NULL || *rest != between)
        return false;
    rest = read_digits(rest + 1, &behind, &digits);
    if (rest == NULL || *rest != '\0')
        return false;
    *first = (size_t)before;
    *second = (size_t)behind;
    return true;
}

static bool read_whole(const char *text, size_t *out)
{
    long long value;
    size_t digits;
    const char *rest = read_digits(text, &value, &digits);
    if (rest == NULL || *rest != '\0')
        return false;
    *out = (size_t)value;
    return true;
}

static int hex_digit(char digit)
{
    static const char digits[] = "0123456789abcdef0123456789ABCDEF";
    const char *at = digit == '\0' ? NULL : strchr(digits, digit);
    return at == NULL ? -1 : (int)(at - digits) % 16;
}

static bool read_hex(const char *text, uint8_t *out)
{
    int high = hex_digit(text[0]);
    int low = high < 0 ? -1 : hex_digit(text[1]);
    if (low < 0)
        return false;
    *out = (uint8_t)(16 * high + low);
    return true;
}

static bool read_fingerprint(const char *text, UfFingerprint *out)
{
    size_t length = sizeof HASH_PREFIX - 1;
    if (strncmp(text, HASH_PREFIX, length) != 0 || strlen(text) != length + 2 * sizeof out->bytes)
        return false;
    for (size_t i = 0; i < sizeof out->bytes; i++)
        if (!read_hex(text + length + 2 * i, &out->bytes[i]))
            return false;
    return true;
}

/* Cut where it is longer than the structure holds: it is for people. A %00 would end it. */
static bool read_source(const char *text, char out[static UF_HOME_SOURCE_BYTES])
{
    size_t used = 0;
    for (; *text != '\0' && used + 1 < UF_HOME_SOURCE_BYTES; used++) {
        uint8_t byte = (uint8_t)*text;
        if (*text == '%' && (!read_hex(text + 1, &byte) || byte == 0))
            return false;
        text += *text == '%' ? 3 : 1;
        out[used] = (char)byte;
    }
    out[used] = '\0';
    return true;
}

static bool read_kind(const char *text, UfHomeKind *out)
{
    for (unsigned kind = 0; kind < UF_HOME_KIND_COUNT; kind++)
        if (strcmp(text, uf_home_kind_name((UfHomeKind)kind)) == 0) {
            *out = (UfHomeKind)kind;
            return true;
        }
    return false;
}

static bool read_centre(const char *text, bool *sky)
{
    *sky = strcmp(text, "sky") == 0;
    return *sky || strcmp(text, "ground") == 0;
}

static bool read_field(size_t field, const char *value, UfHome *home)
{
    switch (field) {
    case UF_HOME_KIND_FIELD:
        return read_kind(value, &home->kind);
    case UF_HOME_FACE_FIELD:
        return uf_face_from_name(value, &home->face);
    case UF_HOME_YAW_FIELD:
        return read_degrees(value, &home->yaw_deg);
    case UF_HOME_PITCH_FIELD:
        return read_degrees(value, &home->pitch_deg);
    case UF_HOME_ROLL_FIELD:
        return read_degrees(value, &home->roll_deg);
    case UF_HOME_FOV_FIELD:
        return read_degrees(value, &home->fov_deg);
    case UF_HOME_CENTRE_FIELD:
        return read_centre(value, &home->sky_centre);
    case UF_HOME_SIZE_FIELD:
        return read_two(value, 'x', &home->width_px, &home->height_px);
    case UF_HOME_SAMPLING_FIELD:
        return uf_home_sampling_from_name(value, &home->sampling);
    case UF_HOME_PANORAMA_FIELD:
        return read_whole(value, &home->panorama_width_px);
    case UF_HOME_ROWS_FIELD:
        return read_two(value, '-', &home->first_row_px, &home->end_row_px) && home->end_row_px > 0;
    case UF_HOME_FINGERPRINT_FIELD:
        return read_fingerprint(value, &home->fingerprint);
    case UF_HOME_SOURCE_FIELD:
        return read_source(value, home->source);
    default:
        return true;
    }
}

/* Does an address of that kind need the field? */
static bool is_needed(UfHomeKind kind, size_t field)
{
    switch (field) {
    case UF_HOME_SOURCE_FIELD:
    case UF_HOME_ROWS_FIELD:
        return false;
    case UF_HOME_FACE_FIELD:
        return kind == UF_HOME_FACE;
    case UF_HOME_PITCH_FIELD:
    case UF_HOME_ROLL_FIELD:
        return kind == UF_HOME_VIEW;
    case UF_HOME_YAW_FIELD:
    case UF_HOME_FOV_FIELD:
        return kind == UF_HOME_VIEW || kind == UF_HOME_PLANET;
    case UF_HOME_CENTRE_FIELD:
        return kind == UF_HOME_PLANET;
    default:
        return true;
    }
}

static UfStatus check_version(const UfHomeText *text, const char *where, UfReport *report)
{
    const UfProperty *version = &text->fields[UF_HOME_VERSION_FIELD];
    const bool has_rows = text->fields[UF_HOME_ROWS_FIELD].present;
    if (version->present && strcmp(version->value, VERSION_TEXT) != 0 &&
        strcmp(version->value, ROWS_VERSION_TEXT) != 0)
        return uf_fail(
            report, UF_ERROR_UNSUPPORTED,
            "%s: the home address is of version %.20s, and this program knows versions " VERSION_TEXT
            " and " ROWS_VERSION_TEXT,
            where, version->value);
    if (version->present && has_rows != (strcmp(version->value, ROWS_VERSION_TEXT) == 0))
        return uf_fail(report, UF_ERROR_FORMAT, "%s: a home address of version %s %s rows", where,
                       version->value, has_rows ? "has no" : "needs");
    return UF_OK;
}

UfStatus uf_home_from_text(const UfHomeText *text, const char *where, UfHome *out, UfReport *report)
{
    UfHome home = {0};
    UfStatus status = check_version(text, where, report);
    if (status != UF_OK)
        return status;
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++) {
        const UfProperty *field = &text->fields[i];
        if (field->present && !read_field(i, field->value, &home))
            return uf_fail(report, UF_ERROR_FORMAT,
                           "%s: the home address has %s \"%.40s\", which makes no sense", where, keys[i],
                           field->value);
    }
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++)
        if (!text->fields[i].present && is_needed(home.kind, i))
            return uf_fail(report, UF_ERROR_FORMAT, "%s: the home address lacks %s", where, keys[i]);
    UfReport *inner = uf_report_create();
    if (uf_home_check(&home, inner) != UF_OK)
        status = uf_fail(report, UF_ERROR_FORMAT, "%s: the home address makes no sense: %s", where,
                         uf_report_error(inner));
    uf_report_free(&inner);
    if (status == UF_OK)
        *out = home;
    return status;
}
