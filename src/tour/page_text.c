/*
 * Any bytes as text for the review page. Escapes: WHATWG HTML, 13.1.2 and 13.1.3 (text, attributes, script);
 * RFC 8259 (JSON); RFC 3986 (percent-encoding); RFC 4648 (base64).
 */
#include "tour/page_text.h"

#include <stdbool.h>
#include <string.h>

#include "base/banned.h"
#include "base/utf8.h"

/* A sheet's line holds 190 bytes (src/base/ini.c); "[panorama " and the bracket need some of them. */
#define SECTION_MAX_BYTES 160u

static bool is_control(char byte)
{
    return (unsigned char)byte < 0x20 || byte == 0x7f;
}

/* What stands for a byte in HTML; NULL for itself. */
static const char *html_escape(char byte)
{
    switch (byte) {
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '&':
        return "&amp;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return is_control(byte) ? "&#xfffd;" : NULL;
    }
}

void uf_page_put_html(FILE *stream, const char *text)
{
    for (const char *at = text; *at != '\0';) {
        size_t length = uf_utf8_bytes(at);
        const char *escape = length == 0 ? "&#xfffd;" : html_escape(*at);
        if (escape != NULL)
            (void)fputs(escape, stream);
        else
            (void)fwrite(at, 1, length, stream);
        at += length == 0 ? 1 : length;
    }
}

static bool is_line_separator(const char *at)
{
    return memcmp(at, "\xE2\x80\xA8", 3) == 0 || memcmp(at, "\xE2\x80\xA9", 3) == 0;
}

/* One character of `length` bytes inside a JSON string. */
static void put_json_character(FILE *stream, const char *at, size_t length)
{
    if (length == 0)
        (void)fputs("\\ufffd", stream);
    else if (*at == '"' || *at == '\\')
        (void)fprintf(stream, "\\%c", *at);
    else if (is_control(*at) || strchr("<>&", *at) != NULL)
        (void)fprintf(stream, "\\u%04x", (unsigned)(unsigned char)*at);
    else if (length == 3 && is_line_separator(at))
        (void)fprintf(stream, "\\u20%02x", (unsigned)(unsigned char)at[2] - 0x80);
    else
        (void)fwrite(at, 1, length, stream);
}

void uf_page_put_json(FILE *stream, const char *text)
{
    if (text == NULL) {
        (void)fputs("null", stream);
        return;
    }
    (void)fputc('"', stream);
    for (const char *at = text; *at != '\0';) {
        size_t length = uf_utf8_bytes(at);
        put_json_character(stream, at, length);
        at += length == 0 ? 1 : length;
    }
    (void)fputc('"', stream);
}

static bool is_unreserved(char byte)
{
    return (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z') || (byte >= '0' && byte <= '9') ||
           byte == '-' || byte == '.' || byte == '_' || byte == '~';
}

void uf_page_put_key(FILE *stream, const char *text)
{
    (void)fputc('"', stream);
    for (const char *at = text; *at != '\0'; at++)
        if (is_unreserved(*at))
            (void)fputc(*at, stream);
        else
            (void)fprintf(stream, "%%%02X", (unsigned)(unsigned char)*at);
    (void)fputc('"', stream);
}

void uf_page_put_section(FILE *stream, const char *name)
{
    size_t used = 0;
    (void)fputc('"', stream);
    for (const char *at = name; *at != '\0';) {
        size_t length = uf_utf8_bytes(at);
        size_t step = length == 0 ? 1 : length;
        bool at_edge = at == name || at[step] == '\0';
        if (used + step > SECTION_MAX_BYTES) {
            (void)fputc('*', stream);
            break;
        }
        if (length == 0 || is_control(*at) || strchr("[];\\", *at) != NULL || (*at == ' ' && at_edge))
            (void)fputc('?', stream);
        else
            put_json_character(stream, at, length);
        used += step;
        at += step;
    }
    (void)fputc('"', stream);
}

/* Four letters for up to three bytes; what is missing is padded. */
static void encode_triple(const uint8_t *data, size_t left, char out[static 4])
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    unsigned bits = (unsigned)data[0] << 16 | (left > 1 ? (unsigned)data[1] << 8 : 0) |
                    (left > 2 ? (unsigned)data[2] : 0);
    memset(out, '=', 4);
    for (size_t i = 0; i < 4 && i <= left; i++)
        out[i] = letters[bits >> (18 - 6 * i) & 63];
}

void uf_page_put_base64(FILE *stream, const uint8_t *data, size_t size_bytes)
{
    char text[4096] = {0};
    size_t used = 0;
    for (size_t i = 0; i < size_bytes; i += 3) {
        encode_triple(data + i, size_bytes - i, text + used);
        used += 4;
        if (used == sizeof text) {
            (void)fwrite(text, 1, used, stream);
            used = 0;
        }
    }
    (void)fwrite(text, 1, used, stream);
}
