/* Bad PNGs. Chunks are rewritten with a right CRC, so that it is the fault that is found and not the CRC. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include <zlib.h>

#include "cli/bad_files.h"
#include "support/files.h"
#include "support/pictures.h"

static void write_sound(const char *name, const PngOptions *options)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write(name, &panorama, options);
    pixels_free(&panorama);
}

static void put_u32(uint8_t *to, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        to[i] = (uint8_t)(value >> (24 - 8 * i));
}

/* IHDR's content begins at byte 16, its CRC at 29 covers type and content (bytes 12 .. 28). */
static void poke_header(const char *name, size_t offset, const void *data, size_t size)
{
    file_poke(name, 16 + offset, data, size);
    Bytes file = file_read(name);
    uint8_t crc[4];
    put_u32(crc, (uint32_t)crc32(0, file.data + 12, 17));
    bytes_free(&file);
    file_poke(name, 29, crc, 4);
}

static void set_size(const BadFile *bad)
{
    uint8_t size[8];
    write_sound(bad->name, NULL);
    put_u32(size, (uint32_t)bad->a);
    put_u32(size + 4, (uint32_t)bad->b);
    poke_header(bad->name, 0, size, sizeof size);
}

/* Byte `a` of IHDR becomes `b`: 8 depth, 9 colour type, 10 compression, 11 filter, 12 interlace. */
static void set_header_byte(const BadFile *bad)
{
    const uint8_t value = (uint8_t)bad->b;
    write_sound(bad->name, NULL);
    poke_header(bad->name, (size_t)bad->a, &value, 1);
}

/* Puts a whole chunk in after IHDR (byte 33). */
static void insert_chunk(const char *name, const char *type, const void *content, size_t size)
{
    Bytes file = file_read(name);
    uint8_t *longer = malloc(file.size + size + 12);
    cr_assert_not_null(longer);
    memcpy(longer, file.data, 33);
    put_u32(longer + 33, (uint32_t)size);
    memcpy(longer + 37, type, 4);
    memcpy(longer + 41, content, size);
    put_u32(longer + 41 + size, (uint32_t)crc32(0, longer + 37, (uInt)(size + 4)));
    memcpy(longer + 45 + size, file.data + 33, file.size - 33);
    file_write(name, longer, file.size + size + 12);
    free(longer);
    bytes_free(&file);
}

/* Flips a bit `a` bytes into the first chunk of pixels. */
static void spoil_pixels(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    size_t at = bytes_find(file, 0, "IDAT", 4);
    file.data[at + 4 + (size_t)bad->a] ^= 0x10;
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

static void spoil_header_crc(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    file_poke(bad->name, 29, "\1\2\3\4", 4);
}

/* From the signature to IHDR, then the end. */
static void without_pixels(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    memmove(file.data + 33, file.data + file.size - 12, 12);
    file_write(bad->name, file.data, 45);
    bytes_free(&file);
}

static void without_palette(const BadFile *bad)
{
    write_sound(bad->name, &(PngOptions){.palette = true});
    Bytes file = file_read(bad->name);
    size_t at = bytes_find(file, 0, "PLTE", 4);
    size_t size = 216 * 3 + 12;
    memmove(file.data + at - 4, file.data + at - 4 + size, file.size - (at - 4) - size);
    file_write(bad->name, file.data, file.size - size);
    bytes_free(&file);
}

static void chunk_of_2_gb(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    file_poke(bad->name, 33, "\x7f\xff\xff\xff", 4);
}

static void with_profile(const BadFile *bad)
{
    static const char garbage[] = "name\0\0this is no deflated profile";
    write_sound(bad->name, NULL);
    insert_chunk(bad->name, "iCCP", garbage, sizeof garbage);
}

/* A profile that inflates to `a` million zeros. */
static void with_profile_bomb(const BadFile *bad)
{
    Bytes bomb = bad_zeros_bomb(bad->a);
    uint8_t *content = malloc(bomb.size + 6);
    cr_assert_not_null(content);
    memcpy(content, "bomb\0\0", 6);
    memcpy(content + 6, bomb.data, bomb.size);
    write_sound(bad->name, NULL);
    insert_chunk(bad->name, "iCCP", content, bomb.size + 6);
    bytes_free(&bomb);
    free(content);
}

static void with_exif_garbage(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    insert_chunk(bad->name, "eXIf", "no TIFF structure", 17);
}

static void with_xmp_garbage(const BadFile *bad)
{
    write_sound(bad->name, &(PngOptions){.xmp = "<?xpacket begin='' id='W5M0MpCehiHzreSzNTczkc9d'?><broken"});
}

static void with_xmp_bomb(const BadFile *bad)
{
    write_sound(bad->name, &(PngOptions){.xmp = bad_xmp_bomb});
}

/* A first chunk of pixels that inflates to `a` million zeros, of which the picture needs some. */
static void with_pixel_bomb(const BadFile *bad)
{
    Bytes bomb = bad_zeros_bomb(bad->a);
    without_pixels(bad);
    insert_chunk(bad->name, "IDAT", bomb.data, bomb.size);
    bytes_free(&bomb);
}

static void jpeg_in_disguise(const BadFile *bad)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    jpeg_write(bad->name, &panorama, NULL);
    pixels_free(&panorama);
}

