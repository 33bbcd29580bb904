/*
 * Transfer curves: from stored samples to linear light and back.
 *
 * A curve is held as a table over the 65536 codes of 16 bits; floats interpolate in it, and the way back
 * searches it, so that both directions are inverses of each other. Sources: IEC 61966-2-1 (sRGB);
 * ICC.1:2010, 10.5 curveType (values between entries are interpolated linearly).
 */
#include <math.h>
#include <pthread.h>
#include <string.h>

#include "picture/colour.h"
#include "picture/colour_profile.h"

#include "base/cpu.h"
#include "base/memory.h"
#include "picture/picture_internal.h"

#define CODES   65536u
#define BUCKETS 4096u

/* Pieces of the way back: each octave of light below 1 in PIECES of equal width, as a float's bits have them.
 */
#define OCTAVES    48
#define PIECE_BITS 7
#define PIECES     (OCTAVES << PIECE_BITS)
#define TAIL_BITS  (23 - PIECE_BITS) /* what is left of a float's bits */
#define DIMMEST    0x1p-48F

/* A straight line from where a piece begins to where the next one does. */
typedef struct Piece {
    float at, step;
} Piece;

typedef enum Kind { KIND_LINEAR, KIND_SRGB, KIND_TABLE } Kind;

struct UfTransfer {
    Kind kind;
    float exponent; /* above 1 a tabulated curve goes on as value^exponent, with the slope that it has at 1 */
    float u8[256];
    float u16[CODES];
    uint32_t bucket[BUCKETS + 1]; /* first code whose linear value is >= i/BUCKETS */
    Piece stored[PIECES + 1];     /* the stored values; the last piece is that of 1 alone */
};

static double srgb_to_linear(double value)
{
    return value <= 0.04045 ? value / 12.92 : pow((value + 0.055) / 1.055, 2.4);
}

static double srgb_from_linear(double value)
{
    return value <= 0.0031308 ? value * 12.92 : 1.055 * pow(value, 1 / 2.4) - 0.055;
}

static void fill_srgb(float *table)
{
    for (size_t i = 0; i < CODES; i++)
        table[i] = (float)srgb_to_linear((double)i / (CODES - 1));
}

/* lcms2 rounds what it reads from a table to 16 bits, too coarse in the shadows: interpolate here. */
static void fill_from_curve(const cmsToneCurve *curve, float *table)
{
    cmsUInt32Number count = cmsGetToneCurveEstimatedTableEntries(curve);
    const cmsUInt16Number *entries = cmsGetToneCurveEstimatedTable(curve);
    bool tabulated = cmsGetToneCurveParametricType(curve) == 0 && count >= 2;
    for (size_t i = 0; i < CODES; i++) {
        double value = (double)i / (CODES - 1);
        if (!tabulated) {
            table[i] = cmsEvalToneCurveFloat(curve, (cmsFloat32Number)value);
            continue;
        }
        double at = value * (count - 1);
        size_t k = at >= count - 1 ? count - 2 : (size_t)at;
        table[i] = (float)((entries[k] + (at - (double)k) * (entries[k + 1] - entries[k])) / 65535.0);
    }
}

/* For profiles that hold tables of colours: the luminance of equal channels. */
static bool fill_from_luminance(cmsHPROFILE profile, bool grey, float *table)
{
    bool done = false;
    float *device = uf_alloc(CODES, 3 * sizeof *device);
    float *xyz = uf_alloc(CODES, 3 * sizeof *xyz);
    cmsHPROFILE pcs = cmsCreateXYZProfile();
    cmsHTRANSFORM transform = NULL;
    if (device == NULL || xyz == NULL || pcs == NULL)
        goto cleanup;
    transform = cmsCreateTransform(profile, grey ? TYPE_GRAY_FLT : TYPE_RGB_FLT, pcs, TYPE_XYZ_FLT,
                                   INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE | cmsFLAGS_NOCACHE);
    if (transform == NULL)
        goto cleanup;
    size_t channels = grey ? 1 : 3;
    for (size_t i = 0; i < CODES * channels; i++) {
        size_t code = i / channels;
        device[i] = (float)code / (float)(CODES - 1);
    }
    cmsDoTransform(transform, device, xyz, CODES);
    float black = xyz[1], white = xyz[3 * (CODES - 1) + 1];
    for (size_t i = 0; i < CODES; i++)
        table[i] = (xyz[3 * i + 1] - black) / (white - black);
    done = white > black;
cleanup:
    if (transform != NULL)
        cmsDeleteTransform(transform);
    if (pcs != NULL)
        cmsCloseProfile(pcs);
    free(device);
    free(xyz);
    return done;
}

