/* The museum's emblem, drawn with strokes. */
#ifndef SCENE_EMBLEM_H
#define SCENE_EMBLEM_H

#include <stddef.h>
#include <stdint.h>

/* Fills size x size RGBA pixels (sRGB, alpha not premultiplied). */
void emblem_draw(uint8_t *pixels, size_t size);

#endif
