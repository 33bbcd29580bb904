/* Faces with borders from their neighbours. */
#include "wrap/cube.h"

#include "base/report.h"
#include "picture/colour.h"
#include "remap/kernels.h"

#define PASSES 2

UfView uf_cube_view(const UfCube *cube, UfFace face)
{
    UfView view = uf_view_face(face, cube->side_px);
    view.centre_x_px += (double)cube->border_px;
    view.centre_y_px += (double)cube->border_px;
    view.width_px += 2 * cube->border_px;
    view.height_px += 2 * cube->border_px;
    return view;
}

static size_t clamped(size_t at, size_t border_px, size_t side_px)
{
    if (at < border_px)
        return 0;
    return at - border_px < side_px ? at - border_px : side_px - 1;
}

/* The face in the middle, its edge pixels drawn out round it. */
static void draw_out(const UfPicture *face, size_t border_px, UfPicture *out)
{
    size_t side_px = uf_picture_width_px(face);
    size_t pixel_bytes = uf_picture_channels(face) * (size_t)uf_picture_sample(face);
    for (size_t y = 0; y < side_px + 2 * border_px; y++) {
        const uint8_t *from = uf_picture_row_const(face, clamped(y, border_px, side_px));
        uint8_t *to = uf_picture_row(out, y);
        memcpy(to + border_px * pixel_bytes, from, side_px * pixel_bytes);
        for (size_t x = 0; x < border_px; x++) {
            memcpy(to + x * pixel_bytes, from, pixel_bytes);
            memcpy(to + (border_px + side_px + x) * pixel_bytes, from + (side_px - 1) * pixel_bytes,
                   pixel_bytes);
        }
    }
}

typedef struct Edge {
    const UfCube *cube;
    UfView view;
    UfSampleRun *run;
    UfSource sources[UF_FACE_COUNT];
    size_t pixel_bytes;
} Edge;

/* One pixel of a border from the face that shows it; it stays where that one is missing. */
static void look_up(const Edge *edge, size_t x_px, size_t y_px, uint8_t *pixel)
{
    UfDirection direction;
    UfPlanePoint point;
    if (!uf_view_direction(&edge->view, (UfPixelPoint){(double)x_px + 0.5, (double)y_px + 0.5}, &direction))
        return;
    UfFace face = uf_face_of_direction(direction, &point);
    if (edge->cube->faces[face] == NULL)
        return;
    double half_px = (double)edge->cube->side_px / 2;
    double u_px = (double)edge->cube->border_px + (1 + point.x) * half_px;
    double v_px = (double)edge->cube->border_px + (1 - point.y) * half_px;
    edge->run(&edge->sources[face], &u_px, &v_px, 1, pixel);
}

static void fill_border(const Edge *edge, UfPicture *face)
{
    size_t border_px = edge->cube->border_px;
    size_t whole_px = edge->cube->side_px + 2 * border_px;
    for (size_t y = 0; y < whole_px; y++) {
        uint8_t *row = uf_picture_row(face, y);
        bool beyond = y < border_px || y >= whole_px - border_px;
        for (size_t x = 0; x < whole_px; x++) {
            if (!beyond && x == border_px)
                x = whole_px - border_px;
            look_up(edge, x, y, row + x * edge->pixel_bytes);
        }
    }
}

static void fill_borders(UfCube *cube, const UfPicture *like)
{
    UfKernels kernels;
    Edge edge = {.cube = cube};
    uf_kernels_init(&kernels, uf_picture_sample(like), uf_picture_channels(like), false, 0);
    edge.run = kernels.bicubic;
    edge.pixel_bytes = uf_picture_channels(like) * (size_t)uf_picture_sample(like);
    for (unsigned face = 0; face < UF_FACE_COUNT; face++)
        if (cube->faces[face] != NULL)
            edge.sources[face] = uf_source_of_picture(cube->faces[face], NULL);
    for (int pass = 0; pass < PASSES; pass++)
        for (unsigned face = 0; face < UF_FACE_COUNT; face++)
            if (cube->faces[face] != NULL) {
                edge.view = uf_cube_view(cube, (UfFace)face);
                fill_border(&edge, cube->faces[face]);
            }
}

static UfStatus enlarge(const UfPicture *face, size_t border_px, UfPicture **out, UfReport *report)
{
    size_t whole_px = uf_picture_width_px(face) + 2 * border_px;
    UfStatus status = uf_picture_create(whole_px, whole_px, uf_picture_channels(face),
                                        uf_picture_sample(face), out, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(face, *out, report);
    if (status == UF_OK)
        draw_out(face, border_px, *out);
    return status;
}

UfStatus uf_cube_create(const UfPicture *const faces[UF_FACE_COUNT], size_t border_px, UfCube *out,
                        UfReport *report)
{
    const UfPicture *any = NULL;
    UfStatus status = UF_OK;
    *out = (UfCube){.border_px = border_px};
    for (unsigned face = 0; face < UF_FACE_COUNT && status == UF_OK; face++)
        if (faces[face] != NULL) {
            any = faces[face];
            status = enlarge(any, border_px, &out->faces[face], report);
        }
    if (status != UF_OK || any == NULL)
        return status;
    out->side_px = uf_picture_width_px(any);
    fill_borders(out, any);
    return UF_OK;
}

void uf_cube_clear(UfCube *cube)
{
    for (unsigned face = 0; face < UF_FACE_COUNT; face++)
        uf_picture_free(&cube->faces[face]);
}
