/*
 * Small panoramas of every kind that the program reads, written with libjpeg, libpng and libtiff directly and
 * read back the same way, so that the library under test is compared with something else than itself.
 *
 * What they show is a smooth colour of the direction on the sphere: one value at each pole, no step at the
 * seam.
 */
#ifndef UF_TESTS_SUPPORT_PICTURES_H
#define UF_TESTS_SUPPORT_PICTURES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Samples as they are stored, 16 bits each whatever their depth, or float for 32-bit pictures. */
typedef struct Pixels {
    size_t width, height, channels;
    unsigned bits; /* 8, 16 or 32 */
    uint16_t *codes;
    float *values; /* bits == 32 only */
} Pixels;

/* What the circle of hole_deg about the nadir holds instead of the picture. */
typedef enum Hole { HOLE_NONE = 0, HOLE_BLACK, HOLE_FLAT, HOLE_TRANSPARENT } Hole;

typedef struct PanoramaOptions {
    size_t width, height; /* 0: 256 x 128 */
    size_t channels;      /* 0: 3 */
    unsigned bits;        /* 0: 8 */
    Hole hole;            /* TRANSPARENT needs an alpha channel */
    double hole_deg;
    bool dark; /* a third of the light, still not black */
} PanoramaOptions;

/* What every panorama shows: 0.1 .. 0.9. Directions as in <underfoot/sphere.h>, radians. */
double panorama_colour(double lon_rad, double lat_rad, size_t channel);
Pixels panorama_make(const PanoramaOptions *options);
void pixels_free(Pixels *pixels);
/* A sample as a part of full scale. */
double pixels_at(const Pixels *pixels, size_t x, size_t y, size_t channel);

typedef struct JpegOptions {
    int quality;              /* 0: 90 */
    int horizontal, vertical; /* luma sampling factors; 0: 2 2 (4:2:0) */
    bool progressive;
    unsigned restart_rows; /* restart marker every so many MCU rows; 0: none */
    int colour_space;      /* J_COLOR_SPACE of the file; 0: YCbCr or grey. 4 channels: CMYK, YCCK */
    const void *icc;
    size_t icc_bytes;
    const void *exif; /* APP1, with "Exif\0\0" already in front */
    size_t exif_bytes;
    const char *xmp; /* the packet */
} JpegOptions;
void jpeg_write(const char *path, const Pixels *pixels, const JpegOptions *options);

typedef struct PngOptions {
    bool interlaced;
    bool palette; /* the picture's colours reduced to 216 */
    const void *icc;
    size_t icc_bytes;
    const char *xmp;
    /* zlib's; 0 as libpng chooses. Level 10 is 0: stored blocks. */
    int level, strategy, memory_level;
    size_t chunk_bytes; /* largest IDAT */
} PngOptions;
void png_write(const char *path, const Pixels *pixels, const PngOptions *options);

typedef struct TiffOptions {
    const char *mode;        /* of TIFFOpen: NULL for "w"; "w8" BigTIFF, "wb" big-endian */
    int compression;         /* COMPRESSION_...; 0: none */
    int predictor;           /* 0: none */
    unsigned rows_per_strip; /* 0: 16 */
    unsigned tile_side;      /* 0: strips */
    bool planar;             /* one plane a channel */
    const void *icc;
    size_t icc_bytes;
    const char *xmp;
} TiffOptions;
void tiff_write(const char *path, const Pixels *pixels, const TiffOptions *options);

/* An sRGB profile, made by lcms2; free it. */
uint8_t *profile_make(size_t *bytes);

/* By the file's first bytes. JPEG without fancy upsampling, so that a pixel depends on its own MCU only. */
Pixels picture_decode(const char *path);

/* True when all rows [0, end) are the same in both; sizes and kinds must be, too. */
bool pixels_same_rows(const Pixels *a, const Pixels *b, size_t end);
/* The same for JPEG coefficients: all blocks whose MCU ends at or above row `end`. Tables must be equal, too.
 */
bool jpeg_same_blocks(const char *a, const char *b, size_t end_row);
/* True when every block of `b` is the one of `a` that lies shift_px further right, round the edge. */
bool jpeg_moved_blocks(const char *a, const char *b, size_t shift_px);

#endif
