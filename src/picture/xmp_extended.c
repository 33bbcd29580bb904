/*
 * Extended XMP: a second packet for what does not fit into one JPEG segment.
 *
 * Source: XMP Specification Part 3, 1.1.3.1. The main packet names the extended one by the MD5 of its bytes
 * in xmpNote:HasExtendedXMP; a property stands in one of the two.
 */
#include <exempi/xmp.h>

#include "base/memory.h"
#include "picture/xmp_internal.h"

#define NOTE_NAME  "HasExtendedXMP"
#define ROOM_BYTES 512u /* for the packet wrapper and the note */

static bool belongs_to(const char *path, const char *name)
{
    size_t length = strlen(name);
    return strncmp(path, name, length) == 0 &&
           (path[length] == '\0' || path[length] == '[' || path[length] == '/');
}

/* Copies one property with everything below it; parents come before their children. */
static bool copy_property(XmpPtr from, XmpPtr to, const UfXmpProperty *property)
{
    bool good = false;
    XmpStringPtr path = xmp_string_new(), value = xmp_string_new();
    XmpIteratorPtr iterator = xmp_iterator_new(from, property->ns, property->name, XMP_ITER_PROPERTIES);
    if (iterator == NULL || path == NULL || value == NULL)
        goto cleanup;
    good = true;
    uint32_t options;
    while (good && xmp_iterator_next(iterator, NULL, path, value, &options)) {
        if (!belongs_to(xmp_string_cstr(path), property->name))
            continue;
        bool simple = XMP_IS_PROP_SIMPLE(options);
        uint32_t form = options & (uint32_t)(simple ? XMP_PROP_VALUE_IS_URI : XMP_PROP_COMPOSITE_MASK);
        /* "" stands for no value where the property is made of others */
        good = xmp_set_property(to, property->ns, xmp_string_cstr(path), simple ? xmp_string_cstr(value) : "",
                                form);
    }
cleanup:
    if (iterator != NULL)
        xmp_iterator_free(iterator);
    xmp_string_free(path);
    xmp_string_free(value);
    return good;
}

static bool is_note(const UfXmpProperty *property)
{
    return strcmp(property->ns, UF_XMP_NS_NOTE) == 0;
}

static bool copy_missing(XmpPtr from, XmpPtr to)
{
    UfXmpProperty *list;
    size_t count;
    bool good = uf_xmp_list(from, NULL, &list, &count);
    for (size_t i = 0; good && i < count; i++)
        if (!is_note(&list[i]) && !xmp_has_property(to, list[i].ns, list[i].name))
            good = copy_property(from, to, &list[i]);
    uf_xmp_free_list(&list, &count);
    return good;
}

UfStatus uf_xmp_merge_extended(UfMetadata *metadata, UfReport *report)
{
    if (metadata->xmp_extended.size_bytes == 0)
        return UF_OK;
    UfStatus status = UF_OK;
    const char *why_main, *why_extended;
    XmpPtr main = uf_xmp_open(metadata->xmp, &why_main);
    XmpPtr extended = uf_xmp_open(metadata->xmp_extended, &why_extended);
    if (main != NULL && extended != NULL && copy_missing(extended, main)) {
        xmp_delete_property(main, UF_XMP_NS_NOTE, NOTE_NAME);
        status = uf_xmp_store(main, UF_XMP_PADDED, &metadata->xmp, report);
    } else if ((main == NULL && why_main == NULL) || (extended == NULL && why_extended == NULL)) {
        status = uf_fail_memory(report);
    } else {
        uf_warn(report, "the extended XMP packet is lost: %s",
                main == NULL       ? why_main
                : extended == NULL ? why_extended
                                   : "a property cannot be copied");
    }
    if (status == UF_OK)
        uf_blob_clear(&metadata->xmp_extended);
    if (main != NULL)
        xmp_free(main);
    if (extended != NULL)
        xmp_free(extended);
    return status;
}

/* These must be found without the extended packet. */
static bool must_stay(const UfXmpProperty *property)
{
    static const char *const namespaces[] = {UF_XMP_NS_GPANO, UF_XMP_NS_NOTE, UF_XMP_NS_GAIN_MAP,
                                             UF_XMP_NS_CONTAINER};
    for (size_t i = 0; i < sizeof namespaces / sizeof *namespaces; i++)
        if (strcmp(property->ns, namespaces[i]) == 0)
            return true;
    return false;
}

static int larger_first(const void *a, const void *b)
{
    const UfXmpProperty *p = a, *q = b;
    return (p->bytes < q->bytes) - (p->bytes > q->bytes);
}

static UfStatus note_extension(XmpPtr main, UfMetadata *metadata, UfXmpForm form, UfReport *report)
{
    char guid[33];
    uf_md5_hex(metadata->xmp_extended.data, metadata->xmp_extended.size_bytes, guid);
    if (!xmp_set_property(main, UF_XMP_NS_NOTE, NOTE_NAME, guid, 0))
        return uf_fail(report, UF_ERROR_FORMAT,
                       "the note about extended XMP could not be set (Exempi error %d)", xmp_get_error());
    return uf_xmp_store(main, form, &metadata->xmp, report);
}

