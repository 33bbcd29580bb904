/*
 * XMP packets through Exempi: what is let in, and how it comes out.
 *
 * XMP is RDF/XML without a document type (XMP Specification Part 1, 7.1), so a DOCTYPE has no place in a
 * packet: it is refused before any parser can expand its entities. Very deep nesting is refused too, since
 * Exempi walks its tree recursively.
 */
#include <pthread.h>

#include "base/memory.h"
#include "picture/xmp_internal.h"

#define MAX_PACKET_BYTES (64u << 20)
#define MAX_DEPTH        128u

static pthread_once_t once = PTHREAD_ONCE_INIT;
static bool is_ready;

static void start_exempi(void)
{
    is_ready = xmp_init() && xmp_register_namespace(UF_XMP_NS_GPANO, "GPano", NULL) &&
               xmp_register_namespace(UF_XMP_NS_GAIN_MAP, "hdrgm", NULL) &&
               xmp_register_namespace(UF_XMP_NS_CONTAINER, "Container", NULL) &&
               xmp_register_namespace(UF_XMP_NS_ITEM, "Item", NULL) &&
               xmp_register_namespace(UF_XMP_NS_NOTE, "xmpNote", NULL);
}

/* The position after `end`, searched from `at`; the size when it does not come. */
static size_t skip_past(UfBlob packet, size_t at, const char *end)
{
    size_t length = strlen(end);
    const uint8_t *found = memmem(packet.data + at, packet.size_bytes - at, end, length);
    return found == NULL ? packet.size_bytes : (size_t)(found - packet.data) + length;
}

/* The position after the '>' of the tag at `at`; quoted '>' don't count. */
static size_t skip_tag(UfBlob packet, size_t at)
{
    uint8_t quote = 0;
    for (; at < packet.size_bytes; at++) {
        uint8_t c = packet.data[at];
        if (quote != 0)
            quote = c == quote ? 0 : quote;
        else if (c == '"' || c == '\'')
            quote = c;
        else if (c == '>')
            return at + 1;
    }
    return packet.size_bytes;
}

static bool starts_with(UfBlob packet, size_t at, const char *text)
{
    size_t length = strlen(text);
    return packet.size_bytes - at >= length && memcmp(packet.data + at, text, length) == 0;
}

/* Walks over the markup; NULL when it may go to Exempi, else the reason against it. */
static const char *reason_against(UfBlob packet)
{
    if (packet.size_bytes > MAX_PACKET_BYTES)
        return "it is larger than 64 MiB";
    if (memchr(packet.data, 0, packet.size_bytes) != NULL)
        return "it is not UTF-8 text";
    size_t depth = 0;
    for (size_t at = 0; at < packet.size_bytes;) {
        const uint8_t *open = memchr(packet.data + at, '<', packet.size_bytes - at);
        if (open == NULL)
            break;
        at = (size_t)(open - packet.data);
        if (starts_with(packet, at, "<?")) {
            at = skip_past(packet, at, "?>");
        } else if (starts_with(packet, at, "<!--")) {
            at = skip_past(packet, at + 4, "-->");
        } else if (starts_with(packet, at, "<![CDATA[")) {
            at = skip_past(packet, at, "]]>");
        } else if (starts_with(packet, at, "<!")) {
            return "it has a document type, which XMP does not allow";
        } else {
            bool closes = starts_with(packet, at, "</");
            at = skip_tag(packet, at);
            bool is_empty = at >= 2 && packet.data[at - 2] == '/';
            if (closes)
                depth -= depth > 0;
            else if (!is_empty && ++depth > MAX_DEPTH)
                return "it is nested too deeply";
        }
    }
    return NULL;
}

/* Some writers end the packet with NULs. */
static UfBlob without_trailing_nul(UfBlob packet)
{
    while (packet.size_bytes > 0 && packet.data[packet.size_bytes - 1] == 0)
        packet.size_bytes--;
    return packet;
}

