/*
 * Which panorama is it? 128 bits of XXH3 over size, channels, sample type and the rows that a picture looks
 * at.
 *
 * Not a cryptographic hash: it tells pictures apart that nobody made alike on purpose. Samples go in as they
 * lie in memory, so 16-bit and float pictures have other fingerprints on a big-endian machine.
 */
#define XXH_INLINE_ALL    /* the header holds the whole hash: nothing to link, and a state that needs no     \
                             allocation */
#include <xxhash.h>

#include "home/home.h"

static void hash_number(XXH3_state_t *state, uint64_t number)
{
    uint8_t bytes[8];
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (uint8_t)(number >> (8 * i));
    (void)XXH3_128bits_update(state, bytes, sizeof bytes);
}

UfFingerprint uf_picture_fingerprint(const UfPicture *picture, size_t first_px, size_t end_px)
{
    XXH3_state_t state;
    (void)XXH3_128bits_reset(&state);
    size_t width_px = uf_picture_width_px(picture);
    size_t height_px = uf_picture_height_px(picture);
    size_t channels = uf_picture_channels(picture);
    UfSample sample = uf_picture_sample(picture);
    hash_number(&state, width_px);
    hash_number(&state, height_px);
    hash_number(&state, channels);
    hash_number(&state, (uint64_t)sample);
    for (size_t y = first_px; y < (end_px > 0 ? end_px : height_px); y++)
        (void)XXH3_128bits_update(&state, uf_picture_row_const(picture, y),
                                  width_px * channels * (size_t)sample);
    XXH128_canonical_t canonical;
    XXH128_canonicalFromHash(&canonical, XXH3_128bits_digest(&state));
    UfFingerprint out;
    _Static_assert(sizeof canonical.digest == sizeof out.bytes, "128 bits");
    memcpy(out.bytes, canonical.digest, sizeof out.bytes);
    return out;
}

bool uf_fingerprint_same(const UfFingerprint *a, const UfFingerprint *b)
{
    return memcmp(a->bytes, b->bytes, sizeof a->bytes) == 0;
}
