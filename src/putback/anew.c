/* Making the extraction anew, and trying what is not known of it. */
#include "putback/anew.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "picture/colour.h"
#include "picture/samples.h"

/* Kernels that an extraction may have been made with, the default first. */
static const UfSampling samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_SHARP, UF_SAMPLING_BILINEAR};
#define SAMPLINGS (sizeof samplings / sizeof samplings[0])

/* An attempt is judged by this many rows, and differences above this many steps count as one stroke. */
#define PROBE_ROWS 256u
#define PROBE_CAP  16.0

static bool same_profile(const UfPicture *a, const UfPicture *b)
{
    UfBlob p = uf_picture_icc(a), q = uf_picture_icc(b);
    return p.size_bytes == q.size_bytes && (p.size_bytes == 0 || memcmp(p.data, q.data, p.size_bytes) == 0);
}

static bool same_channels(const UfPicture *a, const UfPicture *b)
{
    return (uf_picture_channels(a) <= 2) == (uf_picture_channels(b) <= 2);
}

static bool same_float(const UfPicture *a, const UfPicture *b)
{
    return (uf_picture_sample(a) == UF_SAMPLE_F32) == (uf_picture_sample(b) == UF_SAMPLE_F32);
}

/* The mean difference, where large ones count as PROBE_CAP: strokes weigh the same in every attempt. */
static UfStatus judge(const UfPart *part, double *out, UfReport *report)
{
    size_t width = uf_part_width_px(part), height = uf_part_height_px(part);
    size_t samples = uf_part_colours(part) + 1, step = height / PROBE_ROWS + 1, rows = 0;
    double sum = 0;
    float *row = uf_alloc(width * samples, sizeof *row);
    if (row == NULL)
        return uf_fail_memory(report);
    for (size_t y = step / 2; y < height; y += step, rows++) {
        uf_part_difference(part, y, 0, width, row);
        for (size_t i = 0; i < width * samples; i++)
            sum += fmin(fabs((double)row[i]) * 255.0, PROBE_CAP);
    }
    free(row);
    *out = sum / ((double)rows * (double)width);
    return UF_OK;
}

