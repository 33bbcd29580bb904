/* The table of formats, and the public calls that choose from it. */
#include <strings.h>
#include <sys/stat.h>

#include "picture/picture_internal.h"

static const UfCodec *const codecs[] = {&uf_codec_jpeg, &uf_codec_png, &uf_codec_tiff, NULL};

const UfCodec *uf_codec_of_input(UfInput *input)
{
    uint8_t head[16];
    size_t size = uf_input_peek(input, head, sizeof head);
    for (const UfCodec *const *codec = codecs; *codec != NULL; codec++)
        if ((*codec)->matches(head, size))
            return *codec;
    return NULL;
}

const UfCodec *uf_codec_of_format(UfFormat format)
{
    for (const UfCodec *const *codec = codecs; *codec != NULL; codec++)
        if ((*codec)->format == format)
            return *codec;
    return NULL;
}

const char *uf_format_name(UfFormat format)
{
    const UfCodec *codec = uf_codec_of_format(format);
    return codec == NULL ? "unknown" : codec->name;
}

/* Is `extension` (".jpg") one of the words of `list` (".jpg .jpeg"), in any case? */
static bool extension_in(const char *list, const char *extension)
{
    size_t length = strlen(extension);
    for (const char *word = list; *word != '\0';) {
        size_t word_length = strcspn(word, " ");
        if (word_length == length && strncasecmp(word, extension, length) == 0)
            return true;
        word += word_length;
        word += strspn(word, " ");
    }
    return false;
}

UfFormat uf_format_from_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash == NULL ? path : slash + 1;
    const char *extension = strrchr(name, '.');
    if (extension == NULL || extension == name)
        return UF_FORMAT_UNKNOWN;
    for (const UfCodec *const *codec = codecs; *codec != NULL; codec++)
        if (extension_in((*codec)->extensions, extension))
            return (*codec)->format;
    return UF_FORMAT_UNKNOWN;
}

/* Codecs speak of what is wrong; here the file's name is put before it, unless it is there already. */
static UfStatus name_file(UfReport *report, UfStatus status, const char *path)
{
    const char *text = uf_report_error(report);
    if (status == UF_OK || report == NULL || strncmp(text, path, strlen(path)) == 0)
        return status;
    char copy[1024];
    (void)snprintf(copy, sizeof copy, "%s", text);
    return uf_fail(report, status, "%s: %s", path, copy);
}

static UfStatus open_known(const char *path, UfInput *input, const UfCodec **codec, UfReport *report)
{
    UfStatus status = uf_input_open(path, input, report);
    if (status != UF_OK)
        return status;
    *codec = uf_codec_of_input(input);
    if (*codec != NULL)
        return UF_OK;
    uf_input_close(input);
    return uf_fail(report, UF_ERROR_FORMAT, "%s: is neither JPEG, PNG nor TIFF", path);
}

UfStatus uf_picture_read(const char *path, const UfReadOptions *options, UfPicture **out, UfReport *report)
{
    static const UfReadOptions defaults = {0};
    UfInput input;
    const UfCodec *codec;
    UfStatus status = open_known(path, &input, &codec, report);
    if (status != UF_OK)
        return status;
    status = codec->read(&input, options == NULL ? &defaults : options, out, report);
    uf_input_close(&input);
    return name_file(report, status, path);
}

UfStatus uf_metadata_read(const char *path, UfMetadata *out, UfReport *report)
{
    UfInput input;
    const UfCodec *codec;
    UfStatus status = open_known(path, &input, &codec, report);
    if (status != UF_OK)
        return status;
    status = codec->read_metadata(&input, out, report);
    uf_input_close(&input);
    return name_file(report, status, path);
}

UfStatus uf_picture_probe(const char *path, UfPictureInfo *out, UfReport *report)
{
    UfInput input;
    const UfCodec *codec;
    UfStatus status = open_known(path, &input, &codec, report);
    if (status != UF_OK)
        return status;
    UfPictureInfo info = {.format = codec->format, .orientation = 1, .file_bytes = input.size_bytes};
    status = codec->probe(&input, &info, report);
    uf_input_close(&input);
    if (status != UF_OK)
        return name_file(report, status, path);
    if (info.orientation >= 5) {
        size_t stored_width = info.width_px;
        info.width_px = info.height_px;
        info.height_px = stored_width;
    }
    *out = info;
    return UF_OK;
}

