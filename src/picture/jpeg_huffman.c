/* Do a file's Huffman tables have every code that a block needs? (ITU-T T.81 F.1.2, K.3) And taking them over. */
#include "picture/jpeg_internal.h"

/* Position in the zigzag order to position in the block (T.81 figure A.6). */
static const uint8_t natural_order[DCTSIZE2] = {
    0,  1,  8,  16, 9,  2,  3,  10, 17, 24, 32, 25, 18, 11, 4,  5,  12, 19, 26, 33, 40, 48,
    41, 34, 27, 20, 13, 6,  7,  14, 21, 28, 35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23,
    30, 37, 44, 51, 58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63};

#define END_OF_BLOCK  0x00
#define SIXTEEN_ZEROS 0xF0
/* Differences of 8-bit DC coefficients have at most 11 bits (T.81 table F.1). */
#define DC_CATEGORIES 12
/* AC coefficients at most 10 (table F.2). */
#define MAX_AC_BITS 10

/* The symbols that have a code; how many codes there are. */
static int codes_of(const JHUFF_TBL *table, bool has[256])
{
    int count = 0;
    memset(has, 0, 256 * sizeof *has);
    for (int length = 1; table != NULL && length <= 16; length++)
        count += table->bits[length];
    count = count < 256 ? count : 256;
    for (int i = 0; i < count; i++)
        has[table->huffval[i]] = true;
    return count;
}

bool uf_jpeg_codes_are_unique(const JHUFF_TBL *table)
{
    bool has[256];
    int codes = codes_of(table, has), symbols = 0;
    for (int i = 0; i < 256; i++)
        symbols += has[i];
    return symbols == codes;
}

static int bits_of(int value)
{
    int bits = 0;
    for (unsigned rest = (unsigned)(value < 0 ? -value : value); rest != 0; rest >>= 1)
        bits++;
    return bits;
}

bool uf_jpeg_dc_codes_complete(const JHUFF_TBL *table)
{
    bool has[256];
    codes_of(table, has);
    for (int category = 0; category < DC_CATEGORIES; category++)
        if (!has[category])
            return false;
    return true;
}

bool uf_jpeg_ac_codes_exist(const JHUFF_TBL *table, const JCOEF *blocks, size_t block_count)
{
    bool has[256];
    codes_of(table, has);
    for (size_t b = 0; b < block_count; b++) {
        const JCOEF *block = blocks + b * DCTSIZE2;
        int zeros = 0;
        for (int k = 1; k < DCTSIZE2; k++) {
            int value = block[natural_order[k]];
            if (value == 0) {
                zeros++;
                continue;
            }
            if (zeros > 15 && !has[SIXTEEN_ZEROS])
                return false;
            int bits = bits_of(value);
            if (bits > 15 || !has[(zeros % 16) << 4 | bits])
                return false;
            zeros = 0;
        }
        if (zeros > 0 && !has[END_OF_BLOCK])
            return false;
    }
    return true;
}

static bool ac_codes_complete(const JHUFF_TBL *table)
{
    bool has[256];
    codes_of(table, has);
    for (int zeros = 0; zeros < 16; zeros++)
        for (int bits = 1; bits <= MAX_AC_BITS; bits++)
            if (!has[zeros << 4 | bits])
                return false;
    return has[END_OF_BLOCK] && has[SIXTEEN_ZEROS];
}

bool uf_jpeg_codes_complete(const struct jpeg_decompress_struct *jpeg)
{
    for (int i = 0; i < jpeg->num_components; i++) {
        const JHUFF_TBL *dc = jpeg->dc_huff_tbl_ptrs[jpeg->comp_info[i].dc_tbl_no & 3];
        const JHUFF_TBL *ac = jpeg->ac_huff_tbl_ptrs[jpeg->comp_info[i].ac_tbl_no & 3];
        if (!uf_jpeg_dc_codes_complete(dc) || !uf_jpeg_codes_are_unique(dc) || !ac_codes_complete(ac) ||
            !uf_jpeg_codes_are_unique(ac))
            return false;
    }
    return true;
}

static void copy_table(j_common_ptr owner, const JHUFF_TBL *from, JHUFF_TBL **to)
{
    if (from == NULL)
        return;
    if (*to == NULL)
        *to = jpeg_alloc_huff_table(owner);
    memcpy((*to)->bits, from->bits, sizeof from->bits);
    memcpy((*to)->huffval, from->huffval, sizeof from->huffval);
    (*to)->sent_table = FALSE;
}

void uf_jpeg_copy_codes(const struct jpeg_decompress_struct *from, struct jpeg_compress_struct *to)
{
    for (int i = 0; i < NUM_HUFF_TBLS; i++) {
        copy_table((j_common_ptr)to, from->dc_huff_tbl_ptrs[i], &to->dc_huff_tbl_ptrs[i]);
        copy_table((j_common_ptr)to, from->ac_huff_tbl_ptrs[i], &to->ac_huff_tbl_ptrs[i]);
    }
    for (int i = 0; i < from->num_components; i++) {
        to->comp_info[i].dc_tbl_no = from->comp_info[i].dc_tbl_no;
        to->comp_info[i].ac_tbl_no = from->comp_info[i].ac_tbl_no;
    }
}
