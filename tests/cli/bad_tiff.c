/* Bad TIFFs: entries of the first directory rewritten. Classic and little-endian unless the name says
 * otherwise. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include <tiff.h>

#include "cli/bad_files.h"
#include "support/files.h"
#include "support/pictures.h"

static void write_sound(const char *name, const TiffOptions *options)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    tiff_write(name, &panorama, options);
    pixels_free(&panorama);
}

static uint32_t get_u32(const uint8_t *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static void put_u32(uint8_t *to, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        to[i] = (uint8_t)(value >> (8 * i));
}

static uint32_t directory_of(Bytes file)
{
    return get_u32(file.data + 4);
}

static unsigned entry_count(Bytes file)
{
    const uint8_t *at = file.data + directory_of(file);
    return (unsigned)at[0] | (unsigned)at[1] << 8;
}

/* The 12 bytes of a tag's entry: tag, type, count, value (TIFF 6.0, section 2). */
static uint8_t *find_entry(Bytes file, unsigned tag)
{
    for (unsigned i = 0; i < entry_count(file); i++) {
        uint8_t *entry = file.data + directory_of(file) + 2 + 12 * i;
        if (((unsigned)entry[0] | (unsigned)entry[1] << 8) == tag)
            return entry;
    }
    cr_assert_fail("no tag %u", tag);
    return NULL;
}

