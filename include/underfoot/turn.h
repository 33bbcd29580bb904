/*
 * Turning a panorama: what lay in some direction comes to the centre.
 *
 * A turn is a rotation R: the new picture shows in direction d what the old one showed in R d. With
 * R = uf_rotation_from_angles(yaw, pitch, roll) what lay at (yaw, pitch) comes to the centre.
 */
#ifndef UNDERFOOT_TURN_H
#define UNDERFOOT_TURN_H

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/remap.h>
#include <underfoot/sphere.h>

UF_API_BEGIN

/*
 * True when R is a turn about the vertical axis by whole pixels (to a thousandth of a pixel) of a panorama
 * width_px wide: then no sample has to be computed, column x of the new picture is column x + *shift_px of
 * the old one, 0 <= *shift_px < width_px.
 */
bool uf_turn_is_shift(const UfRotation *turn, size_t width_px, size_t *shift_px);

/*
 * A new picture, turned, with all metadata; where the Photo Sphere fields of the old one state a pose, the
 * new one states the pose that follows from it (uf_turn_pose). A shift moves samples; everything else is
 * resampled as `options` say (NULL: UF_SAMPLING_SHARP on all cores; with_alpha is not heeded). All metadata
 * are there when the first rows of the new picture are told of (options->rows). The panorama must be 2:1 and
 * of even width, otherwise UF_ERROR_ARGUMENT. On success the caller owns *out.
 */
UfStatus uf_turn(const UfPicture *panorama, const UfRotation *turn, bool levels,
                 const UfRemapOptions *options, UfPicture **out, UfReport *report);

/*
 * The pose after a turn. Heading, pitch and roll are the angles of the rotation P that leads from the picture
 * to the world; afterwards it is P R. What was not stated stays unstated: heading, and pitch and roll
 * together. With `levels` the turn has brought the picture upright: pitch and roll become 0. True when
 * anything is stated and therefore changed.
 */
bool uf_turn_pose(UfPhotoSphere *pose, const UfRotation *turn, bool levels);

/*
 * Turns a JPEG file into another by moving its blocks, without loss; shift_px a multiple of what
 * uf_picture_shift_step says. The pose follows.
 */
UfStatus uf_turn_blocks(const char *source_path, size_t shift_px, const char *path, bool overwrite,
                        UfReport *report);

UF_API_END
#endif