/* Moves properties, largest first, until the main packet fits. */
static UfStatus move_properties(XmpPtr main, UfMetadata *metadata, UfReport *report)
{
    UfXmpProperty *list = NULL;
    size_t count = 0;
    XmpPtr extended = xmp_new_empty();
    UfStatus status = UF_OK;
    if (extended == NULL || !uf_xmp_list(main, NULL, &list, &count)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    if (count > 1)
        qsort(list, count, sizeof *list, larger_first);
    for (size_t i = 0; i < count && metadata->xmp.size_bytes > UF_XMP_JPEG_LIMIT_BYTES - ROOM_BYTES; i++) {
        if (must_stay(&list[i]) || !copy_property(main, extended, &list[i]))
            continue;
        xmp_delete_property(main, list[i].ns, list[i].name);
        status = uf_xmp_store(main, UF_XMP_COMPACT, &metadata->xmp, report);
        if (status != UF_OK)
            goto cleanup;
    }
    status = uf_xmp_store(extended, UF_XMP_EXTENSION, &metadata->xmp_extended, report);
    if (status == UF_OK)
        status = note_extension(main, metadata, UF_XMP_COMPACT, report);
cleanup:
    uf_xmp_free_list(&list, &count);
    if (extended != NULL)
        xmp_free(extended);
    return status;
}

/* The note agrees with the extended packet: nothing to do. */
static bool is_consistent(const UfMetadata *metadata)
{
    char guid[33];
    if (metadata->xmp_extended.size_bytes == 0)
        return metadata->xmp.size_bytes == 0 ||
               memmem(metadata->xmp.data, metadata->xmp.size_bytes, NOTE_NAME, strlen(NOTE_NAME)) == NULL;
    uf_md5_hex(metadata->xmp_extended.data, metadata->xmp_extended.size_bytes, guid);
    return metadata->xmp.size_bytes > 0 &&
           memmem(metadata->xmp.data, metadata->xmp.size_bytes, guid, 32) != NULL;
}

static UfStatus make_consistent(XmpPtr main, UfMetadata *metadata, UfReport *report)
{
    if (is_consistent(metadata))
        return UF_OK;
    if (metadata->xmp_extended.size_bytes > 0)
        return note_extension(main, metadata, UF_XMP_PADDED, report);
    xmp_delete_property(main, UF_XMP_NS_NOTE, NOTE_NAME);
    return uf_xmp_store(main, UF_XMP_PADDED, &metadata->xmp, report);
}

static UfStatus fit(XmpPtr main, UfMetadata *metadata, UfReport *report)
{
    UfStatus status = make_consistent(main, metadata, report);
    if (status == UF_OK && metadata->xmp.size_bytes > UF_XMP_JPEG_LIMIT_BYTES)
        status = uf_xmp_store(main, UF_XMP_COMPACT, &metadata->xmp, report);
    if (status != UF_OK || metadata->xmp.size_bytes <= UF_XMP_JPEG_LIMIT_BYTES)
        return status;
    if (metadata->xmp_extended.size_bytes > 0) {
        const char *why;
        XmpPtr extended = uf_xmp_open(metadata->xmp_extended, &why);
        if (extended == NULL || !copy_missing(extended, main))
            uf_warn(report, "the extended XMP packet is damaged and was left out");
        if (extended != NULL)
            xmp_free(extended);
        status = uf_xmp_store(main, UF_XMP_COMPACT, &metadata->xmp, report);
    }
    return status == UF_OK ? move_properties(main, metadata, report) : status;
}

UfStatus uf_xmp_split_extended(UfMetadata *metadata, UfReport *report)
{
    if (is_consistent(metadata) && metadata->xmp.size_bytes <= UF_XMP_JPEG_LIMIT_BYTES)
        return UF_OK;
    const char *why;
    XmpPtr main = uf_xmp_open(metadata->xmp, &why);
    if (main == NULL && why == NULL)
        return uf_fail_memory(report);
    if (main == NULL && metadata->xmp.size_bytes <= UF_XMP_JPEG_LIMIT_BYTES) {
        uf_warn(report, "the XMP packet stays as it is: %s", why);
        return UF_OK;
    }
    UfStatus status = UF_OK;
    if (main != NULL) {
        status = fit(main, metadata, report);
        xmp_free(main);
    }
    if (status == UF_OK && metadata->xmp.size_bytes > UF_XMP_JPEG_LIMIT_BYTES)
        return uf_fail(
            report, UF_ERROR_UNSUPPORTED,
            "the XMP packet has %zu bytes, more than the %u that a JPEG file can hold; write PNG or TIFF",
            metadata->xmp.size_bytes, UF_XMP_JPEG_LIMIT_BYTES);
    return status;
}
