/*
 * Colour management with lcms2: which profile a picture has, conversion, and single colours.
 *
 * Without a usable profile integer samples are sRGB (IEC 61966-2-1) and float samples are linear light with
 * sRGB's primaries (common practice, no source).
 */
#include "picture/colour.h"

#include <lcms2.h>

#include "picture/colour_profile.h"
#include "picture/picture_internal.h"

#define INTENT INTENT_RELATIVE_COLORIMETRIC
#define FLAGS  (cmsFLAGS_BLACKPOINTCOMPENSATION | cmsFLAGS_NOCACHE | cmsFLAGS_COPY_ALPHA)

static bool is_grey(const UfPicture *picture)
{
    return picture->channels <= 2;
}

cmsHPROFILE uf_profile_open(const UfPicture *picture, UfReport *report)
{
    UfBlob icc = picture->metadata.icc;
    if (icc.size_bytes == 0)
        return NULL;
    cmsHPROFILE profile = NULL;
    if (icc.size_bytes <= UINT32_MAX)
        profile = cmsOpenProfileFromMem(icc.data, (cmsUInt32Number)icc.size_bytes);
    if (profile == NULL) {
        uf_warn(report, "the colour profile is damaged; the picture is taken as sRGB");
        return NULL;
    }
    cmsColorSpaceSignature expected = is_grey(picture) ? cmsSigGrayData : cmsSigRgbData;
    if (cmsGetColorSpace(profile) == expected)
        return profile;
    uf_warn(report, "the colour profile is not for %s pictures; it is ignored and the picture taken as sRGB",
            is_grey(picture) ? "grey" : "RGB");
    cmsCloseProfile(profile);
    return NULL;
}

static cmsHPROFILE make_linear_rgb(void)
{
    cmsToneCurve *curve = cmsBuildGamma(NULL, 1.0);
    if (curve == NULL)
        return NULL;
    const cmsCIExyY d65 = {0.3127, 0.3290, 1.0}; /* white and primaries: ITU-R BT.709, table 1 */
    const cmsCIExyYTRIPLE primaries = {{0.64, 0.33, 1.0}, {0.30, 0.60, 1.0}, {0.15, 0.06, 1.0}};
    cmsToneCurve *curves[3] = {curve, curve, curve};
    cmsHPROFILE profile = cmsCreateRGBProfile(&d65, &primaries, curves);
    cmsFreeToneCurve(curve);
    return profile;
}

