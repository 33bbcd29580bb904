/* Blocks in a list that are freed together. */
#include "tour/arena.h"

#include <stdarg.h>

#include "base/memory.h"

void *uf_arena_take(UfArena *arena, void *block)
{
    if (block == NULL)
        return NULL;
    if (arena->count == arena->room) {
        size_t room = arena->room == 0 ? 64 : 2 * arena->room;
        void **grown = uf_realloc(arena->blocks, room, sizeof *grown);
        if (grown == NULL) {
            free(block);
            return NULL;
        }
        arena->blocks = grown;
        arena->room = room;
    }
    arena->blocks[arena->count++] = block;
    return block;
}

void *uf_arena_alloc(UfArena *arena, size_t count, size_t size_bytes)
{
    return uf_arena_take(arena, uf_alloc_zero(count == 0 ? 1 : count, size_bytes));
}

char *uf_arena_print(UfArena *arena, const char *format, ...)
{
    char *text = NULL;
    va_list arguments;
    va_start(arguments, format);
    int length = vasprintf(&text, format, arguments);
    va_end(arguments);
    return length < 0 ? NULL : uf_arena_take(arena, text);
}

void uf_arena_clear(UfArena *arena)
{
    for (size_t i = 0; i < arena->count; i++)
        free(arena->blocks[i]);
    free(arena->blocks);
    *arena = (UfArena){0};
}

/* Room doubles at powers of two, so that a growing array costs twice its size. */
void *uf_arena_grow(UfArena *arena, void *array, size_t *count, size_t size_bytes)
{
    void *old;
    memcpy(&old, array, sizeof old);
    size_t used = *count;
    if ((used & (used - 1)) == 0) {
        void *grown = uf_arena_alloc(arena, used == 0 ? 1 : 2 * used, size_bytes);
        if (grown == NULL)
            return NULL;
        if (used > 0)
            memcpy(grown, old, used * size_bytes);
        memcpy(array, &grown, sizeof grown);
        old = grown;
    }
    *count = used + 1;
    return (char *)old + used * size_bytes;
}
