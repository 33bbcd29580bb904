/* Bad JPEGs. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/bad_files.h"
#include "support/files.h"
#include "support/pictures.h"

static void write_sound(const char *name, const JpegOptions *options)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    jpeg_write(name, &panorama, options);
    pixels_free(&panorama);
}

/* Offset of a marker segment's 0xFF; the marker's code follows. */
static size_t find_marker(Bytes file, unsigned code)
{
    size_t at = 2;
    while (at + 4 <= file.size && file.data[at] == 0xFF && file.data[at + 1] != code) {
        cr_assert_neq(file.data[at + 1], 0xDA, "no marker %02x before the scan", code);
        at += 2u + (size_t)(file.data[at + 2] << 8 | file.data[at + 3]);
    }
    cr_assert(at + 4 <= file.size && file.data[at] == 0xFF);
    return at;
}

static void cut_progressive(const BadFile *bad)
{
    write_sound("whole.jpg", &(JpegOptions){.progressive = true});
    Bytes file = file_read("whole.jpg");
    file_write(bad->name, file.data, file.size * (size_t)bad->a / 100);
    bytes_free(&file);
    remove("whole.jpg");
}

/* Ends `b` bytes after the start of marker `a`. */
static void cut_in_marker(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    file_write(bad->name, file.data, find_marker(file, (unsigned)bad->a) + (size_t)bad->b);
    bytes_free(&file);
}

static void poke_after_marker(const char *name, unsigned code, size_t offset, const void *data, size_t size)
{
    Bytes file = file_read(name);
    size_t at = find_marker(file, code);
    bytes_free(&file);
    file_poke(name, at + offset, data, size);
}

/* SOF (T.81 B.2.2): marker, length, precision, lines Y, samples X, components. */
static void set_size(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    const uint8_t size[] = {(uint8_t)(bad->b >> 8), (uint8_t)bad->b, (uint8_t)(bad->a >> 8), (uint8_t)bad->a};
    poke_after_marker(bad->name, 0xC0, 5, size, sizeof size);
}

/* Byte `a` of the frame header becomes `b`. */
static void set_frame_byte(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    const uint8_t value = (uint8_t)bad->b;
    poke_after_marker(bad->name, 0xC0, (size_t)bad->a, &value, 1);
}

/* A marker segment is made an unknown application's. */
static void hide_marker(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    static const uint8_t other = 0xEB;
    Bytes file = file_read(bad->name);
    size_t at = find_marker(file, (unsigned)bad->a);
    bytes_free(&file);
    file_poke(bad->name, at + 1, &other, 1);
}

static void four_colours(const BadFile *bad)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.channels = 4});
    jpeg_write(bad->name, &panorama, &(JpegOptions){.colour_space = (int)bad->a});
    pixels_free(&panorama);
}

/* Zeros over the middle third of the entropy-coded data. */
static void wipe_scan(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    size_t start = find_marker(file, 0xDA);
    size_t third = (file.size - start) / 3;
    memset(file.data + start + third, 0xFF, third);
    file_write(bad->name, file.data, file.size);
    bytes_free(&file);
}

static void with_profile(const BadFile *bad)
{
    uint8_t profile[600];
    memset(profile, (int)bad->a, sizeof profile);
    write_sound(bad->name, &(JpegOptions){.icc = profile, .icc_bytes = sizeof profile});
}

/* A profile of two segments whose second one says that it is number 7 (ICC.1, Annex B). */
static void with_torn_profile(const BadFile *bad)
{
    size_t bytes = 70000;
    uint8_t *profile = calloc(1, bytes);
    cr_assert_not_null(profile);
    write_sound(bad->name, &(JpegOptions){.icc = profile, .icc_bytes = bytes});
    Bytes file = file_read(bad->name);
    static const char name[] = "ICC_PROFILE";
    size_t first = bytes_find(file, 0, name, sizeof name);
    size_t second = bytes_find(file, first + 1, name, sizeof name);
    cr_assert(second < file.size);
    static const uint8_t seven = 7;
    bytes_free(&file);
    file_poke(bad->name, second + sizeof name, &seven, 1);
    free(profile);
}

static void with_exif(const char *name, const void *data, size_t bytes)
{
    uint8_t *marker = calloc(1, bytes + 6);
    cr_assert_not_null(marker);
    memcpy(marker, "Exif\0\0", 6);
    memcpy(marker + 6, data, bytes);
    write_sound(name, &(JpegOptions){.exif = marker, .exif_bytes = bytes + 6});
    free(marker);
}

static void with_exif_garbage(const BadFile *bad)
{
    with_exif(bad->name, "this is no TIFF structure", 25);
}