/* Tag `a` becomes one LONG of value `b`. */
static void set_tag_of(const BadFile *bad, const TiffOptions *options)
{
    write_sound(bad->name, options);
    Bytes file = file_read(bad->name);
    uint8_t *entry = find_entry(file, (unsigned)bad->a);
    entry[2] = TIFF_LONG;
    entry[3] = 0;
    put_u32(entry + 4, 1);
    put_u32(entry + 8, (uint32_t)bad->b);
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

static void set_tag(const BadFile *bad)
{
    set_tag_of(bad, &(TiffOptions){.rows_per_strip = 128});
}

static void set_tag_tiled(const BadFile *bad)
{
    set_tag_of(bad, &(TiffOptions){.tile_side = 64});
}

static void set_tag_lzw(const BadFile *bad)
{
    set_tag_of(bad, &(TiffOptions){.compression = COMPRESSION_LZW, .rows_per_strip = 128});
}

/* The tag becomes an unknown private one. */
static void hide_tag(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    uint8_t *entry = find_entry(file, (unsigned)bad->a);
    entry[0] = 0xF0;
    entry[1] = 0xFF;
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

static void set_directory(const BadFile *bad)
{
    uint8_t offset[4];
    write_sound(bad->name, NULL);
    put_u32(offset, (uint32_t)bad->b);
    file_poke(bad->name, 4, offset, 4);
}

/* The directory says that it is followed by itself. */
static void loop_directory(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    put_u32(file.data + directory_of(file) + 2 + 12 * entry_count(file), directory_of(file));
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

/* The directory is followed by `a` others of one entry. */
static void chain_of_directories(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    size_t start = file.size + file.size % 2, size = start + 18 * (size_t)bad->a;
    uint8_t *longer = calloc(1, size);
    cr_assert_not_null(longer);
    memcpy(longer, file.data, file.size);
    put_u32(longer + directory_of(file) + 2 + 12 * entry_count(file), (uint32_t)start);
    for (size_t at = start; at < size; at += 18) {
        static const uint8_t width[] = {1, 0, 0, 1, 3, 0, 1, 0, 0, 0, 64};
        memcpy(longer + at, width, sizeof width);
        put_u32(longer + at + 14, at + 18 < size ? (uint32_t)(at + 18) : 0);
    }
    file_write(bad->name, longer, size);
    free(longer);
    bytes_free(&file);
}

/* Tag `a` becomes a list of `b` values. */
static void set_count(const BadFile *bad)
{
    write_sound(bad->name, &(TiffOptions){.rows_per_strip = 128});
    Bytes file = file_read(bad->name);
    put_u32(find_entry(file, (unsigned)bad->a) + 4, (uint32_t)bad->b);
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

/* The one strip inflates to `a` million zeros, of which the picture needs some. */
static void with_strip_bomb(const BadFile *bad)
{
    Bytes bomb = bad_zeros_bomb(bad->a);
    write_sound(bad->name, &(TiffOptions){.compression = COMPRESSION_ADOBE_DEFLATE, .rows_per_strip = 128});
    Bytes file = file_read(bad->name);
    uint8_t *longer = malloc(file.size + bomb.size);
    cr_assert_not_null(longer);
    put_u32(find_entry(file, TIFFTAG_STRIPOFFSETS) + 8, (uint32_t)file.size);
    put_u32(find_entry(file, TIFFTAG_STRIPBYTECOUNTS) + 8, (uint32_t)bomb.size);
    memcpy(longer, file.data, file.size);
    memcpy(longer + file.size, bomb.data, bomb.size);
    file_write(bad->name, longer, file.size + bomb.size);
    free(longer);
    bytes_free(&bomb);
    bytes_free(&file);
}

static void count_65535(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    memset(file.data + directory_of(file), 0xFF, 2);
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

/* The list of strips lies behind the end of the file. */
static void strips_list_outside(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    put_u32(find_entry(file, (unsigned)bad->a) + 8, 0x7FFFFFF0);
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

static void spoil_deflate(const BadFile *bad)
{
    write_sound(bad->name, &(TiffOptions){.compression = COMPRESSION_ADOBE_DEFLATE, .rows_per_strip = 128});
    Bytes file = file_read(bad->name);
    memset(file.data + 8, 0xFF, 20); /* the strip comes first: RFC 1950's header and what follows it */
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

static void big_tiff_directory(const BadFile *bad)
{
    write_sound(bad->name, &(TiffOptions){.mode = "w8"});
    file_poke(bad->name, 8, "\xff\xff\xff\xff\xff\xff\xff\x7f", 8);
}

static void big_tiff_cut(const BadFile *bad)
{
    write_sound(bad->name, &(TiffOptions){.mode = "w8"});
    Bytes file = file_read(bad->name);
    file_write(bad->name, file.data, file.size * (size_t)bad->a / 100);
    bytes_free(&file);
}

static void with_profile(const BadFile *bad)
{
    uint8_t profile[500];
    memset(profile, 0xEE, sizeof profile);
    write_sound(bad->name, &(TiffOptions){.icc = profile, .icc_bytes = sizeof profile});
}

static void with_xmp_garbage(const BadFile *bad)
{
    write_sound(bad->name, &(TiffOptions){.xmp = "<x:xmpmeta but then no more"});
}

static void with_xmp_bomb(const BadFile *bad)
{
    write_sound(bad->name, &(TiffOptions){.xmp = bad_xmp_bomb});
}

const BadFile bad_tiffs[] = {
    {"tiff-cut-to-4-bytes.tif", bad_cut, 0, 4, "", BAD_FAILS},
    {"tiff-cut-to-8-bytes.tif", bad_cut, 0, 8, "", BAD_FAILS},
    {"tiff-cut-to-half.tif", bad_cut, 50, 0, "", BAD_FAILS},
    {"tiff-cut-in-directory.tif", bad_cut, 0, -100, "", BAD_FAILS},
    {"tiff-directory-at-0.tif", set_directory, 0, 0, "", BAD_FAILS},
    {"tiff-directory-outside.tif", set_directory, 0, 0x7FFFFFF0, "", BAD_FAILS},
    {"tiff-directory-in-pixels.tif", set_directory, 0, 1000, "", BAD_FAILS},
    {"tiff-directory-of-65535-entries.tif", count_65535, 0, 0, "", BAD_FAILS},
    {"tiff-directory-loop.tif", loop_directory, 0, 0, "loop", BAD_WARNS},
    {"tiff-chain-of-60000-directories.tif", chain_of_directories, 60000, 0, "", BAD_READS},
    {"tiff-2-billion-wide.tif", set_tag, TIFFTAG_IMAGEWIDTH, 2147483648, "", BAD_FAILS},
    {"tiff-2-billion-high.tif", set_tag, TIFFTAG_IMAGELENGTH, 2147483648, "", BAD_FAILS},
    {"tiff-2-billion-rows-a-strip.tif", set_tag, TIFFTAG_ROWSPERSTRIP, 2147483648, "", BAD_READS},
    {"tiff-2-billion-strips.tif", set_count, TIFFTAG_STRIPOFFSETS, 2147483648, "", BAD_FAILS},
    {"tiff-strip-bomb.tif", with_strip_bomb, 60, 0, "", BAD_READS},
    {"tiff-width-0.tif", set_tag, TIFFTAG_IMAGEWIDTH, 0, "", BAD_FAILS},
    {"tiff-height-0.tif", set_tag, TIFFTAG_IMAGELENGTH, 0, "", BAD_FAILS},
    {"tiff-4-billion-wide.tif", set_tag, TIFFTAG_IMAGEWIDTH, 4294967295, "", BAD_FAILS},
    {"tiff-4-billion-high.tif", set_tag, TIFFTAG_IMAGELENGTH, 4294967295, "", BAD_FAILS},
    {"tiff-no-width.tif", hide_tag, TIFFTAG_IMAGEWIDTH, 0, "", BAD_FAILS},
    {"tiff-no-strips.tif", hide_tag, TIFFTAG_STRIPOFFSETS, 0, "", BAD_FAILS},
    {"tiff-strip-outside.tif", set_tag, TIFFTAG_STRIPOFFSETS, 0x7FFFFFF0, "", BAD_FAILS},
    {"tiff-strip-of-10-bytes.tif", set_tag_lzw, TIFFTAG_STRIPBYTECOUNTS, 10, "", BAD_FAILS},
    {"tiff-strip-of-4-gb.tif", set_tag_lzw, TIFFTAG_STRIPBYTECOUNTS, 4294967295, "", BAD_FAILS},
    {"tiff-strips-list-outside.tif", strips_list_outside, TIFFTAG_STRIPOFFSETS, 0, "", BAD_FAILS},
    {"tiff-counts-list-outside.tif", strips_list_outside, TIFFTAG_STRIPBYTECOUNTS, 0, "", BAD_FAILS},
    {"tiff-tile-width-0.tif", set_tag_tiled, TIFFTAG_TILEWIDTH, 0, "", BAD_FAILS},
    {"tiff-tile-of-2-gb.tif", set_tag_tiled, TIFFTAG_TILEWIDTH, 2147483632, "", BAD_FAILS},
    {"tiff-compression-unknown.tif", set_tag, TIFFTAG_COMPRESSION, 60000, "", BAD_FAILS},
    {"tiff-compression-fax.tif", set_tag, TIFFTAG_COMPRESSION, COMPRESSION_CCITTFAX4, "", BAD_FAILS},
    {"tiff-cmyk.tif", set_tag, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_SEPARATED, "", BAD_FAILS},
    {"tiff-lab.tif", set_tag, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_CIELAB, "", BAD_FAILS},
    {"tiff-12-bit.tif", set_tag, TIFFTAG_BITSPERSAMPLE, 12, "", BAD_FAILS},
    {"tiff-5-samples.tif", set_tag, TIFFTAG_SAMPLESPERPIXEL, 5, "", BAD_FAILS},
    {"tiff-60000-samples.tif", set_tag, TIFFTAG_SAMPLESPERPIXEL, 60000, "", BAD_FAILS},
    {"tiff-deflate-spoilt.tif", spoil_deflate, 0, 0, "", BAD_FAILS},
    {"tiff-big-directory-outside.tif", big_tiff_directory, 0, 0, "", BAD_FAILS},
    {"tiff-big-cut-to-60-percent.tif", big_tiff_cut, 60, 0, "", BAD_FAILS},
    {"tiff-profile-garbage.tif", with_profile, 0, 0, "profile", BAD_WARNS},
    {"tiff-xmp-entity-bomb.tif", with_xmp_bomb, 0, 0, "document type", BAD_WARNS},
    {"tiff-xmp-garbage.tif", with_xmp_garbage, 0, 0, "XMP", BAD_WARNS},
    {0},
};
