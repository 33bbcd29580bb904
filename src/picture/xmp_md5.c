/*
 * MD5 (RFC 1321), for the GUID of extended XMP (XMP Specification Part 3, 1.1.3.1). It protects nothing here;
 * these few lines are lighter than a cryptographic library among the dependencies.
 */
#include <math.h>

#include "picture/xmp_internal.h"

static uint32_t rotate_left(uint32_t value, unsigned bits)
{
    return value << bits | value >> (32 - bits);
}

static void add_block(uint32_t state[4], const uint8_t *block)
{
    static const unsigned shifts[4][4] = {{7, 12, 17, 22}, {5, 9, 14, 20}, {4, 11, 16, 23}, {6, 10, 15, 21}};
    uint32_t a = state[0], b = state[1], c = state[2], d = state[3];
    for (unsigned i = 0; i < 64; i++) {
        uint32_t f;
        unsigned k;
        if (i < 16) {
            f = (b & c) | (~b & d);
            k = i;
        } else if (i < 32) {
            f = (b & d) | (c & ~d);
            k = (5 * i + 1) % 16;
        } else if (i < 48) {
            f = b ^ c ^ d;
            k = (3 * i + 5) % 16;
        } else {
            f = c ^ (b | ~d);
            k = 7 * i % 16;
        }
        const uint8_t *at = block + (size_t)4 * k;
        uint32_t word =
            (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
        uint32_t sine = (uint32_t)(fabs(sin(i + 1.0)) * 4294967296.0); /* RFC 1321, 3.4 */
        uint32_t next = b + rotate_left(a + f + word + sine, shifts[i / 16][i % 4]);
        a = d;
        d = c;
        c = b;
        b = next;
    }
    state[0] += a;
    state[1] += b;
    state[2] += c;
    state[3] += d;
}

void uf_md5_hex(const uint8_t *data, size_t size_bytes, char hex[33])
{
    uint32_t state[4] = {0x67452301u, 0xEFCDAB89u, 0x98BADCFEu, 0x10325476u};
    size_t whole = size_bytes / 64 * 64, rest = size_bytes - whole;
    for (size_t at = 0; at < whole; at += 64)
        add_block(state, data + at);
    uint8_t tail[128] = {0};
    if (rest > 0)
        memcpy(tail, data + whole, rest);
    tail[rest] = 0x80;
    size_t tail_bytes = rest < 56 ? 64 : 128;
    for (size_t i = 0; i < 8; i++)
        tail[tail_bytes - 8 + i] = (uint8_t)((uint64_t)size_bytes * 8 >> 8 * i);
    for (size_t at = 0; at < tail_bytes; at += 64)
        add_block(state, tail + at);
    for (size_t i = 0; i < 16; i++)
        (void)snprintf(hex + 2 * i, 3, "%02X", (unsigned)(state[i / 4] >> 8 * (i % 4) & 0xFF));
}