/*
 * Puts the metadata right for a picture that is stored as width x height in `orientation`. `pixels_changed`:
 * what showed or described the old pixels goes.
 */
static UfStatus correct_metadata(UfPicture *view, UfFormat format, int orientation, UfReport *report)
{
    UfMetadata *metadata = &view->metadata;
    size_t width, height;
    size_t old_width = orientation >= 5 ? view->described_height_px : view->described_width_px;
    size_t old_height = orientation >= 5 ? view->described_width_px : view->described_height_px;
    uf_orient_stored_size(view, orientation, &width, &height);
    if (metadata->exif.size_bytes > 0) {
        uf_exif_correct(&metadata->exif, width, height, orientation, report);
        if (uf_exif_has_thumbnail(metadata->exif))
            uf_exif_drop_thumbnail(&metadata->exif, report);
    }
    if (metadata->has_gain_map)
        uf_warn(report,
                "the gain map no longer fits the changed picture and is left out: the result is plain "
                "standard dynamic range");
    else if (metadata->has_multi_picture)
        uf_warn(report,
                "further pictures that the file holds behind the main one (a preview, a depth map) no longer "
                "fit the changed picture and are left out");
    UfStatus status = UF_OK;
    if (metadata->xmp.size_bytes > 0)
        status = uf_xmp_correct(&metadata->xmp, old_width, old_height, width, height, orientation,
                                metadata->has_gain_map, report);
    if (status == UF_OK && metadata->xmp_extended.size_bytes > 0)
        status = uf_xmp_correct(&metadata->xmp_extended, old_width, old_height, width, height, orientation,
                                metadata->has_gain_map, report);
    metadata->has_gain_map = metadata->has_multi_picture = false;
    if (status == UF_OK && format != UF_FORMAT_JPEG)
        status = uf_xmp_merge_extended(metadata, report);
    if (status == UF_OK && format == UF_FORMAT_JPEG)
        status = uf_xmp_split_extended(metadata, report);
    return status;
}

/* `picture` with metadata of its own and borrowed pixels; uf_metadata_clear(&view->metadata) ends it. */
static UfStatus corrected_view(const UfPicture *picture, UfFormat format, int orientation, UfPicture *view,
                               UfReport *report)
{
    *view = *picture;
    view->metadata = (UfMetadata){0};
    UfStatus status = uf_metadata_copy(&picture->metadata, &view->metadata, report);
    if (status == UF_OK)
        status = correct_metadata(view, format, orientation, report);
    if (status != UF_OK)
        uf_metadata_clear(&view->metadata);
    return status;
}

static UfStatus codec_for_name(const char *path, const UfCodec **out, UfReport *report)
{
    *out = uf_codec_of_format(uf_format_from_name(path));
    if (*out == NULL)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%s: the name does not say the format; end it in .jpg, .png or .tif", path);
    return UF_OK;
}

static UfStatus check_options(const UfWriteOptions *options, UfReport *report)
{
    if (options->depth_bits != 0 && options->depth_bits != 8 && options->depth_bits != 16)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a depth of %d bits makes no sense; give 8 or 16",
                       options->depth_bits);
    if (options->quality < 0 || options->quality > 100)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a quality of %d makes no sense; give 1 to 100",
                       options->quality);
    return UF_OK;
}

/* Closes the output: in place after success, gone after failure. */
static UfStatus finish(UfOutput *output, UfStatus status, UfReport *report)
{
    if (status == UF_OK)
        return uf_output_commit(output, report);
    uf_output_discard(output);
    return status;
}

UfStatus uf_picture_write(const UfPicture *picture, const char *path, const UfWriteOptions *options,
                          UfReport *report)
{
    static const UfWriteOptions defaults = {0};
    const UfCodec *codec;
    UfPicture view;
    UfOutput output;
    if (options == NULL)
        options = &defaults;
    UfStatus status = check_options(options, report);
    if (status == UF_OK && picture->reserved_bytes > 0)
        status =
            uf_fail(report, UF_ERROR_ARGUMENT, "only a part of the picture was read; read all of it first");
    if (status == UF_OK)
        status = codec_for_name(path, &codec, report);
    if (status == UF_OK)
        status = corrected_view(picture, codec->format, 1, &view, report);
    if (status != UF_OK)
        return name_file(report, status, path);
    status = uf_output_open(path, options->overwrite, &output, report);
    if (status == UF_OK)
        status = finish(&output, codec->write(&view, options, &output, report), report);
    uf_metadata_clear(&view.metadata);
    return name_file(report, status, path);
}

