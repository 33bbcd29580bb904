/*
 * Transfer curves and conversions. Sources: IEC 61966-2-1:1999 (the sRGB curve; worked values computed from
 * its formulas); ICC.1:2010; lcms2 called directly as an oracle.
 */
#include <criterion/criterion.h>
#include <lcms2.h>
#include <math.h>
#include <string.h>

#include "base/cpu.h"
#include "base/memory.h"
#include "picture/colour.h"
#include "picture/picture_internal.h"

static UfPicture *make(size_t width, size_t height, size_t channels, UfSample sample)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width, height, channels, sample, &picture, NULL), UF_OK);
    return picture;
}

static void attach(UfPicture *picture, cmsHPROFILE profile)
{
    cmsUInt32Number size = 0;
    cr_assert(profile != NULL && cmsSaveProfileToMem(profile, NULL, &size));
    void *bytes = uf_alloc(size, 1);
    cr_assert(cmsSaveProfileToMem(profile, bytes, &size));
    cr_assert_eq(uf_blob_set(&picture->metadata.icc, bytes, size, NULL), UF_OK);
    free(bytes);
    cmsCloseProfile(profile);
}

static UfTransfer *transfer_of(const UfPicture *picture, size_t warnings)
{
    UfTransfer *transfer = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_transfer_create(picture, &transfer, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), warnings, "%s", uf_report_warning(report, 0));
    uf_report_free(&report);
    return transfer;
}

static cmsHPROFILE rgb_profile(const cmsCIExyY *white, const double primaries[6], cmsToneCurve *curve)
{
    const cmsCIExyYTRIPLE points = {
        {primaries[0], primaries[1], 1}, {primaries[2], primaries[3], 1}, {primaries[4], primaries[5], 1}};
    cmsToneCurve *curves[3] = {curve, curve, curve};
    cmsHPROFILE profile = cmsCreateRGBProfile(white, &points, curves);
    cmsFreeToneCurve(curve);
    return profile;
}

static const cmsCIExyY d65 = {0.3127, 0.3290, 1};
static const double srgb_primaries[6] = {0.64, 0.33, 0.30, 0.60, 0.15, 0.06};
static const double p3_primaries[6] = {0.680, 0.320, 0.265, 0.690, 0.150, 0.060};
static const double wide_primaries[6] = {0.7347, 0.2653, 0.1596, 0.8404, 0.0366, 0.0001};

static cmsToneCurve *srgb_curve(void)
{
    const double parameters[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
    return cmsBuildParametricToneCurve(NULL, 4, parameters);
}

/* {linear, encoded}, to twelve places from the formulas of IEC 61966-2-1 */
static const double encoded[][2] = {
    {0.001, 0.012920000000},
    {0.0031308, 0.040449936000},
    {0.01, 0.099852822734},
    {0.05, 0.247800527993},
    {0.1, 0.349190212628},
    {0.18, 0.461356129500},
    {0.2, 0.484529204482},
    {0.25, 0.537098730483},
    {0.5, 0.735356983052},
    {0.75, 0.880825021090},
    {0, 0},
    {1, 1},
};
/* {8-bit code, linear} */
static const double codes[][2] = {
    {1, 0.000303526983549},   {10, 0.003035269835488},  {11, 0.003346535763899},  {50, 0.031896033073012},
    {64, 0.051269458374043},  {100, 0.127437680435647}, {127, 0.212230757414055}, {128, 0.215860500113899},
    {188, 0.502886458032569}, {200, 0.577580440429651}, {254, 0.991102097113830},
};

Test(colour, srgb_without_a_profile)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    UfTransfer *transfer = transfer_of(picture, 0);
    for (size_t i = 0; i < sizeof encoded / sizeof *encoded; i++) {
        cr_expect_float_eq(uf_transfer_from_linear(transfer, (float)encoded[i][0]), encoded[i][1], 1e-6);
        cr_expect_float_eq(uf_transfer_to_linear(transfer, (float)encoded[i][1]), encoded[i][0], 1e-6);
    }
    const float *table = uf_transfer_table_u8(transfer), *fine = uf_transfer_table_u16(transfer);
    for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) {
        cr_expect_float_eq(table[(size_t)codes[i][0]], codes[i][1], 1e-7);
        cr_expect_float_eq(fine[(size_t)codes[i][0] * 257], codes[i][1], 1e-7);
    }
    for (int code = 0; code < 256; code++)
        cr_expect_eq(lroundf(uf_transfer_from_linear(transfer, table[code]) * 255), code);
    for (int code = 0; code < 65536; code++)
        cr_expect_eq(lroundf(uf_transfer_from_linear(transfer, fine[code]) * 65535), code);
    uf_transfer_free(&transfer);
    cr_expect_null(transfer);
    uf_picture_free(&picture);
}

