/* Faces that came back from an editor in different depths, with or without alpha, with other profiles. */
#include "base/report.h"
#include "picture/colour.h"
#include "wrap/cube.h"

static size_t colours(const UfPicture *picture)
{
    size_t channels = uf_picture_channels(picture);
    return uf_picture_has_alpha(picture) ? channels - 1 : channels;
}

static bool same_profile(const UfPicture *a, const UfPicture *b)
{
    UfBlob of_a = uf_picture_icc(a);
    UfBlob of_b = uf_picture_icc(b);
    return of_a.size_bytes == of_b.size_bytes &&
           (of_a.size_bytes == 0 || memcmp(of_a.data, of_b.data, of_a.size_bytes) == 0);
}

/* The one that the others follow: the deepest, and RGB before grey. */
static const UfPicture *leader(const UfPicture *const faces[UF_FACE_COUNT])
{
    const UfPicture *best = NULL;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        const UfPicture *face = faces[f];
        if (face == NULL)
            continue;
        bool better = best == NULL || uf_picture_sample(face) > uf_picture_sample(best) ||
                      (uf_picture_sample(face) == uf_picture_sample(best) && colours(face) > colours(best));
        if (better)
            best = face;
    }
    return best;
}

/* *out stays NULL when the face serves as it is. */
static UfStatus convert(const UfPicture *face, UfFace which, const UfPicture *like, UfPicture **out,
                        UfReport *report)
{
    bool same_kind = colours(face) == colours(like) &&
                     (uf_picture_sample(face) == UF_SAMPLE_F32) == (uf_picture_sample(like) == UF_SAMPLE_F32);
    if (same_kind && same_profile(face, like))
        return UF_OK;
    if (!same_profile(face, like)) {
        char of_face[96];
        char of_like[96];
        uf_picture_profile_name(face, of_face, sizeof of_face);
        uf_picture_profile_name(like, of_like, sizeof of_like);
        uf_warn(report, "the %s face has another colour profile (%s) and is converted to %s",
                uf_face_name(which), of_face, of_like);
    }
    return uf_colour_convert(face, like, out, report);
}

static void widen_pixel(const uint8_t *from, UfSample sample, size_t channels, uint8_t *to, UfSample wanted,
                        size_t wanted_channels)
{
    for (size_t c = 0; c < wanted_channels; c++) {
        if (wanted == UF_SAMPLE_U8) {
            to[c] = c < channels ? from[c] : 255;
        } else if (wanted == UF_SAMPLE_F32) {
            float value = 1;
            if (c < channels)
                memcpy(&value, from + c * sizeof value, sizeof value);
            memcpy(to + c * sizeof value, &value, sizeof value);
        } else {
            uint16_t value = 65535;
            if (c < channels && sample == UF_SAMPLE_U8)
                value = (uint16_t)(from[c] * 257u);
            else if (c < channels)
                memcpy(&value, from + c * sizeof value, sizeof value);
            memcpy(to + c * sizeof value, &value, sizeof value);
        }
    }
}

/* 8 bits become 16, and an opaque alpha comes behind the colours. *out stays NULL when nothing has to change.
 */
static UfStatus widen(const UfPicture *from, UfSample wanted, bool with_alpha, UfPicture **out,
                      UfReport *report)
{
    UfSample sample = uf_picture_sample(from);
    size_t channels = uf_picture_channels(from);
    size_t wanted_channels = channels + (with_alpha && !uf_picture_has_alpha(from) ? 1 : 0);
    UfPicture *wide = NULL;
    if (sample == wanted && channels == wanted_channels)
        return UF_OK;
    UfStatus status = uf_picture_create(uf_picture_width_px(from), uf_picture_height_px(from),
                                        wanted_channels, wanted, &wide, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(from, wide, report);
    if (status != UF_OK) {
        uf_picture_free(&wide);
        return status;
    }
    for (size_t y = 0; y < uf_picture_height_px(from); y++) {
        const uint8_t *row = uf_picture_row_const(from, y);
        uint8_t *to = uf_picture_row(wide, y);
        for (size_t x = 0; x < uf_picture_width_px(from); x++)
            widen_pixel(row + x * channels * (size_t)sample, sample, channels,
                        to + x * wanted_channels * (size_t)wanted, wanted, wanted_channels);
    }
    *out = wide;
    return UF_OK;
}

UfStatus uf_faces_alike(const UfPicture *const faces[UF_FACE_COUNT], UfPicture *out[UF_FACE_COUNT],
                        UfReport *report)
{
    const UfPicture *like = leader(faces);
    bool with_alpha = false;
    UfStatus status = UF_OK;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        with_alpha = with_alpha || (faces[f] != NULL && uf_picture_has_alpha(faces[f]));
    for (unsigned f = 0; f < UF_FACE_COUNT && status == UF_OK; f++) {
        UfPicture *wide = NULL;
        if (faces[f] == NULL)
            continue;
        status = convert(faces[f], (UfFace)f, like, &out[f], report);
        if (status == UF_OK)
            status =
                widen(out[f] != NULL ? out[f] : faces[f], uf_picture_sample(like), with_alpha, &wide, report);
        if (wide != NULL) {
            uf_picture_free(&out[f]);
            out[f] = wide;
        }
    }
    return status;
}
