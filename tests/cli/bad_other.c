/* What is no picture of ours at all, or no panorama. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>
#include <zlib.h>

#define TEN(name)                                                                                            \
    "&" name ";&" name ";&" name ";&" name ";&" name ";&" name ";&" name ";&" name ";&" name ";&" name ";"
#define MORE(name, of) "<!ENTITY " name " '" TEN(of) "'>"
const char bad_xmp_bomb[] = "<!DOCTYPE x [<!ENTITY a 'ha!'>" MORE("b", "a") MORE("c", "b") MORE("d", "c")
    MORE("e", "d") MORE("f", "e") MORE("g", "f") MORE("h", "g") MORE("i", "h") MORE("j", "i")
        MORE("k", "j") "]>"
                       "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF "
                       "xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>"
                       "<rdf:Description rdf:about='' "
                       "xmlns:dc='http://purl.org/dc/elements/1.1/'><dc:source>&k;</dc:source>"
                       "</rdf:Description></rdf:RDF></x:xmpmeta>";

#include "cli/bad_files.h"
#include "support/files.h"
#include "support/pictures.h"

Bytes bad_zeros_bomb(long millions)
{
    uLong size = (uLong)millions * 1000000;
    uLongf packed = compressBound(size);
    uint8_t *zeros = calloc(1, size);
    Bytes bomb = {.data = malloc(packed)};
    cr_assert(zeros != NULL && bomb.data != NULL);
    cr_assert_eq(compress(bomb.data, &packed, zeros, size), Z_OK);
    bomb.size = packed;
    free(zeros);
    return bomb;
}

void bad_cut(const BadFile *bad)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    const char *ending = strrchr(bad->name, '.');
    if (strcmp(ending, ".jpg") == 0)
        jpeg_write(bad->name, &panorama, NULL);
    else if (strcmp(ending, ".png") == 0)
        png_write(bad->name, &panorama, NULL);
    else
        tiff_write(bad->name, &panorama, NULL);
    Bytes file = file_read(bad->name);
    long size = bad->a != 0 ? (long)file.size * bad->a / 100 : bad->b;
    bytes_free(&file);
    file_cut(bad->name, bad->name, size);
    pixels_free(&panorama);
}

static void empty(const BadFile *bad)
{
    file_write(bad->name, "", 0);
}

static void text(const BadFile *bad)
{
    static const char letter[] = "Dear Mara, the panorama of the ticket hall is attached.\n";
    file_write(bad->name, letter, sizeof letter - 1);
}

static void zeros(const BadFile *bad)
{
    uint8_t nothing[4096] = {0};
    file_write(bad->name, nothing, sizeof nothing);
}

static void gif(const BadFile *bad)
{
    file_write(bad->name, "GIF89a\x00\x01\x80\x00\x00\x00\x00;", 14);
}

static void webp(const BadFile *bad)
{
    file_write(bad->name, "RIFF\x24\x00\x00\x00WEBPVP8 \x18\x00\x00\x00", 20);
}

static void heif(const BadFile *bad)
{
    file_write(bad->name,
               "\x00\x00\x00\x18"
               "ftypheic\x00\x00\x00\x00heicmif1",
               24);
}

static void of_size(const BadFile *bad)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = (size_t)bad->a, .height = (size_t)bad->b});
    const char *ending = strrchr(bad->name, '.');
    if (strcmp(ending, ".jpg") == 0)
        jpeg_write(bad->name, &panorama, NULL);
    else if (strcmp(ending, ".png") == 0)
        png_write(bad->name, &panorama, NULL);
    else
        tiff_write(bad->name, &panorama, NULL);
    pixels_free(&panorama);
}

static void folder(const BadFile *bad)
{
    cr_assert_eq(mkdir(bad->name, 0755), 0);
}

static void fifo(const BadFile *bad)
{
    cr_assert_eq(mkfifo(bad->name, 0644), 0);
}

static void local_socket(const BadFile *bad)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(address.sun_path, sizeof address.sun_path, "%s", bad->name);
    int handle = socket(AF_UNIX, SOCK_STREAM, 0);
    cr_assert(handle >= 0 && bind(handle, (struct sockaddr *)&address, sizeof address) == 0);
    close(handle);
}

static void link_loop(const BadFile *bad)
{
    cr_assert_eq(symlink(bad->name, bad->name), 0);
}

static void link_to_nothing(const BadFile *bad)
{
    cr_assert_eq(symlink("nothing", bad->name), 0);
}

static void link_to_zeros(const BadFile *bad)
{
    cr_assert_eq(symlink("/dev/zero", bad->name), 0);
}

static void missing(const BadFile *bad)
{
    cr_assert_not(file_exists(bad->name));
}

const BadFile bad_others[] = {
    {"empty.jpg", empty, 0, 0, "is empty", BAD_FAILS},
    {"text.jpg", text, 0, 0, "JPEG, PNG", BAD_FAILS},
    {"zeros.png", zeros, 0, 0, "JPEG, PNG", BAD_FAILS},
    {"gif.jpg", gif, 0, 0, "JPEG, PNG", BAD_FAILS},
    {"webp.jpg", webp, 0, 0, "JPEG, PNG", BAD_FAILS},
    {"heif.jpg", heif, 0, 0, "JPEG, PNG", BAD_FAILS},
    {"folder.jpg", folder, 0, 0, "is a folder", BAD_FAILS},
    {"pipe.jpg", fifo, 0, 0, "is a pipe", BAD_FAILS},
    {"socket.jpg", local_socket, 0, 0, "is a socket or a device", BAD_FAILS},
    {"link-loop.jpg", link_loop, 0, 0, "Too many levels of symbolic links", BAD_FAILS},
    {"link-to-nothing.jpg", link_to_nothing, 0, 0, "No such file", BAD_FAILS},
    {"link-to-zeros.jpg", link_to_zeros, 0, 0, "is a device", BAD_FAILS},
    {"missing.jpg", missing, 0, 0, "No such file", BAD_FAILS},
    {0},
};

const BadFile bad_shapes[] = {
    {"square.jpg", of_size, 128, 128, "twice as wide as it is high", BAD_FAILS},
    {"one-column-too-many.png", of_size, 257, 128, "twice as wide as it is high", BAD_FAILS},
    {"one-row-too-many.tif", of_size, 256, 129, "twice as wide as it is high", BAD_FAILS},
    {"cube-strip.jpg", of_size, 384, 64, "twice as wide as it is high", BAD_FAILS},
    {"one-pixel.png", of_size, 1, 1, "twice as wide as it is high", BAD_FAILS},
    {0},
};