/* The quick way back: every code is met again, and between them it is off by an eighth of a code of 16 bits
 * at most; it is the same on every processor, and held to what can be stored. */
Test(colour, stored_in_short_pieces)
{
    enum { COUNT = 100003 };
    static float light[COUNT], stored[COUNT], scalar[COUNT];
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    UfTransfer *transfer = transfer_of(picture, 0);
    const float *codes_8 = uf_transfer_table_u8(transfer), *codes_16 = uf_transfer_table_u16(transfer);
    uf_transfer_row_stored(transfer, codes_8, 256, stored);
    for (int code = 0; code < 256; code++)
        cr_expect_float_eq((double)stored[code] * 255, code, 0.01);
    uf_transfer_row_stored(transfer, codes_16, 65536, stored);
    for (int code = 0; code < 65536; code++)
        cr_expect_float_eq((double)stored[code] * 65535, code, 0.125);
    for (int i = 0; i < COUNT; i++)
        light[i] = (float)pow((double)i / (COUNT - 1), 3);
    uf_transfer_row_stored(transfer, light, COUNT, stored);
    uf_cpu_set_mask(0);
    uf_transfer_row_stored(transfer, light, COUNT, scalar);
    uf_cpu_set_mask(UF_CPU_ALL);
    cr_expect_eq(memcmp(stored, scalar, sizeof stored), 0);
    for (int i = 0; i < COUNT; i++)
        cr_expect_float_eq((double)stored[i], (double)uf_transfer_from_linear(transfer, light[i]),
                           0.125 / 65535);
    const float beyond[4] = {-0.5f, 0, 1, 7};
    uf_transfer_row_stored(transfer, beyond, 4, stored);
    for (int i = 0; i < 4; i++)
        cr_expect_float_eq((double)stored[i], i < 2 ? 0 : 1, 1e-9);
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

Test(colour, floats_of_every_size)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U16);
    UfTransfer *transfer = transfer_of(picture, 0);
    for (float value = 0; value < 8; value += 0.037f) {
        float linear = uf_transfer_to_linear(transfer, value);
        double expected = value <= 0.04045f ? value / 12.92 : pow((value + 0.055) / 1.055, 2.4);
        cr_expect_float_eq(linear, expected, 1e-5 * fmax(1, expected), "at %g", (double)value);
        cr_expect_float_eq(uf_transfer_to_linear(transfer, -value), -linear, 0);
        cr_expect_float_eq(uf_transfer_from_linear(transfer, linear), value, 1e-5f * fmaxf(1, value));
        cr_expect_float_eq(uf_transfer_from_linear(transfer, -linear), -value, 1e-5f * fmaxf(1, value));
    }
    cr_expect(isnan(uf_transfer_to_linear(transfer, NAN)));
    cr_expect(isinf(uf_transfer_from_linear(transfer, INFINITY)));
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

Test(colour, float_pictures_without_a_profile_are_linear)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_F32);
    UfTransfer *transfer = transfer_of(picture, 0);
    cr_expect_null(uf_transfer_table_u8(transfer));
    cr_expect_null(uf_transfer_table_u16(transfer));
    cr_expect_float_eq(uf_transfer_to_linear(transfer, 0.3f), 0.3f, 0);
    cr_expect_float_eq(uf_transfer_from_linear(transfer, -7.5f), -7.5f, 0);
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