/* `picture` in the panorama's colours: converted, or, with `assign`, its numbers taken for the panorama's. */
static UfStatus into_colours(const UfPicture *picture, const UfPicture *panorama, bool assign,
                             UfPicture **out, UfReport *report)
{
    if (!assign)
        return uf_colour_convert(picture, panorama, out, report);
    UfPicture *copy = NULL;
    UfStatus status = uf_picture_copy(picture, &copy, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(panorama, copy, report);
    if (status == UF_OK)
        status = uf_colour_convert(copy, panorama, out, report);
    uf_picture_free(&copy);
    return status;
}

/* *picture = the result of a step, in place of what it was. */
static void replace(UfPicture **picture, UfPicture *by)
{
    uf_picture_free(picture);
    *picture = by;
}

/* The way that the edit's samples went: rounded, perhaps converted, and back to the panorama's colours. */
static UfStatus like_edit(UfPicture **anew, const UfPicture *panorama, const UfPicture *edited, bool assign,
                          UfReport *report)
{
    UfPicture *next = NULL;
    UfStatus status = UF_OK;
    bool convert = !assign && !same_profile(edited, panorama);
    if (uf_picture_sample(*anew) != uf_picture_sample(edited)) {
        UfSample sample = uf_picture_sample(edited);
        if ((status = uf_picture_as(*anew, sample, &next, report)) != UF_OK)
            return status;
        replace(anew, next);
    }
    if (convert || !same_channels(edited, panorama)) {
        if ((status = uf_colour_convert(*anew, edited, &next, report)) != UF_OK)
            return status;
        replace(anew, next);
        if ((status = uf_colour_convert(*anew, panorama, &next, report)) != UF_OK)
            return status;
        replace(anew, next);
    } else if (!same_float(*anew, panorama)) {
        if ((status = uf_colour_convert(*anew, panorama, &next, report)) != UF_OK)
            return status;
        replace(anew, next);
    }
    return UF_OK;
}

/* One attempt: `taken` is the picture as it was taken out. */
static UfStatus attempt(const UfPicture *panorama, const UfPicture *taken, const UfPicture *edited,
                        bool assign, int threads, UfPart *part, UfReport *report)
{
    size_t width = uf_picture_width_px(edited), height = uf_picture_height_px(edited);
    UfRemapOptions resize = {.threads = threads};
    UfStatus status;
    bool plain = same_float(edited, panorama) && same_channels(edited, panorama) &&
                 (assign || same_profile(edited, panorama));
    part->edited = edited;
    if (!plain) {
        if ((status = into_colours(edited, panorama, assign, &part->owned, report)) != UF_OK)
            return status;
        part->edited = part->owned;
    }
    part->resized = uf_picture_width_px(taken) != width || uf_picture_height_px(taken) != height;
    part->converted = !same_channels(edited, panorama) || (!assign && !same_profile(edited, panorama));
    status = part->resized ? uf_resize(taken, width, height, false, &resize, &part->anew, report)
                           : uf_picture_copy(taken, &part->anew, report);
    if (status == UF_OK)
        status = like_edit(&part->anew, panorama, edited, assign, report);
    if (status == UF_OK && uf_picture_sample(part->edited) != uf_picture_sample(part->anew))
        status = uf_fail(report, UF_ERROR_UNSUPPORTED, "has samples of a kind that cannot be compared");
    return status;
}

/* The better of two attempts stays in *best. */
static UfStatus keep_better(UfPart *best, double *best_score, UfPart *next, UfReport *report)
{
    double score = 0;
    UfStatus status = judge(next, &score, report);
    if (status == UF_OK && score < *best_score) {
        *best_score = score;
        uf_part_clear(best);
        *best = *next;
        *next = (UfPart){0};
    }
    uf_part_clear(next);
    return status;
}

/* With one address: the profile as it is, and, when it is another one, as if it had only been assigned. */
static UfStatus try_home(const UfPicture *panorama, const UfEdit *edit, const UfHome *home, int threads,
                         UfPart *best, double *best_score, UfReport *report)
{
    const UfPicture *edited = edit->picture;
    UfPicture *taken = NULL;
    UfPart next = {0};
    UfView view;
    UfStatus status =
        uf_home_view_at(home, uf_picture_width_px(edited), uf_picture_height_px(edited), &view, report);
    if (status == UF_OK)
        status = uf_home_extract(home, panorama, threads, NULL, &taken, report);
    bool may_be_assigned = same_channels(edited, panorama) && !same_profile(edited, panorama);
    for (int assign = 0; status == UF_OK && assign <= (may_be_assigned ? 1 : 0); assign++) {
        status = attempt(panorama, taken, edited, assign == 1, threads, &next, report);
        next.view = view;
        if (status == UF_OK)
            status = keep_better(best, best_score, &next, report);
    }
    uf_part_clear(&next);
    uf_picture_free(&taken);
    return status;
}

/* An address given by hand: the edit's own size, and the full size of a face; every kernel. */
static UfStatus try_by_hand(const UfPicture *panorama, const UfEdit *edit, int threads, UfPart *best,
                            double *best_score, UfReport *report)
{
    size_t width = uf_picture_width_px(edit->picture), height = uf_picture_height_px(edit->picture);
    size_t full = uf_face_full_size_px(uf_picture_width_px(panorama));
    bool may_be_resized = edit->home.kind == UF_HOME_FACE && width != full;
    UfStatus status = UF_OK;
    for (size_t i = 0; status == UF_OK && i < SAMPLINGS; i++)
        for (int resized = 0; status == UF_OK && resized <= (may_be_resized ? 1 : 0); resized++) {
            UfHome home = edit->home;
            home.sampling = samplings[i];
            home.width_px = resized ? full : width;
            home.height_px = resized ? full : height;
            home.panorama_width_px = uf_picture_width_px(panorama);
            status = try_home(panorama, edit, &home, threads, best, best_score, report);
        }
    return status;
}

UfStatus uf_part_make(const UfPicture *panorama, const UfEdit *edit, int threads, UfPart *part,
                      UfReport *report)
{
    UfPart best = {0};
    double score = INFINITY;
    UfStatus status = edit->by_hand ? try_by_hand(panorama, edit, threads, &best, &score, report)
                                    : try_home(panorama, edit, &edit->home, threads, &best, &score, report);
    if (status != UF_OK) {
        uf_part_clear(&best);
        return status;
    }
    best.from_jpeg = uf_picture_format(edit->picture) == UF_FORMAT_JPEG;
    *part = best;
    return UF_OK;
}
