/* Simple text properties of one namespace. */
#include "picture/picture_internal.h"
#include "picture/properties.h"
#include "picture/xmp_internal.h"

static UfStatus put(XmpPtr xmp, const char *ns, const UfProperty *properties, size_t count, UfReport *report)
{
    for (size_t i = 0; i < count; i++)
        if (properties[i].present && !xmp_set_property(xmp, ns, properties[i].name, properties[i].value, 0))
            return uf_fail(report, UF_ERROR_FORMAT, "the XMP property %s could not be set (Exempi error %d)",
                           properties[i].name, xmp_get_error());
    return UF_OK;
}

UfStatus uf_picture_set_properties(UfPicture *picture, const char *ns, const char *prefix,
                                   const UfProperty *properties, size_t count, UfReport *report)
{
    const char *why;
    UfBlob *packet = &picture->metadata.xmp;
    XmpPtr xmp = uf_xmp_open(*packet, &why);
    if (xmp == NULL && why == NULL)
        return uf_fail_memory(report);
    if (xmp == NULL)
        return uf_fail(report, UF_ERROR_FORMAT,
                       "the picture's XMP packet cannot be read: %s. Remove or repair it, then try again",
                       why);
    bool changed = false;
    UfStatus status = uf_xmp_delete_namespace(xmp, ns, &changed, report);
    if (status == UF_OK && count > 0 && !xmp_register_namespace(ns, prefix, NULL))
        status = uf_fail(report, UF_ERROR_FORMAT, "the XMP namespace %s could not be registered", ns);
    if (status == UF_OK)
        status = put(xmp, ns, properties, count, report);
    if (status == UF_OK && (changed || count > 0))
        status = uf_xmp_store(xmp, UF_XMP_PADDED, packet, report);
    xmp_free(xmp);
    return status;
}

static void look_up(XmpPtr xmp, const char *ns, UfProperty *property, XmpStringPtr text)
{
    property->present = xmp_get_property(xmp, ns, property->name, text, NULL);
    if (property->present)
        (void)snprintf(property->value, sizeof property->value, "%s", xmp_string_cstr(text));
}

UfStatus uf_picture_get_properties(const UfPicture *picture, const char *ns, UfProperty *properties,
                                   size_t count, UfReport *report)
{
    UfBlob packet = picture->metadata.xmp;
    for (size_t i = 0; i < count; i++)
        properties[i].present = false;
    if (packet.size_bytes == 0 || memmem(packet.data, packet.size_bytes, ns, strlen(ns)) == NULL)
        return UF_OK;
    const char *why;
    XmpPtr xmp = uf_xmp_open(packet, &why);
    XmpStringPtr text = xmp_string_new();
    UfStatus status = UF_OK;
    if (text == NULL || (xmp == NULL && why == NULL))
        status = uf_fail_memory(report);
    else if (xmp == NULL)
        uf_warn(report, "the XMP packet cannot be read: %s", why);
    else
        for (size_t i = 0; i < count; i++)
            look_up(xmp, ns, &properties[i], text);
    xmp_string_free(text);
    if (xmp != NULL)
        xmp_free(xmp);
    return status;
}