const BadFile bad_pngs[] = {
    {"png-cut-to-7-bytes.png", bad_cut, 0, 7, "", BAD_FAILS},
    {"png-cut-to-8-bytes.png", bad_cut, 0, 8, "", BAD_FAILS},
    {"png-cut-in-header.png", bad_cut, 0, 20, "", BAD_FAILS},
    {"png-cut-after-header.png", bad_cut, 0, 33, "", BAD_FAILS},
    {"png-cut-to-half.png", bad_cut, 50, 0, "", BAD_FAILS},
    {"png-cut-to-95-percent.png", bad_cut, 95, 0, "", BAD_FAILS},
    {"png-width-0.png", set_size, 0, 128, "", BAD_FAILS},
    {"png-height-0.png", set_size, 256, 0, "", BAD_FAILS},
    {"png-2-billion-square.png", set_size, 2147483647, 2147483647, "", BAD_FAILS},
    {"png-4-billion-wide.png", set_size, 4294967295, 128, "", BAD_FAILS},
    {"png-1000002-wide.png", set_size, 1000002, 500001, "", BAD_FAILS},
    {"png-bomb-of-480-gb.png", set_size, 800000, 400000, "memory", BAD_FAILS},
    {"png-says-larger-than-it-is.png", set_size, 512, 256, "", BAD_FAILS},
    {"png-depth-3.png", set_header_byte, 8, 3, "", BAD_FAILS},
    {"png-colour-type-1.png", set_header_byte, 9, 1, "", BAD_FAILS},
    {"png-compression-9.png", set_header_byte, 10, 9, "", BAD_FAILS},
    {"png-filter-5.png", set_header_byte, 11, 5, "", BAD_FAILS},
    {"png-interlace-2.png", set_header_byte, 12, 2, "", BAD_FAILS},
    {"png-header-crc-wrong.png", spoil_header_crc, 0, 0, "", BAD_FAILS},
    {"png-pixels-spoilt-early.png", spoil_pixels, 2, 0, "", BAD_FAILS},
    {"png-pixels-spoilt-later.png", spoil_pixels, 3000, 0, "", BAD_FAILS},
    {"png-without-pixels.png", without_pixels, 0, 0, "", BAD_FAILS},
    {"png-without-palette.png", without_palette, 0, 0, "", BAD_FAILS},
    {"png-chunk-of-2-gb.png", chunk_of_2_gb, 0, 0, "", BAD_FAILS},
    {"png-profile-garbage.png", with_profile, 0, 0, "", BAD_WARNS},
    {"png-profile-bomb.png", with_profile_bomb, 40, 0, "", BAD_WARNS},
    {"png-exif-garbage.png", with_exif_garbage, 0, 0, "EXIF", BAD_WARNS},
    {"png-xmp-garbage.png", with_xmp_garbage, 0, 0, "XMP", BAD_WARNS},
    {"png-xmp-entity-bomb.png", with_xmp_bomb, 0, 0, "document type", BAD_WARNS},
    {"png-pixel-bomb.png", with_pixel_bomb, 60, 0, "", BAD_WARNS},
    {"jpeg-named.png", jpeg_in_disguise, 0, 0, "", BAD_READS},
    {0},
};
