/* XMP packets in and out of Exempi. */
#include <pthread.h>

#include <exempi/xmperrors.h>

#include "base/memory.h"
#include "picture/xmp_internal.h"

const char uf_xmp_no_memory[] = "there is not enough memory to read it";

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

/* Some writers end the packet with NULs. */
static UfBlob without_trailing_nul(UfBlob packet)
{
    while (packet.size_bytes > 0 && packet.data[packet.size_bytes - 1] == 0)
        packet.size_bytes--;
    return packet;
}

/* In the last call of Exempi: the exceptions of the standard library that it meets are bad_alloc's. */
static bool ran_out_of_memory(void)
{
    return xmp_get_error() == XMPErr_NoMemory || xmp_get_error() == XMPErr_StdException;
}

static XmpPtr parse(UfBlob guarded, const char **why)
{
    XmpPtr xmp = xmp_new_empty();
    if (xmp == NULL || xmp_parse(xmp, (const char *)guarded.data, guarded.size_bytes))
        return xmp;
    *why = ran_out_of_memory() ? uf_xmp_no_memory : "it is not RDF";
    xmp_free(xmp);
    return NULL;
}

XmpPtr uf_xmp_open(UfBlob packet, const char **why)
{
    pthread_once(&once, start_exempi);
    *why = is_ready ? NULL : uf_xmp_no_memory; /* nothing else keeps Exempi from starting */
    packet = without_trailing_nul(packet);
    if (*why == NULL && packet.size_bytes == 0)
        return xmp_new_empty();
    UfBlob guarded = {0};
    if (*why == NULL)
        *why = uf_xmp_guard(packet, &guarded);
    XmpPtr xmp = *why == NULL ? parse(guarded, why) : NULL;
    uf_blob_clear(&guarded);
    if (*why == uf_xmp_no_memory)
        *why = NULL;
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
    if (status == UF_OK)
        uf_xmp_unguard(packet);
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
    complete = complete && !ran_out_of_memory(); /* the walk just ends then */
cleanup:
    if (iterator != NULL)
        xmp_iterator_free(iterator);
    xmp_string_free(schema);
    xmp_string_free(path);
    xmp_string_free(value);
    return complete;
}

UfStatus uf_xmp_delete_namespace(XmpPtr xmp, const char *ns, bool *changed, UfReport *report)
{
    UfXmpProperty *list;
    size_t count;
    bool good = uf_xmp_list(xmp, ns, &list, &count);
    for (size_t i = 0; good && i < count; i++)
        good = xmp_delete_property(xmp, ns, list[i].name);
    *changed = *changed || count > 0;
    uf_xmp_free_list(&list, &count);
    return good ? UF_OK : uf_fail_memory(report);
}