static UfStatus rewrite_with(const UfCodec *codec, const UfPicture *picture, UfInput *source,
                             const UfTouched *touched, const char *path, const UfWriteOptions *options,
                             UfReport *report)
{
    UfPicture view;
    UfOutput output;
    UfStatus status = corrected_view(picture, codec->format, picture->orientation, &view, report);
    if (status != UF_OK)
        return status;
    status = uf_output_open(path, options->overwrite, &output, report);
    if (status == UF_OK)
        status = finish(&output, codec->rewrite(&view, source, touched, options, &output, report), report);
    uf_metadata_clear(&view.metadata);
    return status;
}

UfStatus uf_picture_rewrite(const UfPicture *picture, const char *source_path, const UfTouched *touched,
                            const char *path, const UfWriteOptions *options, UfReport *report)
{
    static const UfWriteOptions defaults = {0};
    UfInput source;
    const UfCodec *codec, *source_codec;
    if (options == NULL)
        options = &defaults;
    UfStatus status = check_options(options, report);
    if (status == UF_OK)
        status = codec_for_name(path, &codec, report);
    if (status == UF_OK)
        status = open_known(source_path, &source, &source_codec, report);
    if (status != UF_OK)
        return status;
    bool in_part = codec == source_codec && codec->rewrite != NULL && options->quality == 0 &&
                   options->depth_bits == 0 && (codec->can_rewrite == NULL || codec->can_rewrite(&source));
    if (in_part)
        status = rewrite_with(codec, picture, &source, touched, path, options, report);
    uf_input_close(&source);
    return in_part ? name_file(report, status, source_path)
                   : uf_picture_write(picture, path, options, report);
}

UfStatus uf_picture_shift_step(const char *path, size_t *step_px, UfReport *report)
{
    UfInput source;
    const UfCodec *codec;
    UfStatus status = open_known(path, &source, &codec, report);
    if (status != UF_OK)
        return status;
    *step_px = 0;
    if (codec->shift_step != NULL)
        status = codec->shift_step(&source, step_px, report);
    uf_input_close(&source);
    return name_file(report, status, path);
}

/* The metadata of the file with the new pose, corrected, in a picture that has no pixels. */
static UfStatus read_description(const UfCodec *codec, UfInput *source, const UfPhotoSphere *pose,
                                 UfPicture *out, UfReport *report)
{
    UfPictureInfo info;
    UfStatus status = codec->probe(source, &info, report);
    rewind(source->stream);
    if (status == UF_OK)
        status = codec->read_metadata(source, &out->metadata, report);
    rewind(source->stream);
    if (status == UF_OK && pose != NULL)
        status = uf_xmp_set_photo_sphere(&out->metadata.xmp, pose, report);
    if (status != UF_OK)
        return status;
    out->width_px = out->described_width_px = info.width_px;
    out->height_px = out->described_height_px = info.height_px;
    return correct_metadata(out, codec->format, 1, report);
}

static UfStatus shift_with(const UfCodec *codec, UfInput *source, size_t shift_px, const UfPhotoSphere *pose,
                           const char *path, bool overwrite, UfReport *report)
{
    UfPicture description = {0};
    UfOutput output;
    UfStatus status = read_description(codec, source, pose, &description, report);
    if (status == UF_OK)
        status = uf_output_open(path, overwrite, &output, report);
    if (status == UF_OK)
        status =
            finish(&output, codec->shift(source, shift_px, &description.metadata, &output, report), report);
    uf_metadata_clear(&description.metadata);
    return status;
}

UfStatus uf_picture_shift(const char *source_path, size_t shift_px, const UfPhotoSphere *pose,
                          const char *path, bool overwrite, UfReport *report)
{
    UfInput source;
    const UfCodec *codec;
    UfStatus status = open_known(source_path, &source, &codec, report);
    if (status != UF_OK)
        return status;
    if (codec->shift != NULL && uf_format_from_name(path) == codec->format)
        status = shift_with(codec, &source, shift_px, pose, path, overwrite, report);
    else
        status =
            uf_fail(report, UF_ERROR_UNSUPPORTED, "columns are moved without loss from JPEG to JPEG only");
    uf_input_close(&source);
    return name_file(report, status, source_path);
}