/* One entry, and a next IFD that is the same again. */
static void with_exif_loop(const BadFile *bad)
{
    static const uint8_t exif[] = {'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01, 3,
                                   0,   1,   0,  0, 0, 1, 0, 0, 0, 8, 0,    0,    0};
    with_exif(bad->name, exif, sizeof exif);
}

/* Each of 2000 IFDs holds an EXIF IFD, which is the next one, and is followed by that, too: 2^2000 ways
 * through. */
static void with_exif_chain(const BadFile *bad)
{
    const size_t step = 18;
    uint8_t exif[8 + 2000 * 18] = {'I', 'I', 42, 0, 8};
    for (size_t at = 8; at < sizeof exif; at += step) {
        const size_t next = at + step < sizeof exif ? at + step : 8;
        const uint8_t ifd[] = {1,
                               0,
                               0x69,
                               0x87,
                               4,
                               0,
                               1,
                               0,
                               0,
                               0,
                               (uint8_t)next,
                               (uint8_t)(next >> 8),
                               0,
                               0,
                               (uint8_t)next,
                               (uint8_t)(next >> 8),
                               0,
                               0};
        memcpy(exif + at, ifd, sizeof ifd);
    }
    with_exif(bad->name, exif, sizeof exif);
}

/* An entry of 2^31 values. */
static void with_exif_2_gb(const BadFile *bad)
{
    static const uint8_t exif[] = {'I', 'I', 42, 0, 8,    0,  0, 0, 1, 0, 0x0F, 0x01, 2,
                                   0,   0,   0,  0, 0x80, 26, 0, 0, 0, 0, 0,    0,    0};
    with_exif(bad->name, exif, sizeof exif);
}

/* 65535 entries are announced, none is there. */
static void with_exif_cut(const BadFile *bad)
{
    static const uint8_t exif[] = {'M', 'M', 0, 42, 0, 0, 0, 8, 0xFF, 0xFF, 0x01, 0x12};
    with_exif(bad->name, exif, sizeof exif);
}

/* Orientation 77 is none. */
static void with_exif_orientation(const BadFile *bad)
{
    static const uint8_t exif[] = {'I', 'I', 42, 0, 8, 0,  0, 0, 1, 0, 0x12, 0x01, 3,
                                   0,   1,   0,  0, 0, 77, 0, 0, 0, 0, 0,    0,    0};
    with_exif(bad->name, exif, sizeof exif);
}

static void with_xmp_garbage(const BadFile *bad)
{
    write_sound(bad->name, &(JpegOptions){.xmp = "<x:xmpmeta><rdf:RDF><not closed"});
}

static void with_xmp_bomb(const BadFile *bad)
{
    write_sound(bad->name, &(JpegOptions){.xmp = bad_xmp_bomb});
}

/* Photo Sphere fields that contradict the picture and themselves. */
static void with_xmp_nonsense(const BadFile *bad)
{
    write_sound(bad->name,
                &(JpegOptions){.xmp =
                                   "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF "
                                   "xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description "
                                   "rdf:about='' xmlns:GPano='http://ns.google.com/photos/1.0/panorama/' "
                                   "GPano:ProjectionType='equirectangular' GPano:FullPanoWidthPixels='-5' "
                                   "GPano:FullPanoHeightPixels='1e400' GPano:CroppedAreaLeftPixels='left' "
                                   "GPano:PoseHeadingDegrees='NaN'/></rdf:RDF></x:xmpmeta>"});
}

static void png_in_disguise(const BadFile *bad)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write(bad->name, &panorama, NULL);
    pixels_free(&panorama);
}

/* Something else behind the end of the picture. */
static void with_trailer(const BadFile *bad)
{
    write_sound(bad->name, NULL);
    Bytes file = file_read(bad->name);
    uint8_t *longer = calloc(1, file.size + 5000);
    cr_assert_not_null(longer);
    memcpy(longer, file.data, file.size);
    file_write(bad->name, longer, file.size + 5000);
    free(longer);
    bytes_free(&file);
}

