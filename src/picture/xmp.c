/*
 * XMP: what has to be corrected when pixels change, and gain maps.
 *
 * Sources: XMP Specification Part 2 (tiff:, exif: and xmp: properties); Google, Photo Sphere XMP Metadata
 * (when the picture is scaled, all pixel fields are multiplied; from memory); Android, Ultra HDR Image
 * Format 1.1 (gain maps; namespaces from memory).
 */
#include <exempi/xmp.h>
#include <exempi/xmpconsts.h>
#include <math.h>

#include "picture/metadata.h"
#include "picture/xmp_internal.h"

static bool holds_text(UfBlob packet, const char *text)
{
    return packet.size_bytes > 0 && memmem(packet.data, packet.size_bytes, text, strlen(text)) != NULL;
}

/* Sets a whole number where the property is there and says something else. */
static bool correct_number(XmpPtr xmp, const char *ns, const char *name, size_t value)
{
    double old;
    if (!xmp_has_property(xmp, ns, name))
        return false;
    if (uf_xmp_get_real(xmp, ns, name, &old) && old == (double)value)
        return false;
    return xmp_set_property_int64(xmp, ns, name, (int64_t)value, 0);
}

static bool correct_size(XmpPtr xmp, size_t width_px, size_t height_px, int orientation)
{
    bool changed = correct_number(xmp, NS_TIFF, "ImageWidth", width_px);
    changed |= correct_number(xmp, NS_TIFF, "ImageLength", height_px);
    changed |= correct_number(xmp, NS_EXIF, "PixelXDimension", width_px);
    changed |= correct_number(xmp, NS_EXIF, "PixelYDimension", height_px);
    changed |= correct_number(xmp, NS_TIFF, "Orientation", (size_t)orientation);
    return changed;
}

static bool scale_fields(XmpPtr xmp, const char *const *names, size_t count, size_t old_px, size_t new_px)
{
    bool changed = false;
    for (size_t i = 0; old_px != 0 && old_px != new_px && i < count; i++) {
        double value;
        if (!uf_xmp_get_real(xmp, UF_XMP_NS_GPANO, names[i], &value) || !(fabs(value) < 1e9))
            continue;
        int64_t scaled = llround(value * (double)new_px / (double)old_px);
        changed |= xmp_set_property_int64(xmp, UF_XMP_NS_GPANO, names[i], scaled, 0);
    }
    return changed;
}

static bool scale_photo_sphere(XmpPtr xmp, size_t old_width_px, size_t old_height_px, size_t width_px,
                               size_t height_px)
{
    static const char *const across[] = {"FullPanoWidthPixels", "CroppedAreaImageWidthPixels",
                                         "CroppedAreaLeftPixels", "LargestValidInteriorRectLeft",
                                         "LargestValidInteriorRectWidth"};
    static const char *const down[] = {"FullPanoHeightPixels", "CroppedAreaImageHeightPixels",
                                       "CroppedAreaTopPixels", "LargestValidInteriorRectTop",
                                       "LargestValidInteriorRectHeight"};
    bool changed = scale_fields(xmp, across, sizeof across / sizeof *across, old_width_px, width_px);
    changed |= scale_fields(xmp, down, sizeof down / sizeof *down, old_height_px, height_px);
    return changed;
}

static bool delete_thumbnails(XmpPtr xmp)
{
    return xmp_has_property(xmp, NS_XAP, "Thumbnails") && xmp_delete_property(xmp, NS_XAP, "Thumbnails");
}

UfStatus uf_xmp_correct(UfBlob *packet, size_t old_width_px, size_t old_height_px, size_t width_px,
                        size_t height_px, int orientation, bool drop_gain_map, UfReport *report)
{
    if (packet->size_bytes == 0)
        return UF_OK;
    const char *why;
    XmpPtr xmp = uf_xmp_open(*packet, &why);
    if (xmp == NULL && why == NULL)
        return uf_fail_memory(report);
    if (xmp == NULL) {
        uf_warn(report, "the XMP packet stays as it is: %s", why);
        return UF_OK;
    }
    bool changed = correct_size(xmp, width_px, height_px, orientation);
    changed |= scale_photo_sphere(xmp, old_width_px, old_height_px, width_px, height_px);
    changed |= delete_thumbnails(xmp);
    UfStatus status = UF_OK;
    if (drop_gain_map)
        status = uf_xmp_delete_namespace(xmp, UF_XMP_NS_GAIN_MAP, &changed, report);
    if (drop_gain_map && status == UF_OK)
        status = uf_xmp_delete_namespace(xmp, UF_XMP_NS_CONTAINER, &changed, report);
    if (status == UF_OK)
        status = changed ? uf_xmp_store(xmp, UF_XMP_PADDED, packet, report) : UF_OK;
    xmp_free(xmp);
    return status;
}

/* True when the Container's directory lists an item that is a gain map. */
static bool lists_gain_map(XmpPtr xmp)
{
    bool found = false;
    XmpStringPtr value = xmp_string_new();
    XmpIteratorPtr iterator = xmp_iterator_new(xmp, UF_XMP_NS_CONTAINER, NULL, XMP_ITER_JUSTLEAFNODES);
    while (value != NULL && iterator != NULL && !found &&
           xmp_iterator_next(iterator, NULL, NULL, value, NULL))
        found = strcmp(xmp_string_cstr(value), "GainMap") == 0;
    if (iterator != NULL)
        xmp_iterator_free(iterator);
    xmp_string_free(value);
    return found;
}

bool uf_xmp_has_gain_map(UfBlob packet)
{
    if (!holds_text(packet, UF_XMP_NS_GAIN_MAP) && !holds_text(packet, UF_XMP_NS_CONTAINER))
        return false;
    const char *why;
    XmpPtr xmp = uf_xmp_open(packet, &why);
    if (xmp == NULL)
        return false;
    UfXmpProperty *list;
    size_t count;
    uf_xmp_list(xmp, UF_XMP_NS_GAIN_MAP, &list, &count);
    bool found = count > 0 || lists_gain_map(xmp);
    uf_xmp_free_list(&list, &count);
    xmp_free(xmp);
    return found;
}
