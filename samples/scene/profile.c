/* Colour profiles, and pixels from linear light into them. */
#include "profile.h"

#include <stdlib.h>
#include <string.h>

/* The primaries of ITU-R BT.709 and BT.2020, white D65 (both recommendations, table 'Reference primaries').
 */
static const cmsCIExyYTRIPLE narrow_primaries = {{0.64, 0.33, 1}, {0.30, 0.60, 1}, {0.15, 0.06, 1}};
static const cmsCIExyYTRIPLE wide_primaries = {{0.708, 0.292, 1}, {0.170, 0.797, 1}, {0.131, 0.046, 1}};
static const cmsCIExyY d65 = {0.3127, 0.3290, 1};

static cmsHPROFILE with_gamma(const cmsCIExyYTRIPLE *primaries, double gamma)
{
    cmsToneCurve *curve = cmsBuildGamma(NULL, gamma);
    if (curve == NULL)
        return NULL;
    cmsToneCurve *curves[3] = {curve, curve, curve};
    cmsHPROFILE profile = cmsCreateRGBProfile(&d65, primaries, curves);
    cmsFreeToneCurve(curve);
    return profile;
}

/* Gives the profile a name that people see. */
static void name_profile(cmsHPROFILE profile, const char *name)
{
    cmsMLU *text = cmsMLUalloc(NULL, 1);
    if (text == NULL)
        return;
    if (cmsMLUsetASCII(text, "en", "US", name))
        cmsWriteTag(profile, cmsSigProfileDescriptionTag, text);
    cmsMLUfree(text);
}

cmsHPROFILE profile_open(bool wide)
{
    if (!wide)
        return cmsCreate_sRGBProfile();
    cmsHPROFILE profile = with_gamma(&wide_primaries, 2.2);
    if (profile != NULL)
        name_profile(profile, "Wide RGB, BT.2020 primaries, gamma 2.2");
    return profile;
}

unsigned char *profile_bytes(bool wide, unsigned *size_bytes)
{
    static const unsigned char made[12] = {0x07, 0xEA, 0, 5, 0, 14,
                                           0,    0,    0, 0, 0, 0}; /* not the clock's time */
    cmsHPROFILE profile = profile_open(wide);
    cmsUInt32Number size = 0;
    unsigned char *bytes = NULL;
    if (profile != NULL && cmsSaveProfileToMem(profile, NULL, &size) && (bytes = malloc(size)) != NULL) {
        if (cmsSaveProfileToMem(profile, bytes, &size)) {
            memcpy(bytes + 24, made, sizeof made); /* ICC.1, 7.2.8: date and time of creation */
            *size_bytes = size;
        } else {
            free(bytes);
            bytes = NULL;
        }
    }
    if (profile != NULL)
        cmsCloseProfile(profile);
    return bytes;
}

cmsHTRANSFORM profile_from_linear(bool wide, cmsUInt32Number format)
{
    cmsHPROFILE from = with_gamma(&narrow_primaries, 1.0), to = profile_open(wide);
    cmsHTRANSFORM transform = NULL;
    if (from != NULL && to != NULL)
        transform = cmsCreateTransform(from, TYPE_RGB_FLT, to, format, INTENT_RELATIVE_COLORIMETRIC,
                                       cmsFLAGS_NOCACHE);
    if (from != NULL)
        cmsCloseProfile(from);
    if (to != NULL)
        cmsCloseProfile(to);
    return transform;
}