const BadFile bad_jpegs[] = {
    {"jpeg-cut-to-1-byte.jpg", bad_cut, 0, 1, "", BAD_FAILS},
    {"jpeg-cut-to-3-bytes.jpg", bad_cut, 0, 3, "", BAD_FAILS},
    {"jpeg-cut-to-20-bytes.jpg", bad_cut, 0, 20, "", BAD_FAILS},
    {"jpeg-cut-in-quantisation-table.jpg", cut_in_marker, 0xDB, 30, "", BAD_FAILS},
    {"jpeg-cut-in-frame-header.jpg", cut_in_marker, 0xC0, 9, "", BAD_FAILS},
    {"jpeg-cut-in-huffman-table.jpg", cut_in_marker, 0xC4, 12, "", BAD_FAILS},
    {"jpeg-cut-in-scan-header.jpg", cut_in_marker, 0xDA, 6, "", BAD_FAILS},
    {"jpeg-cut-after-scan-header.jpg", cut_in_marker, 0xDA, 14, "", BAD_FAILS},
    {"jpeg-cut-to-half.jpg", bad_cut, 50, 0, "", BAD_FAILS},
    {"jpeg-cut-to-95-percent.jpg", bad_cut, 95, 0, "", BAD_FAILS},
    {"jpeg-progressive-cut-to-30-percent.jpg", cut_progressive, 30, 0, "", BAD_FAILS},
    {"jpeg-progressive-cut-to-80-percent.jpg", cut_progressive, 80, 0, "", BAD_FAILS},
    {"jpeg-wiped-scan.jpg", wipe_scan, 0, 0, "", BAD_FAILS},
    {"jpeg-width-0.jpg", set_size, 0, 128, "", BAD_FAILS},
    {"jpeg-height-0.jpg", set_size, 256, 0, "", BAD_FAILS},
    {"jpeg-65501-wide.jpg", set_size, 65501, 32750, "65500", BAD_FAILS},
    {"jpeg-65535-square.jpg", set_size, 65535, 65535, "65500", BAD_FAILS},
    {"jpeg-says-larger-than-it-is.jpg", set_size, 4096, 2048, "", BAD_FAILS},
    {"jpeg-12-bit.jpg", set_frame_byte, 4, 12, "", BAD_FAILS},
    {"jpeg-0-components.jpg", set_frame_byte, 9, 0, "", BAD_FAILS},
    {"jpeg-200-components.jpg", set_frame_byte, 9, 200, "", BAD_FAILS},
    {"jpeg-sampling-0.jpg", set_frame_byte, 11, 0, "", BAD_FAILS},
    {"jpeg-table-3-missing.jpg", set_frame_byte, 12, 3, "", BAD_FAILS},
    {"jpeg-lossless.jpg", set_frame_byte, 1, 0xC3, "", BAD_FAILS},
    {"jpeg-hierarchical.jpg", set_frame_byte, 1, 0xC5, "", BAD_FAILS},
    {"jpeg-no-frame-header.jpg", hide_marker, 0xC0, 0, "", BAD_FAILS},
    {"jpeg-no-quantisation-tables.jpg", hide_marker, 0xDB, 0, "", BAD_FAILS},
    {"jpeg-cmyk.jpg", four_colours, 4, 0, "CMYK", BAD_FAILS},
    {"jpeg-ycck.jpg", four_colours, 5, 0, "CMYK", BAD_FAILS},
    {"jpeg-end-marker-missing.jpg", bad_cut, 0, -2, "", BAD_FAILS},
    {"jpeg-profile-of-zeros.jpg", with_profile, 0, 0, "profile", BAD_WARNS},
    {"jpeg-profile-of-ones.jpg", with_profile, 255, 0, "profile", BAD_WARNS},
    {"jpeg-profile-torn.jpg", with_torn_profile, 0, 0, "profile", BAD_WARNS},
    {"jpeg-exif-garbage.jpg", with_exif_garbage, 0, 0, "EXIF", BAD_WARNS},
    {"jpeg-exif-loop.jpg", with_exif_loop, 0, 0, "", BAD_READS},
    {"jpeg-exif-chain.jpg", with_exif_chain, 0, 0, "", BAD_READS},
    {"jpeg-exif-entry-of-2-gb.jpg", with_exif_2_gb, 0, 0, "", BAD_READS},
    {"jpeg-exif-cut.jpg", with_exif_cut, 0, 0, "EXIF", BAD_WARNS},
    {"jpeg-exif-orientation-77.jpg", with_exif_orientation, 0, 0, "", BAD_READS},
    {"jpeg-xmp-garbage.jpg", with_xmp_garbage, 0, 0, "XMP", BAD_WARNS},
    {"jpeg-xmp-entity-bomb.jpg", with_xmp_bomb, 0, 0, "document type", BAD_WARNS},
    {"jpeg-xmp-nonsense.jpg", with_xmp_nonsense, 0, 0, "", BAD_READS},
    {"jpeg-with-trailer.jpg", with_trailer, 0, 0, "behind the picture", BAD_WARNS},
    {"png-named.jpg", png_in_disguise, 0, 0, "", BAD_READS},
    {0},
};
