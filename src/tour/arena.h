/* Strings and arrays that live as long as a tour: everything is freed at once. */
#ifndef UF_TOUR_ARENA_H
#define UF_TOUR_ARENA_H

#include <stddef.h>

#include "base/banned.h"

typedef struct UfArena {
    void **blocks;
    size_t count, room;
} UfArena;

/* Cleared memory; NULL without memory. */
void *uf_arena_alloc(UfArena *arena, size_t count, size_t size_bytes);
char *uf_arena_print(UfArena *arena, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Takes a malloc'ed block over; on failure the block is freed and the result NULL. NULL stays NULL. */
void *uf_arena_take(UfArena *arena, void *block);
void uf_arena_clear(UfArena *arena);

/*
 * One more element at the end of an array that grows: a pointer to it, cleared, or NULL. `array` is the
 * array's pointer variable; what it pointed to stays in the arena.
 */
void *uf_arena_grow(UfArena *arena, void *array, size_t *count, size_t size_bytes);

#endif
