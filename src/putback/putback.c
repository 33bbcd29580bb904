/* Bringing edits home: whose they are, what changed, and the order of the steps. */
#include <underfoot/putback.h>

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "putback/anew.h"
#include "putback/area.h"
#include "putback/changes.h"
#include "putback/lay.h"
#include "putback/mask.h"
#include "putback/sheet.h"

/* More than this part of a picture differs: without a fingerprint to vouch for it, it is no picture of this
 * place. */
#define STRANGE_PART 0.6
/* Round strokes that were found in noise: they begin below it. */
#define NOISE_GROW_PX 2.0

typedef struct Work {
    UfPicture *panorama;
    UfPutbackOptions options;
    const UfHome *judged; /* the address that was compared last, and whether it is of this panorama */
    bool is_own;
    UfEditList list;
    UfPart *parts;
    UfPutbackChange *changes; /* one an edit */
} Work;

/* The report's error again, behind the edit's name. */
static UfStatus name_edit(UfReport *report, UfStatus status, const UfEdit *edit)
{
    char text[1024];
    if (status == UF_OK)
        return UF_OK;
    (void)snprintf(text, sizeof text, "%s", uf_report_error(report));
    if (strncmp(text, edit->name, strlen(edit->name)) == 0)
        return status;
    return uf_fail(report, status, "%s: %s", edit->name, text);
}

static UfStatus check(const UfPicture *panorama, const UfPutbackOptions *options, UfReport *report)
{
    size_t width = uf_picture_width_px(panorama), height = uf_picture_height_px(panorama);
    if (width != 2 * height)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the picture is %zu x %zu: a full panorama is twice as wide as it is high", width,
                       height);
    if (!(options->feather_px + UF_PUTBACK_GAP_PX + NOISE_GROW_PX < UF_MASK_REACH_MAX_PX))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a soft edge of %g pixels is too wide; give at most %g",
                       options->feather_px, UF_MASK_REACH_MAX_PX - 10);
    if (!(options->tolerance < 256))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a tolerance of %g makes no sense; give 0 to 255",
                       options->tolerance);
    return UF_OK;
}

static UfStatus check_shape(const UfEdit *edit, const UfPicture *panorama, UfReport *report)
{
    size_t width = uf_picture_width_px(edit->picture), height = uf_picture_height_px(edit->picture);
    size_t panorama_width = uf_picture_width_px(panorama);
    if (edit->home.kind == UF_HOME_PLANET)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "is a small planet; only faces, sheets of faces and views are put back");
    if (edit->home.kind == UF_HOME_FACE && width != height)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "is %zu x %zu pixels, and a face is square; undo the crop and save it again", width,
                       height);
    if (!edit->by_hand && edit->home.panorama_width_px != panorama_width)
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "was taken out of a panorama %zu pixels wide, and this one is %zu wide; give that one%s%s",
            edit->home.panorama_width_px, panorama_width, edit->home.source[0] != '\0' ? ", " : "",
            edit->home.source);
    return UF_OK;
}

/* The faces of a sheet, and those around the horizon, have one fingerprint. */
static bool is_judged(const Work *work, const UfHome *home)
{
    return work->judged != NULL && work->judged->first_row_px == home->first_row_px &&
           work->judged->end_row_px == home->end_row_px &&
           uf_fingerprint_same(&work->judged->fingerprint, &home->fingerprint);
}

static bool is_strange(Work *work, const UfEdit *edit)
{
    if (!edit->by_hand && !is_judged(work, &edit->home)) {
        work->judged = &edit->home;
        work->is_own = uf_home_is_of(&edit->home, work->panorama);
    }
    return edit->by_hand || !work->is_own;
}

static UfStatus refuse_stranger(const UfEdit *edit, double percent, UfReport *report)
{
    if (edit->by_hand)
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "%.0f%% of its pixels differ from what the panorama shows there; is it that face or view of this "
            "panorama? If it is, and nearly all of it was changed, give --tolerance 0 to bring all of it",
            percent);
    return uf_fail(
        report, UF_ERROR_ARGUMENT,
        "belongs to another panorama%s%s: the fingerprint is another one, and %.0f%% of its pixels differ "
        "from what this one shows there",
        edit->home.source[0] != '\0' ? ", " : "", edit->home.source, percent);
}

/*
 * Where faces were put back into a panorama it has another fingerprint than the one that they came from. It
 * is known again by its picture: what it shows is what the edit shows, but for the strokes.
 */
static UfStatus check_kinship(Work *work, const UfEdit *edit, const UfPart *part, const UfFound *found,
                              UfPutbackChange *change, UfReport *report)
{
    double all = (double)uf_part_width_px(part) * (double)uf_part_height_px(part);
    double differing = (double)found->changed_px / all;
    if (!is_strange(work, edit))
        return UF_OK;
    if ((differing > STRANGE_PART || found->all) && !(edit->by_hand && work->options.tolerance >= 0))
        return refuse_stranger(edit, 100 * differing, report);
    if (!edit->by_hand)
        change->other_panorama = true;
    return UF_OK;
}

static void note_change(const UfPart *part, const UfFound *found, UfPutbackChange *change)
{
    change->changed = change->changed || found->changed_px > 0;
    change->exact = found->exact;
    change->tolerance = found->tolerance;
    change->changed_px += found->changed_px;
    change->resized = part->resized;
    change->converted = part->converted;
    if (found->changed_px > 0)
        uf_area_add(part, change);
}

