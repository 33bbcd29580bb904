/* Checked allocation. */
#include "base/memory.h"

#include <stdint.h>
#include <sys/mman.h>
#include <unistd.h>

bool uf_product(size_t a, size_t b, size_t *out)
{
    if (b != 0 && a > SIZE_MAX / b)
        return false;
    *out = a * b;
    return true;
}

void *uf_alloc(size_t count, size_t size_bytes)
{
    size_t total;
    if (!uf_product(count, size_bytes, &total) || total == 0)
        return NULL;
    return malloc(total);
}

void *uf_alloc_zero(size_t count, size_t size_bytes)
{
    size_t total;
    if (!uf_product(count, size_bytes, &total) || total == 0)
        return NULL;
    return calloc(1, total);
}

void *uf_realloc(void *old, size_t count, size_t size_bytes)
{
    size_t total;
    if (!uf_product(count, size_bytes, &total) || total == 0)
        return NULL;
    return realloc(old, total);
}

void *uf_duplicate(const void *data, size_t size_bytes)
{
    void *copy = uf_alloc(size_bytes, 1);
    if (copy != NULL)
        memcpy(copy, data, size_bytes);
    return copy;
}

/* Advice: where it is not taken, nothing is lost. */
void uf_bring_pages(void *data, size_t size_bytes)
{
#ifdef MADV_POPULATE_WRITE
    const size_t page = (size_t)sysconf(_SC_PAGESIZE), before = (uintptr_t)data % page;
    (void)madvise((uint8_t *)data - before, size_bytes + before, MADV_POPULATE_WRITE);
#else
    (void)data;
    (void)size_bytes;
#endif
}

#define LARGE_PAGE_BYTES 2097152u

/* Advice: where it is not taken, nothing is lost. */
void uf_prefer_large_pages(void *data, size_t size_bytes)
{
#ifdef MADV_HUGEPAGE
    const size_t before = (LARGE_PAGE_BYTES - (uintptr_t)data % LARGE_PAGE_BYTES) % LARGE_PAGE_BYTES;
    if (size_bytes >= before + LARGE_PAGE_BYTES)
        (void)madvise((uint8_t *)data + before, (size_bytes - before) / LARGE_PAGE_BYTES * LARGE_PAGE_BYTES,
                      MADV_HUGEPAGE);
#else
    (void)data;
    (void)size_bytes;
#endif
}

size_t uf_default_memory_limit(void)
{
    long pages = sysconf(_SC_PHYS_PAGES);
    long page_bytes = sysconf(_SC_PAGESIZE);
    size_t total;
    if (pages <= 0 || page_bytes <= 0 || !uf_product((size_t)pages, (size_t)page_bytes, &total))
        return SIZE_MAX / 4;
    return total / 4 * 3;
}