static cmsHPROFILE make_grey(bool linear)
{
    /* IEC 61966-2-1 in lcms2's parametric form 4: (a x + b)^g for x >= d, c x below. */
    const double srgb[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
    cmsToneCurve *curve = linear ? cmsBuildGamma(NULL, 1.0) : cmsBuildParametricToneCurve(NULL, 4, srgb);
    if (curve == NULL)
        return NULL;
    cmsHPROFILE profile = cmsCreateGrayProfile(cmsD50_xyY(), curve);
    cmsFreeToneCurve(curve);
    return profile;
}

/* The picture's profile, or what stands for it; NULL only without memory. */
static cmsHPROFILE profile_or_default(const UfPicture *picture, UfReport *report)
{
    cmsHPROFILE profile = uf_profile_open(picture, report);
    if (profile != NULL)
        return profile;
    bool linear = picture->sample == UF_SAMPLE_F32;
    if (is_grey(picture))
        return make_grey(linear);
    return linear ? make_linear_rgb() : cmsCreate_sRGBProfile();
}

static cmsUInt32Number pixel_format(size_t channels, UfSample sample)
{
    cmsUInt32Number colours = channels <= 2 ? 1 : 3;
    cmsUInt32Number extra = (cmsUInt32Number)channels - colours;
    cmsUInt32Number space = colours == 1 ? PT_GRAY : PT_RGB;
    return COLORSPACE_SH(space) | CHANNELS_SH(colours) | EXTRA_SH(extra) | BYTES_SH((cmsUInt32Number)sample) |
           FLOAT_SH(sample == UF_SAMPLE_F32 ? 1u : 0u);
}

static bool same_space(const UfPicture *a, const UfPicture *b)
{
    UfBlob p = a->metadata.icc, q = b->metadata.icc;
    bool same_default = (a->sample == UF_SAMPLE_F32) == (b->sample == UF_SAMPLE_F32);
    return is_grey(a) == is_grey(b) && same_default && p.size_bytes == q.size_bytes &&
           (p.size_bytes == 0 || memcmp(p.data, q.data, p.size_bytes) == 0);
}

/* Float follows `like`, because without a profile it decides between linear light and sRGB. */
static UfSample result_sample(const UfPicture *picture, const UfPicture *like)
{
    if (like->sample == UF_SAMPLE_F32)
        return UF_SAMPLE_F32;
    return picture->sample == UF_SAMPLE_F32 ? UF_SAMPLE_U16 : picture->sample;
}

static void transform_rows(cmsHTRANSFORM transform, const UfPicture *from, UfPicture *to)
{
    for (size_t y = 0; y < from->height_px; y++)
        cmsDoTransform(transform, from->data + y * from->stride_bytes, to->data + y * to->stride_bytes,
                       (cmsUInt32Number)from->width_px);
}

static UfStatus convert_into(const UfPicture *picture, const UfPicture *like, UfPicture *result,
                             UfReport *report)
{
    UfStatus status = UF_OK;
    cmsHTRANSFORM transform = NULL;
    cmsHPROFILE source = profile_or_default(picture, report);
    cmsHPROFILE target = profile_or_default(like, report);
    if (source == NULL || target == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    /* lcms2's table for 16 bits is off by up to a thousandth of full scale, which 16 bits would show */
    cmsUInt32Number exact = picture->sample == UF_SAMPLE_U16 ? cmsFLAGS_NOOPTIMIZE : 0;
    transform = cmsCreateTransform(source, pixel_format(picture->channels, picture->sample), target,
                                   pixel_format(result->channels, result->sample), INTENT, FLAGS | exact);
    if (transform == NULL) {
        status = uf_fail(report, UF_ERROR_FORMAT,
                         "the colour profile cannot be used for conversion; remove it or embed another one");
        goto cleanup;
    }
    transform_rows(transform, picture, result);
cleanup:
    if (transform != NULL)
        cmsDeleteTransform(transform);
    if (source != NULL)
        cmsCloseProfile(source);
    if (target != NULL)
        cmsCloseProfile(target);
    return status;
}

UfStatus uf_colour_convert(const UfPicture *picture, const UfPicture *like, UfPicture **out, UfReport *report)
{
    if (same_space(picture, like))
        return uf_picture_copy(picture, out, report);
    UfPicture *result = NULL;
    bool has_alpha = picture->channels % 2 == 0;
    size_t channels = (is_grey(like) ? 1u : 3u) + (has_alpha ? 1u : 0u);
    UfStatus status = uf_picture_create(picture->width_px, picture->height_px, channels,
                                        result_sample(picture, like), &result, report);
    if (status == UF_OK)
        status = convert_into(picture, like, result, report);
    if (status == UF_OK)
        status = uf_metadata_copy(&picture->metadata, &result->metadata, report);
    if (status == UF_OK)
        status = uf_blob_set(&result->metadata.icc, like->metadata.icc.data, like->metadata.icc.size_bytes,
                             report);
    if (status != UF_OK) {
        uf_picture_free(&result);
        return status;
    }
    *out = result;
    return UF_OK;
}

UfStatus uf_colour_of_srgb(const double srgb[3], const UfPicture *like, double *values, UfReport *report)
{
    UfStatus status = UF_OK;
    double result[3] = {srgb[0], srgb[1], srgb[2]};
    size_t count = is_grey(like) ? 1 : 3;
    cmsHTRANSFORM transform = NULL;
    cmsHPROFILE source = cmsCreate_sRGBProfile();
    cmsHPROFILE target = profile_or_default(like, report);
    if (source == NULL || target == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    transform =
        cmsCreateTransform(source, TYPE_RGB_DBL, target, count == 1 ? TYPE_GRAY_DBL : TYPE_RGB_DBL, INTENT,
                           cmsFLAGS_BLACKPOINTCOMPENSATION | cmsFLAGS_NOCACHE | cmsFLAGS_NOOPTIMIZE);
    if (transform == NULL) {
        status = uf_fail(report, UF_ERROR_FORMAT,
                         "the colour profile cannot be used for conversion; remove it or embed another one");
        goto cleanup;
    }
    cmsDoTransform(transform, srgb, result, 1);
    for (size_t c = 0; c < count; c++)
        values[c] = result[c] < 0 ? 0 : result[c] > 1 ? 1 : result[c];
cleanup:
    if (transform != NULL)
        cmsDeleteTransform(transform);
    if (source != NULL)
        cmsCloseProfile(source);
    if (target != NULL)
        cmsCloseProfile(target);
    return status;
}

/* Control characters would break the one line that a person reads. */
static void make_printable(char *text)
{
    for (; *text != '\0'; text++)
        if ((unsigned char)*text < ' ' || *text == 0x7F)
            *text = ' ';
}

void uf_picture_profile_name(const UfPicture *picture, char *text, size_t text_bytes)
{
    UfBlob icc = picture->metadata.icc;
    if (text_bytes == 0)
        return;
    if (icc.size_bytes == 0) {
        (void)snprintf(text, text_bytes, "no profile");
        return;
    }
    cmsHPROFILE profile = NULL;
    if (icc.size_bytes <= UINT32_MAX)
        profile = cmsOpenProfileFromMem(icc.data, (cmsUInt32Number)icc.size_bytes);
    char name[256] = "";
    if (profile != NULL) {
        cmsGetProfileInfoASCII(profile, cmsInfoDescription, "en", "US", name, sizeof name);
        name[sizeof name - 1] = '\0';
        cmsCloseProfile(profile);
        make_printable(name);
        (void)snprintf(text, text_bytes, "%s", name[0] == '\0' ? "profile without a name" : name);
    } else {
        (void)snprintf(text, text_bytes, "damaged profile");
    }
}