static UfStatus soften(const Work *work, const UfFound *found, UfPart *part, UfReport *report)
{
    bool measured = !found->exact && !found->all && work->options.tolerance < 0;
    double feather = work->options.feather_px >= 0 ? work->options.feather_px : UF_PUTBACK_FEATHER_PX;
    if (found->changed_px == 0) {
        free(part->weight);
        part->weight = NULL;
        return UF_OK;
    }
    return uf_mask_soften(part->weight, uf_part_width_px(part), uf_part_height_px(part), UF_PUTBACK_GAP_PX,
                          measured ? NOISE_GROW_PX : 0, feather, &part->box, report);
}

/* A part that is not needed any more lets its pictures go. */
static UfStatus prepare_part(Work *work, size_t number, UfReport *report)
{
    const UfEdit *edit = &work->list.edits[number];
    UfPart *part = &work->parts[number];
    UfPutbackChange *change = &work->changes[work->list.origin[number]];
    UfFound found = {0};
    UfStatus status = check_shape(edit, work->panorama, report);
    if (status == UF_OK)
        status = uf_part_make(work->panorama, edit, work->options.threads, part, report);
    if (status == UF_OK)
        status = uf_changes_find(part, work->options.tolerance, work->options.threads, &found, report);
    if (status == UF_OK)
        status = check_kinship(work, edit, part, &found, change, report);
    if (status != UF_OK)
        return name_edit(report, status, edit);
    part->edit = work->list.origin[number];
    note_change(part, &found, change);
    status = soften(work, &found, part, report);
    if (found.changed_px == 0)
        uf_part_clear(part);
    return status;
}

static void warn_of_edit(const Work *work, const UfEdit *edit, const UfPutbackChange *change,
                         UfReport *report)
{
    if (change->other_panorama)
        uf_warn(report,
                "%s: was taken out of another state of this panorama; it was compared with the panorama as "
                "it is now, "
                "so where that was changed meanwhile, the edit's older state came home",
                edit->name);
    if (uf_picture_has_alpha(work->panorama) && !uf_picture_has_alpha(edit->picture))
        uf_warn(report,
                "%s: has no transparency and the panorama has; nothing came home where the panorama is "
                "transparent",
                edit->name);
}

static void finish_changes(const Work *work, const UfEdit *edits, size_t count, UfReport *report)
{
    for (size_t i = 0; i < count; i++) {
        UfPutbackChange *change = &work->changes[i];
        double pixels =
            (double)uf_picture_width_px(edits[i].picture) * (double)uf_picture_height_px(edits[i].picture);
        change->changed_percent = 100 * (double)change->changed_px / pixels;
        if (change->changed)
            warn_of_edit(work, &edits[i], change, report);
    }
}

static void warn_of_contradictions(const UfLaid *laid, UfReport *report)
{
    if (laid->contradictions_px > 0)
        uf_warn(report,
                "two of the edits changed the same place in different ways (%zu pixels of the panorama); "
                "there the one "
                "named later was taken",
                laid->contradictions_px);
}

static UfStatus bring_home(Work *work, UfTouched *touched, UfLaid *laid, UfReport *report)
{
    UfStatus status = UF_OK;
    work->parts = uf_alloc_zero(work->list.count, sizeof *work->parts);
    if (work->parts == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; status == UF_OK && i < work->list.count; i++)
        status = prepare_part(work, i, report);
    if (status == UF_OK)
        status = uf_lay(work->panorama, work->parts, work->list.count, work->options.threads, touched, laid,
                        report);
    if (status == UF_OK)
        warn_of_contradictions(laid, report);
    return status;
}

UfStatus uf_putback(UfPicture *panorama, const UfEdit *edits, size_t count, const UfPutbackOptions *options,
                    UfTouched *touched, UfPutbackChange *changes, UfPutbackResult *result, UfReport *report)
{
    const UfPutbackOptions defaults = {.feather_px = -1, .tolerance = -1};
    Work work = {.panorama = panorama, .options = options != NULL ? *options : defaults};
    UfLaid laid = {0};
    UfStatus status = check(panorama, &work.options, report);
    if (status == UF_OK && count == 0)
        status = uf_fail(report, UF_ERROR_ARGUMENT, "there is no edited picture to put back");
    if (status == UF_OK)
        status = uf_edit_list_make(edits, count, &work.list, report);
    if (status != UF_OK)
        return status;
    work.changes = uf_alloc_zero(count, sizeof *work.changes);
    if (work.changes == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    status = bring_home(&work, touched, &laid, report);
    if (status != UF_OK)
        goto cleanup;
    finish_changes(&work, edits, count, report);
    if (changes != NULL)
        memcpy(changes, work.changes, count * sizeof *changes);
    if (result != NULL)
        *result = (UfPutbackResult){.changed_px = laid.changed_px,
                                    .top_px = laid.top_px,
                                    .bottom_px = laid.bottom_px,
                                    .sphere_percent = laid.sphere_percent};
cleanup:
    for (size_t i = 0; work.parts != NULL && i < work.list.count; i++)
        uf_part_clear(&work.parts[i]);
    free(work.parts);
    free(work.changes);
    uf_edit_list_clear(&work.list);
    return status;
}