static bool fill_from_profile(cmsHPROFILE profile, bool grey, float *table)
{
    cmsTagSignature tag = grey ? cmsSigGrayTRCTag : cmsSigGreenTRCTag;
    const cmsToneCurve *curve = cmsIsMatrixShaper(profile) ? cmsReadTag(profile, tag) : NULL;
    if (curve == NULL)
        return fill_from_luminance(profile, grey, table);
    fill_from_curve(curve, table);
    return true;
}

/* Makes the table rise from 0 to 1; false when it is no curve that could be turned back. */
static bool tidy(float *table)
{
    for (size_t i = 0; i < CODES; i++)
        if (!isfinite(table[i]))
            return false;
    float black = table[0], span = table[CODES - 1] - black;
    if (!(span > 0.01f))
        return false;
    for (size_t i = 0; i < CODES; i++) {
        table[i] = (table[i] - black) / span;
        if (i > 0 && table[i] < table[i - 1])
            table[i] = table[i - 1];
    }
    return true;
}

/* A curve within 2e-6 of a straight line is one. */
static bool is_straight(const float *table)
{
    for (size_t i = 0; i < CODES; i++)
        if (fabs((double)table[i] - (double)i / (CODES - 1)) > 2e-6)
            return false;
    return true;
}

/* The largest k with table[k] <= value, where that is none of the four next to the guess. */
static size_t bisect(const float *table, size_t low, size_t high, float value)
{
    while (high - low > 1) {
        size_t middle = (low + high) / 2;
        if (table[middle] <= value)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/*
 * The largest k with table[k] <= value, then the straight line to its neighbour; 0 <= value < 1. Within a
 * bucket a tone curve is nearly straight: k is looked for beside the place where the straight line has it,
 * without a branch that could be guessed wrong.
 */
static inline float table_from_linear(const UfTransfer *transfer, float value)
{
    const float *table = transfer->u16;
    float at = value * BUCKETS;
    size_t b = (size_t)at;
    size_t low = transfer->bucket[b], high = transfer->bucket[b + 1];
    low -= low > 0;
    size_t k = low + (size_t)((at - (float)b) * (float)(high - low));
    k -= k > 0;
    for (int i = 0; i < 3; i++)
        k += table[k + 1] <= value; /* the last is 1 */
    if (!(table[k] <= value && value < table[k + 1]))
        k = bisect(table, low, high, value);
    float part = (value - table[k]) / (table[k + 1] - table[k]);
    return ((float)k + part) / (float)(CODES - 1);
}

static inline uint32_t bits_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static inline float of_bits(uint32_t bits)
{
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void fill_stored(UfTransfer *transfer)
{
    Piece *const stored = transfer->stored;
    for (uint32_t i = 0; i < PIECES; i++)
        stored[i].at = table_from_linear(transfer, of_bits(bits_of(DIMMEST) + (i << TAIL_BITS)));
    stored[PIECES] = (Piece){1, 0};
    for (uint32_t i = 0; i < PIECES; i++)
        stored[i].step = stored[i + 1].at - stored[i].at;
}

static void finish(UfTransfer *transfer)
{
    const float *table = transfer->u16;
    for (size_t i = 0; i < 256; i++)
        transfer->u8[i] = table[i * 257];
    /* the slope over the last 1/64, in logarithms: exact for a pure power, and steady for a coarse table */
    size_t below = CODES - 1 - CODES / 64;
    double slope = log((double)table[below]) / log((double)below / (CODES - 1));
    transfer->exponent = isfinite(slope) && slope > 0.1 ? (float)slope : 1;
    uint32_t code = 0;
    for (uint32_t i = 0; i <= BUCKETS; i++) {
        while (code < CODES - 1 && table[code] < (float)i / BUCKETS)
            code++;
        transfer->bucket[i] = code;
    }
    fill_stored(transfer);
}

/* Made once and shared: a command asks for it again with every face. */
static UfTransfer srgb;
static pthread_once_t srgb_once = PTHREAD_ONCE_INIT;

static void make_srgb(void)
{
    srgb.kind = KIND_SRGB;
    fill_srgb(srgb.u16);
    finish(&srgb);
}

UfStatus uf_transfer_create(const UfPicture *picture, UfTransfer **out, UfReport *report)
{
    UfTransfer *transfer = uf_alloc_zero(1, sizeof *transfer);
    if (transfer == NULL)
        return uf_fail_memory(report);
    bool no_profile = picture->metadata.icc.size_bytes == 0;
    transfer->kind = no_profile && picture->sample == UF_SAMPLE_F32 ? KIND_LINEAR : KIND_SRGB;
    cmsHPROFILE profile = uf_profile_open(picture, report);
    if (profile != NULL) {
        if (!fill_from_profile(profile, picture->channels <= 2, transfer->u16) || !tidy(transfer->u16))
            uf_warn(report, "the colour profile's tone curve makes no sense; sRGB's is used");
        else
            transfer->kind = is_straight(transfer->u16) ? KIND_LINEAR : KIND_TABLE;
        cmsCloseProfile(profile);
    }
    if (transfer->kind == KIND_SRGB) {
        free(transfer);
        pthread_once(&srgb_once, make_srgb);
        transfer = &srgb;
    } else if (transfer->kind == KIND_TABLE) {
        finish(transfer);
    }
    *out = transfer;
    return UF_OK;
}

void uf_transfer_free(UfTransfer **transfer)
{
    if (transfer == NULL)
        return;
    if (*transfer != &srgb)
        free(*transfer);
    *transfer = NULL;
}

const float *uf_transfer_table_u8(const UfTransfer *transfer)
{
    return transfer->kind == KIND_LINEAR ? NULL : transfer->u8;
}

const float *uf_transfer_table_u16(const UfTransfer *transfer)
{
    return transfer->kind == KIND_LINEAR ? NULL : transfer->u16;
}

/* 0 <= value < 1 */
static inline float table_to_linear(const UfTransfer *transfer, float value)
{
    float at = value * (float)(CODES - 1);
    size_t k = (size_t)at;
    if (k >= CODES - 1)
        return transfer->u16[CODES - 1];
    return transfer->u16[k] + (at - (float)k) * (transfer->u16[k + 1] - transfer->u16[k]);
}

/* 1 or more, or not finite */
static float beyond_to_linear(const UfTransfer *transfer, float value)
{
    double size = fabs((double)value);
    if (!isfinite(value) || size <= 1)
        return value;
    double above = transfer->kind == KIND_SRGB ? srgb_to_linear(size) : pow(size, transfer->exponent);
    return copysignf((float)above, value);
}

static float beyond_from_linear(const UfTransfer *transfer, float value)
{
    double size = fabs((double)value);
    if (!isfinite(value) || size <= 1)
        return value;
    double above = transfer->kind == KIND_SRGB ? srgb_from_linear(size) : pow(size, 1 / transfer->exponent);
    return copysignf((float)above, value);
}

void uf_transfer_row_to_linear(const UfTransfer *transfer, const float *values, size_t count, float *out)
{
    if (transfer->kind == KIND_LINEAR) {
        memmove(out, values, count * sizeof *out);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        float size = fabsf(values[i]);
        out[i] = size < 1 ? copysignf(table_to_linear(transfer, size), values[i])
                          : beyond_to_linear(transfer, values[i]);
    }
}

void uf_transfer_row_from_linear(const UfTransfer *transfer, const float *values, size_t count, float *out)
{
    if (transfer->kind == KIND_LINEAR) {
        memmove(out, values, count * sizeof *out);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        float size = fabsf(values[i]);
        out[i] = size < 1 ? copysignf(table_from_linear(transfer, size), values[i])
                          : beyond_from_linear(transfer, values[i]);
    }
}

#define LANES 8

typedef int32_t Numbers __attribute__((vector_size(4 * LANES)));
typedef uint32_t Indices __attribute__((vector_size(4 * LANES)));
typedef float Values __attribute__((vector_size(4 * LANES)));
typedef float Four __attribute__((vector_size(16)));
typedef double Two __attribute__((vector_size(16)));

/* Two floats at once. */
static inline __attribute__((always_inline)) double piece_at(const Piece *piece)
{
    double both;
    memcpy(&both, piece, sizeof both);
    return both;
}

/* A float's bits rise with it: held to the range as whole numbers, without a branch. */
static inline __attribute__((always_inline)) void eight_stored(const Piece *stored, const float *light,
                                                               float *out)
{
    const int32_t least = (int32_t)bits_of(DIMMEST), most = (int32_t)bits_of(1);
    Numbers bits;
    memcpy(&bits, light, sizeof bits);
    const Numbers above = bits > least, below = bits < most;
    bits = (bits & above) | (least & ~above);
    bits = ((bits & below) | (most & ~below)) - least;
    const Indices k = (Indices)bits >> TAIL_BITS;
    const Values part =
        __builtin_convertvector(bits & ((1 << TAIL_BITS) - 1), Values) * (1.0F / (1 << TAIL_BITS));
    Four at[2], step[2];
    for (int i = 0; i < 2; i++) {
        const Four a = (Four)(Two){piece_at(&stored[k[4 * i]]), piece_at(&stored[k[4 * i + 1]])};
        const Four b = (Four)(Two){piece_at(&stored[k[4 * i + 2]]), piece_at(&stored[k[4 * i + 3]])};
        at[i] = __builtin_shufflevector(a, b, 0, 2, 4, 6);
        step[i] = __builtin_shufflevector(a, b, 1, 3, 5, 7);
    }
    const Values value = __builtin_shufflevector(at[0], at[1], 0, 1, 2, 3, 4, 5, 6, 7) +
                         part * __builtin_shufflevector(step[0], step[1], 0, 1, 2, 3, 4, 5, 6, 7);
    memcpy(out, &value, sizeof value);
}

static inline __attribute__((always_inline)) void row_stored(const Piece *stored, const float *light,
                                                             size_t count, float *out)
{
    float rest[LANES] = {0};
    size_t i = 0;
    for (; i + LANES <= count; i += LANES)
        eight_stored(stored, light + i, out + i);
    memcpy(rest, light + i, (count - i) * sizeof rest[0]);
    eight_stored(stored, rest, rest);
    memcpy(out + i, rest, (count - i) * sizeof rest[0]);
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static void row_stored_avx2(const Piece *stored, const float *light,
                                                            size_t count, float *out)
{
    row_stored(stored, light, count, out);
}
#endif

void uf_transfer_row_stored(const UfTransfer *transfer, const float *light, size_t count, float *out)
{
    if (transfer->kind == KIND_LINEAR) {
        for (size_t i = 0; i < count; i++)
            out[i] = light[i] > 0 ? fminf(light[i], 1) : 0;
        return;
    }
#if defined(__x86_64__)
    if (uf_cpu_flags() & UF_CPU_AVX2) {
        row_stored_avx2(transfer->stored, light, count, out);
        return;
    }
#endif
    row_stored(transfer->stored, light, count, out);
}

float uf_transfer_to_linear(const UfTransfer *transfer, float value)
{
    uf_transfer_row_to_linear(transfer, &value, 1, &value);
    return value;
}

float uf_transfer_from_linear(const UfTransfer *transfer, float value)
{
    uf_transfer_row_from_linear(transfer, &value, 1, &value);
    return value;
}
