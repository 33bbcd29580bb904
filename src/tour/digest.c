/* XXH3-128 (libxxhash) of files, bytes and lists of texts. */
#define XXH_INLINE_ALL /* a state that needs no allocation, and nothing to link */
#include <xxhash.h>

#include "tour/digest.h"

#include "base/file.h"
#include "base/memory.h"

#define CHUNK_BYTES ((size_t)1 << 18)

static UfDigest canonical(XXH128_hash_t hash)
{
    XXH128_canonical_t bytes;
    XXH128_canonicalFromHash(&bytes, hash);
    UfDigest out;
    _Static_assert(sizeof bytes.digest == sizeof out.bytes, "128 bits");
    memcpy(out.bytes, bytes.digest, sizeof out.bytes);
    return out;
}

bool uf_digest_same(const UfDigest *a, const UfDigest *b)
{
    return memcmp(a->bytes, b->bytes, sizeof a->bytes) == 0;
}

void uf_digest_text(const UfDigest *digest, char text[UF_DIGEST_TEXT])
{
    for (size_t i = 0; i < sizeof digest->bytes; i++)
        snprintf(text + i * 2, 3, "%02x", digest->bytes[i]);
}

bool uf_digest_from_text(const char *text, UfDigest *out)
{
    const char *digits = "0123456789abcdef";
    UfDigest read = {{0}};
    if (strlen(text) != UF_DIGEST_TEXT - 1)
        return false;
    for (size_t i = 0; i < UF_DIGEST_TEXT - 1; i++) {
        const char *digit = strchr(digits, text[i]);
        if (digit == NULL)
            return false;
        read.bytes[i / 2] = (uint8_t)((unsigned)read.bytes[i / 2] << 4 | (unsigned)(digit - digits));
    }
    *out = read;
    return true;
}

UfDigest uf_digest_bytes(const void *data, size_t size_bytes)
{
    return canonical(XXH3_128bits(data, size_bytes));
}

UfStatus uf_digest_file(const char *path, UfDigest *out, uint64_t *size_bytes, UfReport *report)
{
    UfInput input;
    UfStatus status = uf_input_open(path, &input, report);
    if (status != UF_OK)
        return status;
    uint8_t *chunk = uf_alloc(CHUNK_BYTES, 1);
    XXH3_state_t state;
    (void)XXH3_128bits_reset(&state);
    uint64_t total = 0;
    size_t got = 0;
    while (chunk != NULL && (got = fread(chunk, 1, CHUNK_BYTES, input.stream)) > 0) {
        (void)XXH3_128bits_update(&state, chunk, got);
        total += got;
    }
    if (chunk == NULL)
        status = uf_fail_memory(report);
    else if (ferror(input.stream))
        status = uf_fail_errno(report, "cannot be read", path);
    free(chunk);
    uf_input_close(&input);
    if (status != UF_OK)
        return status;
    *out = canonical(XXH3_128bits_digest(&state));
    *size_bytes = total;
    return UF_OK;
}

void uf_digest_add(UfDigestTexts *texts, const char *text)
{
    size_t bytes = strlen(text) + 1;
    char *grown = texts->failed ? NULL : uf_realloc(texts->text, texts->used + bytes, 1);
    if (grown == NULL) {
        texts->failed = true;
        return;
    }
    memcpy(grown + texts->used, text, bytes);
    texts->text = grown;
    texts->used += bytes;
}

bool uf_digest_end(UfDigestTexts *texts, UfDigest *out)
{
    bool good = !texts->failed;
    if (good)
        *out = uf_digest_bytes(texts->text, texts->used);
    free(texts->text);
    *texts = (UfDigestTexts){0};
    return good;
}
