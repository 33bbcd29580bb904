/* Checked allocation: sizes are products, and products are checked. */
#ifndef UF_BASE_MEMORY_H
#define UF_BASE_MEMORY_H

#include <stdbool.h>
#include <stddef.h>

#include "base/banned.h"

/* *out = a * b; false (and *out untouched) on overflow. */
bool uf_product(size_t a, size_t b, size_t *out);
/* count * size bytes, not cleared / cleared; NULL on overflow, on no memory and for 0 bytes. Free with
 * free(). */
void *uf_alloc(size_t count, size_t size_bytes);
void *uf_alloc_zero(size_t count, size_t size_bytes);
/* Resizes; on failure NULL, and `old` stays valid. */
void *uf_realloc(void *old, size_t count, size_t size_bytes);
/* A copy of `size_bytes` bytes; NULL on no memory and for 0 bytes. */
void *uf_duplicate(const void *data, size_t size_bytes);
/* For a part of a block that is written all over next: brings its pages in one call, where the system can. */
void uf_bring_pages(void *data, size_t size_bytes);
/* For a block that will be written all over: asks for the system's large pages inside it, where the system
 * has some. What a page's first touch costs is then paid once in 2 MiB instead of once in 4 KiB. */
void uf_prefer_large_pages(void *data, size_t size_bytes);
/* Three quarters of the machine's memory: what max_memory_bytes = 0 means. */
size_t uf_default_memory_limit(void);

#endif
