/*
 * What tells files and orders apart: 128 bits of XXH3. Nobody attacks it; it runs at the speed of memory.
 */
#ifndef UF_TOUR_DIGEST_H
#define UF_TOUR_DIGEST_H

#include <stdbool.h>
#include <stdint.h>

#include <underfoot/status.h>

typedef struct UfDigest {
    uint8_t bytes[16];
} UfDigest;

#define UF_DIGEST_TEXT 33 /* 32 hexadecimal digits and a zero byte */

bool uf_digest_same(const UfDigest *a, const UfDigest *b);
void uf_digest_text(const UfDigest *digest, char text[UF_DIGEST_TEXT]);
bool uf_digest_from_text(const char *text, UfDigest *out);

UfDigest uf_digest_bytes(const void *data, size_t size_bytes);
/* Of a regular file's contents, and their size. A symbolic link is followed. */
UfStatus uf_digest_file(const char *path, UfDigest *out, uint64_t *size_bytes, UfReport *report);

/* A digest of several texts, told apart by their ends. */
typedef struct UfDigestTexts {
    char *text;
    size_t used;
    bool failed;
} UfDigestTexts;
void uf_digest_add(UfDigestTexts *texts, const char *text);
/* Frees the texts; false when there was no memory. */
bool uf_digest_end(UfDigestTexts *texts, UfDigest *out);

#endif