XmpPtr uf_xmp_open(UfBlob packet, const char **why)
{
    pthread_once(&once, start_exempi);
    packet = without_trailing_nul(packet);
    *why = is_ready ? NULL : "Exempi could not be started";
    if (*why == NULL && packet.size_bytes > 0)
        *why = reason_against(packet);
    XmpPtr xmp = *why == NULL ? xmp_new_empty() : NULL;
    if (xmp == NULL || packet.size_bytes == 0)
        return xmp;
    if (!xmp_parse(xmp, (const char *)packet.data, packet.size_bytes)) {
        *why = "it is not well-formed XML or RDF";
        xmp_free(xmp);
        return NULL;
    }
    return xmp;
}

UfStatus uf_xmp_store(XmpPtr xmp, UfXmpForm form, UfBlob *packet, UfReport *report)
{
    XmpStringPtr text = xmp_string_new();
    if (text == NULL)
        return uf_fail_memory(report);
    uint32_t options = form == UF_XMP_PADDED      ? 0u
                       : form == UF_XMP_EXTENSION ? XMP_SERIAL_USECOMPACTFORMAT | XMP_SERIAL_OMITPACKETWRAPPER
                                                  : XMP_SERIAL_USECOMPACTFORMAT;
    /* 0 asks Exempi for its default of 2 KiB */
    uint32_t padding = form == UF_XMP_COMPACT ? 1 : 0;
    UfStatus status = UF_OK;
    if (!xmp_serialize(xmp, text, options, padding))
        status = uf_fail(report, UF_ERROR_FORMAT,
                         "the XMP packet could not be written anew (Exempi error %d)", xmp_get_error());
    else
        status = uf_blob_set(packet, xmp_string_cstr(text), xmp_string_len(text), report);
    xmp_string_free(text);
    return status;
}

void uf_xmp_free_list(UfXmpProperty **list, size_t *count)
{
    for (size_t i = 0; i < *count; i++) {
        free((*list)[i].ns);
        free((*list)[i].name);
    }
    free(*list);
    *list = NULL;
    *count = 0;
}

static bool append(UfXmpProperty **list, size_t *count, const char *ns, const char *name)
{
    UfXmpProperty *grown = uf_realloc(*list, *count + 1, sizeof *grown);
    if (grown == NULL)
        return false;
    *list = grown;
    grown[*count] =
        (UfXmpProperty){.ns = uf_duplicate(ns, strlen(ns) + 1), .name = uf_duplicate(name, strlen(name) + 1)};
    (*count)++;
    return grown[*count - 1].ns != NULL && grown[*count - 1].name != NULL;
}

/* Top-level paths have no step, index or qualifier. */
static bool is_top_level(const char *path)
{
    return path[0] != '\0' && strpbrk(path, "/[") == NULL;
}

bool uf_xmp_list(XmpPtr xmp, const char *ns, UfXmpProperty **list, size_t *count)
{
    *list = NULL;
    *count = 0;
    bool complete = false;
    XmpStringPtr schema = xmp_string_new(), path = xmp_string_new(), value = xmp_string_new();
    XmpIteratorPtr iterator = xmp_iterator_new(xmp, ns, NULL, XMP_ITER_PROPERTIES);
    if (iterator == NULL || schema == NULL || path == NULL || value == NULL)
        goto cleanup;
    uint32_t options;
    complete = true;
    while (complete && xmp_iterator_next(iterator, schema, path, value, &options)) {
        const char *name = xmp_string_cstr(path);
        if (is_top_level(name))
            complete = append(list, count, xmp_string_cstr(schema), name);
        if (complete && *count > 0)
            (*list)[*count - 1].bytes += xmp_string_len(value) + 32; /* tags and indentation, roughly */
    }
cleanup:
    if (iterator != NULL)
        xmp_iterator_free(iterator);
    xmp_string_free(schema);
    xmp_string_free(path);
    xmp_string_free(value);
    return complete;
}

bool uf_xmp_delete_namespace(XmpPtr xmp, const char *ns)
{
    UfXmpProperty *list;
    size_t count;
    uf_xmp_list(xmp, ns, &list, &count);
    bool any = count > 0;
    for (size_t i = 0; i < count; i++)
        xmp_delete_property(xmp, ns, list[i].name);
    uf_xmp_free_list(&list, &count);
    return any;
}
