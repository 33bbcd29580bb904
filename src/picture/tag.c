/* Photo Sphere metadata of pictures in memory, and written into files whose pixels stay as they are. */
#include "picture/picture_internal.h"
#include "picture/xmp_internal.h"

UfStatus uf_picture_photo_sphere(const UfPicture *picture, UfPhotoSphere *out, UfReport *report)
{
    return uf_xmp_photo_sphere(picture->metadata.xmp, out, report);
}

UfStatus uf_picture_set_photo_sphere(UfPicture *picture, const UfPhotoSphere *sphere, UfReport *report)
{
    UfStatus status = uf_xmp_set_photo_sphere(&picture->metadata.xmp, sphere, report);
    if (status == UF_OK && sphere->has_full && sphere->has_cropped) {
        picture->described_width_px = picture->width_px;
        picture->described_height_px = picture->height_px;
    }
    return status;
}

UfStatus uf_picture_drop_photo_sphere(UfPicture *picture, UfReport *report)
{
    UfBlob *packet = &picture->metadata.xmp;
    if (packet->size_bytes == 0)
        return UF_OK;
    const char *why;
    XmpPtr xmp = uf_xmp_open(*packet, &why);
    if (xmp == NULL && why == NULL)
        return uf_fail_memory(report);
    if (xmp == NULL) {
        /* it may say "panorama" in a way that others can read */
        uf_warn(report, "the XMP packet cannot be read and is left out: %s", why);
        uf_blob_clear(packet);
        return UF_OK;
    }
    bool changed = false;
    UfStatus status = uf_xmp_delete_namespace(xmp, UF_XMP_NS_GPANO, &changed, report);
    if (status == UF_OK && changed)
        status = uf_xmp_store(xmp, UF_XMP_PADDED, packet, report);
    xmp_free(xmp);
    return status;
}

static UfStatus check_shape(const char *path, const UfPictureInfo *info, UfReport *report)
{
    if (info->width_px == 2 * info->height_px)
        return UF_OK;
    return uf_fail(
        report, UF_ERROR_ARGUMENT,
        "%s: %zu x %zu pixels is not 2:1. A full sphere is exactly twice as wide as high: stitch it to "
        "the full sphere, or pad it to 2:1, and tag that",
        path, info->width_px, info->height_px);
}

static UfPhotoSphere full_sphere(const UfPictureInfo *info, const UfPhotoSphere *pose)
{
    UfPhotoSphere sphere = {0};
    if (pose != NULL)
        sphere = *pose;
    sphere.present = sphere.has_full = sphere.has_cropped = true;
    (void)snprintf(sphere.projection, sizeof sphere.projection, "equirectangular");
    sphere.full_width_px = sphere.cropped_width_px = (long)info->width_px;
    sphere.full_height_px = sphere.cropped_height_px = (long)info->height_px;
    sphere.cropped_left_px = sphere.cropped_top_px = 0;
    return sphere;
}

/* The main packet with the fields set, small enough for the format. */
static UfStatus make_packet(UfMetadata *metadata, const UfPictureInfo *info, const UfPhotoSphere *pose,
                            UfReport *report)
{
    UfPhotoSphere sphere = full_sphere(info, pose);
    UfStatus status = uf_xmp_set_photo_sphere(&metadata->xmp, &sphere, report);
    if (status != UF_OK || info->format != UF_FORMAT_JPEG ||
        metadata->xmp.size_bytes <= UF_XMP_JPEG_LIMIT_BYTES)
        return status;
    /* only the main packet is exchanged in the file, so nothing may move to the extended one */
    size_t extended_bytes = metadata->xmp_extended.size_bytes;
    status = uf_xmp_split_extended(metadata, report);
    if (status == UF_OK && metadata->xmp_extended.size_bytes != extended_bytes)
        status = uf_fail(
            report, UF_ERROR_UNSUPPORTED,
            "with the Photo Sphere fields the XMP packet would be larger than the %u bytes that a JPEG "
            "file can hold; remove what is not needed from its XMP",
            UF_XMP_JPEG_LIMIT_BYTES);
    return status;
}

UfStatus uf_picture_tag(const char *source_path, const char *path, const UfPhotoSphere *pose,
                        const UfWriteOptions *options, UfReport *report)
{
    UfInput input = {0};
    UfOutput output = {0};
    UfMetadata metadata = {0};
    UfPictureInfo info;
    UfStatus status = uf_picture_probe(source_path, &info, report);
    if (status == UF_OK)
        status = check_shape(source_path, &info, report);
    if (status == UF_OK)
        status = uf_input_open(source_path, &input, report);
    if (status != UF_OK)
        return status;
    const UfCodec *codec = uf_codec_of_format(info.format);
    if (codec == NULL || codec->read_metadata == NULL || codec->retag == NULL) {
        status = uf_fail(report, UF_ERROR_UNSUPPORTED,
                         "%s: metadata cannot be written into this kind of file", source_path);
        goto cleanup;
    }
    status = codec->read_metadata(&input, &metadata, report);
    if (status == UF_OK)
        status = make_packet(&metadata, &info, pose, report);
    if (status == UF_OK)
        status = uf_output_open(path, options != NULL && options->overwrite, &output, report);
    if (status == UF_OK) {
        rewind(input.stream);
        status = codec->retag(&input, metadata.xmp, &output, report);
    }
    if (status == UF_OK)
        status = uf_output_commit(&output, report);
cleanup:
    uf_output_discard(&output);
    uf_metadata_clear(&metadata);
    uf_input_close(&input);
    return status;
}