/* The luminance that lcms2 gives to equal channels of each of 1024 levels, against the transfer curve. */
static void check_against_lcms(UfPicture *picture, double tolerance)
{
    UfTransfer *transfer = transfer_of(picture, 0);
    bool grey = picture->channels <= 2;
    UfBlob icc = picture->metadata.icc;
    cmsHPROFILE profile = cmsOpenProfileFromMem(icc.data, (cmsUInt32Number)icc.size_bytes);
    cmsHPROFILE xyz = cmsCreateXYZProfile();
    cmsHTRANSFORM transform =
        cmsCreateTransform(profile, grey ? TYPE_GRAY_FLT : TYPE_RGB_FLT, xyz, TYPE_XYZ_DBL,
                           INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE);
    cr_assert_not_null(transform);
    for (int i = 0; i <= 1024; i++) {
        float value = (float)i / 1024, device[3] = {value, value, value};
        double found[3];
        cmsDoTransform(transform, device, found, 1);
        cr_expect_float_eq(uf_transfer_to_linear(transfer, value), found[1], tolerance, "at %g",
                           (double)value);
        if (i > 0)
            cr_expect_float_eq(uf_transfer_from_linear(transfer, uf_transfer_to_linear(transfer, value)),
                               value, 1e-5);
    }
    cmsDeleteTransform(transform);
    cmsCloseProfile(xyz);
    cmsCloseProfile(profile);
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

Test(colour, curves_agree_with_lcms)
{
    struct {
        const double *primaries;
        cmsToneCurve *curve;
    } cases[] = {
        {srgb_primaries, cmsBuildGamma(NULL, 2.2)},
        {p3_primaries, srgb_curve()},
        {wide_primaries, cmsBuildGamma(NULL, 1.8)},
        {srgb_primaries, cmsBuildGamma(NULL, 2.6)},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U16);
        attach(picture, rgb_profile(&d65, cases[i].primaries, cases[i].curve));
        check_against_lcms(picture, 5e-5); /* the profile's colorants and curves are stored in 16 bits */
    }
    UfPicture *picture = make(4, 2, 1, UF_SAMPLE_U8);
    cmsToneCurve *curve = cmsBuildGamma(NULL, 2.2);
    attach(picture, cmsCreateGrayProfile(cmsD50_xyY(), curve));
    cmsFreeToneCurve(curve);
    check_against_lcms(picture, 5e-5);
}

/* A table of few entries: between them, straight lines (ICC.1:2010, 10.5). */
Test(colour, tabulated_curves)
{
    const cmsUInt16Number entries[5] = {0, 4000, 15000, 36000, 65535};
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    attach(picture, rgb_profile(&d65, srgb_primaries, cmsBuildTabulatedToneCurve16(NULL, 5, entries)));
    UfTransfer *transfer = transfer_of(picture, 0);
    for (int i = 0; i <= 400; i++) {
        double at = i / 100.0, low = entries[(int)fmin(at, 3)], high = entries[(int)fmin(at, 3) + 1];
        double expected = (low + (at - floor(fmin(at, 3))) * (high - low)) / 65535;
        cr_expect_float_eq(uf_transfer_to_linear(transfer, (float)(at / 4)), expected, 1e-5);
    }
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

Test(colour, a_linear_profile_needs_no_tables)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U16);
    attach(picture, rgb_profile(&d65, srgb_primaries, cmsBuildGamma(NULL, 1.0)));
    UfTransfer *transfer = transfer_of(picture, 0);
    cr_expect_null(uf_transfer_table_u16(transfer));
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

/* A profile with tables of colours instead of curves: lcms2 writes one with this number of grid points. */
Test(colour, profiles_made_of_tables)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    cmsHPROFILE from = rgb_profile(&d65, srgb_primaries, cmsBuildGamma(NULL, 2.2)),
                lab = cmsCreateLab4Profile(NULL);
    cmsHTRANSFORM transform =
        cmsCreateTransform(from, TYPE_RGB_16, lab, TYPE_Lab_16, INTENT_RELATIVE_COLORIMETRIC,
                           cmsFLAGS_HIGHRESPRECALC | cmsFLAGS_FORCE_CLUT);
    cr_assert_not_null(transform);
    cmsHPROFILE device = cmsTransform2DeviceLink(transform, 4.3, cmsFLAGS_FORCE_CLUT);
    cr_assert_not_null(device);
    cmsSetDeviceClass(device, cmsSigInputClass);
    cmsSetColorSpace(device, cmsSigRgbData);
    cmsSetPCS(device, cmsSigLabData);
    cmsWriteTag(device, cmsSigMediaWhitePointTag, cmsD50_XYZ());
    attach(picture, device);
    cmsDeleteTransform(transform);
    cmsCloseProfile(from);
    cmsCloseProfile(lab);
    UfTransfer *transfer = transfer_of(picture, 0);
    for (int i = 0; i <= 20; i++)
        cr_expect_float_eq(uf_transfer_to_linear(transfer, (float)i / 20), pow(i / 20.0, 2.2), 4e-3,
                           "at %d/20", i);
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

