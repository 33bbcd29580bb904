/* Pictures out of a panorama: always the same samples for the same address. */
#include "base/memory.h"
#include "home/home.h"

static UfStatus render(const UfHome *home, const UfView *view, const UfPicture *panorama, bool with_alpha,
                       int threads, const UfRemapRows *rows, UfPicture **out, UfReport *report)
{
    UfView source = uf_view_equirectangular(uf_picture_width_px(panorama));
    UfRemapOptions options = {
        .sampling = home->sampling, .threads = threads, .with_alpha = with_alpha, .rows = rows};
    return uf_remap(panorama, &source, view, &options, out, report);
}

static void paste(const UfPicture *face, UfPicture *sheet, size_t x_px, size_t y_px)
{
    size_t pixel_bytes = uf_picture_channels(face) * (size_t)uf_picture_sample(face);
    size_t side_px = uf_picture_width_px(face);
    for (size_t y = 0; y < side_px; y++)
        memcpy((uint8_t *)uf_picture_row(sheet, y_px + y) + x_px * pixel_bytes, uf_picture_row_const(face, y),
               side_px * pixel_bytes);
}

static UfStatus paste_face(const UfHome *home, UfFace which, const UfPicture *panorama, int threads,
                           const UfRemapRows *rows, UfPicture *sheet, UfReport *report)
{
    UfPicture *face = NULL;
    size_t x_px;
    size_t y_px;
    size_t across;
    size_t down;
    uf_home_sheet_size(home->kind, &across, &down);
    UfView view = uf_view_face(which, home->width_px / across);
    UfStatus status =
        render(home, &view, panorama, home->kind == UF_HOME_CROSS, threads, rows, &face, report);
    if (status != UF_OK)
        return status;
    uf_home_sheet_place(home->kind, which, view.width_px, &x_px, &y_px);
    paste(face, sheet, x_px, y_px);
    if (which == UF_FACE_FRONT) {
        UfBlob icc = uf_picture_icc(face);
        status = uf_picture_set_icc(sheet, icc.data, icc.size_bytes, report);
    }
    uf_picture_free(&face);
    return status;
}

static UfStatus extract_sheet(const UfHome *home, const UfPicture *panorama, int threads,
                              const UfRemapRows *rows, UfPicture **out, UfReport *report)
{
    UfPicture *sheet = NULL;
    UfRemapRows source_alone = {0};
    if (rows != NULL)
        source_alone = (UfRemapRows){.source = rows->source, .source_data = rows->source_data};
    size_t channels = uf_picture_channels(panorama);
    if (home->kind == UF_HOME_CROSS && !uf_picture_has_alpha(panorama))
        channels++;
    UfStatus status = uf_picture_create(home->width_px, home->height_px, channels,
                                        uf_picture_sample(panorama), &sheet, report);
    for (unsigned face = 0; face < UF_FACE_COUNT && status == UF_OK; face++)
        status = paste_face(home, (UfFace)face, panorama, threads, &source_alone, sheet, report);
    if (status == UF_OK)
        *out = sheet;
    else
        uf_picture_free(&sheet);
    return status;
}

UfStatus uf_home_extract(const UfHome *home, const UfPicture *panorama, int threads, const UfRemapRows *rows,
                         UfPicture **out, UfReport *report)
{
    UfView view;
    UfStatus status = uf_home_check(home, report);
    if (status != UF_OK)
        return status;
    if (uf_picture_width_px(panorama) != home->panorama_width_px)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the panorama is %zu pixels wide, and the address is that of one %zu wide",
                       uf_picture_width_px(panorama), home->panorama_width_px);
    if (home->kind == UF_HOME_STRIP || home->kind == UF_HOME_CROSS)
        return extract_sheet(home, panorama, threads, rows, out, report);
    status = uf_home_view(home, &view, report);
    if (status == UF_OK)
        status = render(home, &view, panorama, false, threads, rows, out, report);
    return status;
}

UfStatus uf_home_dress(const UfHome *home, const UfPicture *panorama, UfPicture *picture, UfReport *report)
{
    UfStatus status = uf_picture_copy_metadata(panorama, picture, report);
    if (status == UF_OK)
        status = uf_picture_drop_photo_sphere(picture, report);
    if (status == UF_OK)
        status = uf_home_set(picture, home, report);
    return status;
}
