/* Cutting sheets. */
#include "putback/sheet.h"

#include "base/memory.h"
#include "base/report.h"
#include "picture/colour.h"

static bool is_sheet(const UfEdit *edit)
{
    return edit->home.kind == UF_HOME_STRIP || edit->home.kind == UF_HOME_CROSS;
}

void uf_edit_list_clear(UfEditList *list)
{
    for (size_t i = 0; list->owned != NULL && i < list->count; i++)
        uf_picture_free(&list->owned[i]);
    free(list->edits);
    free(list->origin);
    free(list->owned);
    *list = (UfEditList){0};
}

static UfStatus cut(const UfPicture *sheet, size_t x_px, size_t y_px, size_t side_px, UfPicture **out,
                    UfReport *report)
{
    UfPicture *face = NULL;
    UfSample sample = uf_picture_sample(sheet);
    size_t channels = uf_picture_channels(sheet), pixel_bytes = channels * (size_t)sample;
    UfStatus status = uf_picture_create(side_px, side_px, channels, sample, &face, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(sheet, face, report);
    if (status != UF_OK) {
        uf_picture_free(&face);
        return status;
    }
    for (size_t y = 0; y < side_px; y++) {
        const uint8_t *row = uf_picture_row_const(sheet, y_px + y);
        memcpy(uf_picture_row(face, y), row + x_px * pixel_bytes, side_px * pixel_bytes);
    }
    *out = face;
    return UF_OK;
}

static UfStatus add_sheet(UfEditList *list, const UfEdit *edit, size_t origin, UfReport *report)
{
    size_t across, down;
    size_t width = uf_picture_width_px(edit->picture), height = uf_picture_height_px(edit->picture);
    uf_home_sheet_size(edit->home.kind, &across, &down);
    size_t side = width / across;
    if (side * across != width || side * down != height || side == 0)
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "%s: is %zu x %zu pixels; a %s of six faces is %zu faces wide and %zu high, so its sides must "
            "be those multiples of one whole number; save it at the size it was taken out at, %zu x %zu",
            edit->name, width, height, uf_home_kind_name(edit->home.kind), across, down, edit->home.width_px,
            edit->home.height_px);
    for (int face = 0; face < UF_FACE_COUNT; face++) {
        size_t x, y, at = list->count;
        uf_home_sheet_place(edit->home.kind, (UfFace)face, side, &x, &y);
        UfStatus status = cut(edit->picture, x, y, side, &list->owned[at], report);
        if (status != UF_OK)
            return status;
        list->edits[at] = *edit;
        list->edits[at].picture = list->owned[at];
        list->edits[at].home.kind = UF_HOME_FACE;
        list->edits[at].home.face = (UfFace)face;
        list->edits[at].home.width_px = list->edits[at].home.height_px = edit->home.width_px / across;
        list->origin[at] = origin;
        list->count++;
    }
    return UF_OK;
}

UfStatus uf_edit_list_make(const UfEdit *edits, size_t count, UfEditList *out, UfReport *report)
{
    UfEditList list = {0};
    size_t room = count * UF_FACE_COUNT;
    list.edits = uf_alloc_zero(room, sizeof *list.edits);
    list.origin = uf_alloc_zero(room, sizeof *list.origin);
    list.owned = uf_alloc_zero(room, sizeof(void *));
    UfStatus status = UF_OK;
    if (list.edits == NULL || list.origin == NULL || list.owned == NULL) {
        uf_edit_list_clear(&list);
        return uf_fail_memory(report);
    }
    for (size_t i = 0; status == UF_OK && i < count; i++) {
        if (is_sheet(&edits[i])) {
            status = add_sheet(&list, &edits[i], i, report);
            continue;
        }
        list.edits[list.count] = edits[i];
        list.origin[list.count++] = i;
    }
    if (status == UF_OK)
        *out = list;
    else
        uf_edit_list_clear(&list);
    return status;
}