Test(colour, damaged_and_foreign_profiles_are_a_warning)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    cr_assert_eq(uf_blob_set(&picture->metadata.icc, "no profile at all, but long enough for one", 43, NULL),
                 UF_OK);
    UfTransfer *transfer = transfer_of(picture, 1);
    cr_expect_float_eq(uf_transfer_to_linear(transfer, 0.5f), 0.214041140482, 1e-6);
    uf_transfer_free(&transfer);
    cmsToneCurve *curve = cmsBuildGamma(NULL, 2.2);
    attach(picture, cmsCreateGrayProfile(cmsD50_xyY(), curve));
    cmsFreeToneCurve(curve);
    transfer = transfer_of(picture, 1);
    cr_expect_float_eq(uf_transfer_to_linear(transfer, 0.5f), 0.214041140482, 1e-6);
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
}

Test(colour, damaged_profiles_at_every_offset)
{
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    attach(picture, cmsCreate_sRGBProfile());
    UfBlob whole = {0};
    cr_assert_eq(uf_blob_set(&whole, picture->metadata.icc.data, picture->metadata.icc.size_bytes, NULL),
                 UF_OK);
    char name[96];
    for (size_t i = 0; i < whole.size_bytes; i += 3) {
        uf_blob_set(&picture->metadata.icc, whole.data, i % 2 == 0 ? whole.size_bytes : i, NULL);
        if (i % 2 == 0)
            picture->metadata.icc.data[i] ^= 0xFF;
        UfTransfer *transfer = NULL;
        cr_assert_eq(uf_transfer_create(picture, &transfer, NULL), UF_OK);
        float half = uf_transfer_to_linear(transfer, 0.5f);
        cr_assert(half >= 0 && half <= 1);
        uf_picture_profile_name(picture, name, sizeof name);
        cr_assert_gt(strlen(name), 0);
        uf_transfer_free(&transfer);
    }
    uf_blob_clear(&whole);
    uf_picture_free(&picture);
}

static void set_pixel(UfPicture *picture, const uint8_t *bytes)
{
    for (size_t y = 0; y < picture->height_px; y++)
        for (size_t x = 0; x < picture->width_px; x++)
            memcpy(picture->data + y * picture->stride_bytes + x * picture->channels, bytes,
                   picture->channels);
}

/* Between two profiles, against a transform of lcms2's in double precision; alpha comes through. */
Test(colour, converts_like_lcms)
{
    UfPicture *logo = make(3, 2, 4, UF_SAMPLE_U8), *panorama = make(8, 4, 3, UF_SAMPLE_U16), *out = NULL;
    const uint8_t pixel[4] = {200, 90, 30, 77};
    set_pixel(logo, pixel);
    attach(panorama, rgb_profile(&d65, p3_primaries, cmsBuildGamma(NULL, 2.2)));
    cr_assert_eq(uf_colour_convert(logo, panorama, &out, NULL), UF_OK);
    cr_expect_eq(out->channels, 4);
    cr_expect_eq(out->sample, UF_SAMPLE_U8);
    cr_expect_eq(out->metadata.icc.size_bytes, panorama->metadata.icc.size_bytes);
    cmsHPROFILE from = cmsCreate_sRGBProfile(),
                to = rgb_profile(&d65, p3_primaries, cmsBuildGamma(NULL, 2.2));
    cmsHTRANSFORM transform =
        cmsCreateTransform(from, TYPE_RGB_DBL, to, TYPE_RGB_DBL, INTENT_RELATIVE_COLORIMETRIC,
                           cmsFLAGS_NOOPTIMIZE | cmsFLAGS_BLACKPOINTCOMPENSATION);
    const double in[3] = {200 / 255.0, 90 / 255.0, 30 / 255.0};
    double expected[3], colour[3];
    cmsDoTransform(transform, in, expected, 1);
    for (size_t x = 0; x < 3; x++) {
        for (size_t c = 0; c < 3; c++)
            cr_expect_float_eq(out->data[4 * x + c], expected[c] * 255, 1.01);
        cr_expect_eq(out->data[4 * x + 3], 77);
    }
    cr_assert_eq(uf_colour_of_srgb(in, panorama, colour, NULL), UF_OK);
    for (size_t c = 0; c < 3; c++)
        cr_expect_float_eq(colour[c], expected[c], 1e-4);
    cmsDeleteTransform(transform);
    cmsCloseProfile(from);
    cmsCloseProfile(to);
    uf_picture_free(&out);
    uf_picture_free(&logo);
    uf_picture_free(&panorama);
}

