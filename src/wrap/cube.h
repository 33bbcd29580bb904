/*
 * Six faces made ready to be sampled as one sphere.
 *
 * The border of a face lies in the face's own plane, beyond its edge: each of its pixels is looked up in the
 * neighbour that shows its direction. The neighbours' own borders are needed for that near their edges, so
 * the borders begin as the edge pixels drawn out and are looked up twice; what is left of the first guess is
 * the square of its small weight. Beside a missing face the edge stays drawn out.
 */
#ifndef UF_WRAP_CUBE_H
#define UF_WRAP_CUBE_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

typedef struct UfCube {
    UfPicture *faces[UF_FACE_COUNT]; /* with their borders; NULL where one is missing */
    size_t side_px;                  /* without borders */
    size_t border_px;
} UfCube;

/* All faces that are there have the same size, sample type and channels. The caller clears it, also after
 * failure. */
UfStatus uf_cube_create(const UfPicture *const faces[UF_FACE_COUNT], size_t border_px, UfCube *out,
                        UfReport *report);
void uf_cube_clear(UfCube *cube);
/* A face with its border as a view. */
UfView uf_cube_view(const UfCube *cube, UfFace face);

/*
 * Faces that differ in depth, alpha or profile, made alike: new pictures for those that had to change, NULL
 * for those that serve as they are and for missing ones. The caller frees them, also after failure.
 */
UfStatus uf_faces_alike(const UfPicture *const faces[UF_FACE_COUNT], UfPicture *out[UF_FACE_COUNT],
                        UfReport *report);

#endif