Test(colour, the_same_profile_changes_nothing)
{
    UfPicture *logo = make(3, 2, 4, UF_SAMPLE_U8), *panorama = make(8, 4, 3, UF_SAMPLE_U16), *out = NULL;
    const uint8_t pixel[4] = {1, 2, 3, 4};
    set_pixel(logo, pixel);
    cr_assert_eq(uf_colour_convert(logo, panorama, &out, NULL), UF_OK);
    cr_expect_eq(memcmp(out->data, pixel, 4), 0);
    const double in[3] = {0.25, 0.5, 0.75};
    double colour[3];
    cr_assert_eq(uf_colour_of_srgb(in, panorama, colour, NULL), UF_OK);
    for (size_t c = 0; c < 3; c++)
        cr_expect_float_eq(colour[c], in[c], 1e-4);
    uf_picture_free(&out);
    uf_picture_free(&logo);
    uf_picture_free(&panorama);
}

/* Grey and RGB, 8 bit and float. A neutral stays neutral; white stays white; sRGB 188 is half of the light.
 */
Test(colour, converts_between_kinds)
{
    static const size_t channels[] = {1, 2, 3, 4};
    static const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    for (size_t a = 0; a < 4; a++)
        for (size_t b = 0; b < 4; b++)
            for (size_t s = 0; s < 3; s++) {
                UfPicture *from = make(2, 1, channels[a], UF_SAMPLE_U8), *out = NULL;
                UfPicture *like = make(2, 1, channels[b], samples[s]);
                const uint8_t pixel[4] = {188, channels[a] == 2 ? 99 : 188, 188, 99};
                set_pixel(from, pixel);
                cr_assert_eq(uf_colour_convert(from, like, &out, NULL), UF_OK);
                bool alpha = channels[a] % 2 == 0;
                cr_expect_eq(out->channels, (channels[b] <= 2 ? 1u : 3u) + (alpha ? 1u : 0u));
                size_t colours = channels[b] <= 2 ? 1 : 3;
                cr_expect_eq(out->sample, samples[s] == UF_SAMPLE_F32 ? UF_SAMPLE_F32 : UF_SAMPLE_U8);
                for (size_t c = 0; c < out->channels; c++) {
                    double value =
                        out->sample == UF_SAMPLE_F32 ? (double)((float *)out->data)[c] : out->data[c] / 255.0;
                    double expected = c >= colours                   ? 99 / 255.0
                                      : out->sample == UF_SAMPLE_F32 ? 0.502886458032569
                                                                     : 188 / 255.0;
                    cr_expect_float_eq(value, expected, out->sample == UF_SAMPLE_F32 ? 2e-4 : 1.01 / 255,
                                       "%zu to %zu channels, sample %d, channel %zu", channels[a],
                                       channels[b], (int)samples[s], c);
                }
                uf_picture_free(&from);
                uf_picture_free(&like);
                uf_picture_free(&out);
            }
}

Test(colour, names)
{
    char name[96], tiny[5];
    UfPicture *picture = make(4, 2, 3, UF_SAMPLE_U8);
    uf_picture_profile_name(picture, name, sizeof name);
    cr_expect_str_eq(name, "no profile");
    attach(picture, cmsCreate_sRGBProfile());
    uf_picture_profile_name(picture, name, sizeof name);
    cr_expect_str_eq(name, "sRGB built-in");
    uf_picture_profile_name(picture, tiny, sizeof tiny);
    cr_expect_str_eq(tiny, "sRGB");
    uf_blob_set(&picture->metadata.icc, "broken", 6, NULL);
    uf_picture_profile_name(picture, name, sizeof name);
    cr_expect_str_eq(name, "damaged profile");
    uf_picture_free(&picture);
}
