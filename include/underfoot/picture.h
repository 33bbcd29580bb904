/*
 * Pictures in memory and in files: pixels, and the metadata that travels with them.
 *
 * Files: JPEG (8 bit; grey, YCbCr, RGB), PNG (8/16 bit), TIFF and BigTIFF (8/16 bit, 32-bit float), told from
 * content. Pixels are interleaved, rows top to bottom, samples in the machine's byte order, alpha not
 * premultiplied. EXIF, ICC profile and XMP travel beside the pixels as raw blobs.
 */
#ifndef UNDERFOOT_PICTURE_H
#define UNDERFOOT_PICTURE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <underfoot/api.h>
#include <underfoot/status.h>

UF_API_BEGIN

typedef enum UfFormat { UF_FORMAT_UNKNOWN = 0, UF_FORMAT_JPEG, UF_FORMAT_PNG, UF_FORMAT_TIFF } UfFormat;

/* The value is the number of bytes of one sample. U8: 0..255, U16: 0..65535, F32: 0..1 nominal, not clipped.
 */
typedef enum UfSample { UF_SAMPLE_U8 = 1, UF_SAMPLE_U16 = 2, UF_SAMPLE_F32 = 4 } UfSample;

/* Bytes of a file's metadata; NULL and 0 when there are none. */
typedef struct UfBlob {
    uint8_t *data;
    size_t size_bytes;
} UfBlob;

/* Pixels and metadata. Opaque; made by the calls below and freed with uf_picture_free. */
typedef struct UfPicture UfPicture;

#define UF_PICTURE_MAX_SIDE_PX 1000000u

/*
 * A picture of zeros. channels: 1 grey, 2 grey + alpha, 3 RGB, 4 RGBA; sides 1..UF_PICTURE_MAX_SIDE_PX.
 * On success the caller owns *out.
 */
UfStatus uf_picture_create(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                           UfPicture **out, UfReport *report);
void uf_picture_free(UfPicture **picture);
/* Deep copy, metadata included. */
UfStatus uf_picture_copy(const UfPicture *picture, UfPicture **out, UfReport *report);
/* Copies all metadata (EXIF, ICC, XMP, text and the like) from one picture to another. */
UfStatus uf_picture_copy_metadata(const UfPicture *from, UfPicture *to, UfReport *report);

size_t uf_picture_width_px(const UfPicture *picture);
size_t uf_picture_height_px(const UfPicture *picture);
size_t uf_picture_channels(const UfPicture *picture);
UfSample uf_picture_sample(const UfPicture *picture);
/* Bytes from one row to the next. */
size_t uf_picture_stride_bytes(const UfPicture *picture);
/* True for 2 and 4 channels: the last one is alpha. */
bool uf_picture_has_alpha(const UfPicture *picture);
/* First byte of row y, y < height. Borrowed. */
void *uf_picture_row(UfPicture *picture, size_t y_px);
const void *uf_picture_row_const(const UfPicture *picture, size_t y_px);
/* The rows [*first_px, *end_px) that are there: all of them unless the picture was read in part. */
void uf_picture_held_rows(const UfPicture *picture, size_t *first_px, size_t *end_px);
/* The format of the file it was read from; UNKNOWN when it was made here. */
UfFormat uf_picture_format(const UfPicture *picture);
/* Borrowed blobs: EXIF as a TIFF structure without the "Exif" prefix, the profile, the XMP packet (UTF-8). */
UfBlob uf_picture_exif(const UfPicture *picture);
UfBlob uf_picture_icc(const UfPicture *picture);
UfBlob uf_picture_xmp(const UfPicture *picture);
/* Replaces the picture's EXIF or profile by a copy of the bytes; size 0 removes it. The bytes are not
 * examined. */
UfStatus uf_picture_set_exif(UfPicture *picture, const void *data, size_t size_bytes, UfReport *report);
UfStatus uf_picture_set_icc(UfPicture *picture, const void *data, size_t size_bytes, UfReport *report);
/* A one-line name of the colour profile, written to `text` ("no profile" without one). */
void uf_picture_profile_name(const UfPicture *picture, char *text, size_t text_bytes);

/* What a file's header says, orientation already applied to width and height. */
typedef struct UfPictureInfo {
    UfFormat format;
    size_t width_px, height_px, channels;
    UfSample sample;
    int orientation;      /* EXIF orientation of the stored pixels, 1..8 */
    bool progressive;     /* JPEG: progressive; PNG: interlaced */
    bool big_tiff, tiled; /* TIFF only */
    char encoding[64];    /* "baseline 4:2:0", "deflate", "LZW", ... for a person to read */
    uint64_t file_bytes;
} UfPictureInfo;

UfStatus uf_picture_probe(const char *path, UfPictureInfo *out, UfReport *report);

/* Says that the rows before end_px of a picture that is being read or made are there. */
typedef void UfRowsTold(void *data, UfPicture *picture, size_t end_px);
/* Waits until the rows before end_px of such a picture are there. How many are, end_px or more, or 0 where
 * they will not come. */
typedef size_t UfRowsAwaited(void *data, size_t end_px);

/* Of the rows [first_px, end_px) only those for which (y - base_px) modulo period_px is below kept_px, where
 * base_px <= first_px. All of them where period_px is 0. */
typedef struct UfSparseRows {
    size_t first_px, end_px, base_px, period_px, kept_px;
} UfSparseRows;

typedef struct UfReadOptions {
    size_t max_memory_bytes; /* refuse pictures that need more; 0: three quarters of the machine's memory */
    /*
     * Only rows [first_row_px, end_row_px) of the upright picture are needed, or all when end_row_px is 0.
     * Where the file allows it (JPEG and TIFF that are stored upright) the others are not decoded and take no
     * memory: looking at one of them ends the program. uf_picture_held_rows says what is there; it may be
     * more than was asked for. Such a picture can only be written by uf_picture_rewrite, in the format that
     * it was read from.
     */
    size_t first_row_px, end_row_px;
    /*
     * Of these, rows [replaced_first_px, replaced_end_px) will be written to before they are looked at; none
     * when replaced_end_px is 0. Where that saves work (JPEG) they are not decoded: they hold zeros, and
     * damage of the file that lies in them alone goes unnoticed.
     */
    size_t replaced_first_px, replaced_end_px;
    /* Of these, the rows that are looked at. The others hold zeros where that saves memory (JPEG and TIFF
     * that are stored upright). */
    UfSparseRows sparse;
    int threads; /* for decoding; 0: all cores; never changes the pixels */
    /*
     * NULL, or called now and then by the thread that reads, where all rows come from the top down (files
     * that are stored upright; of PNG those that are not interlaced and whose metadata stand before the
     * pixels): the metadata and the rows before end_px are there and may be looked at while the reading goes
     * on. If it fails after that this is called once more, with NULL: when it returns, the picture is freed.
     */
    UfRowsTold *rows_read;
    void *rows_read_data;
} UfReadOptions;

/*
 * Reads a file; EXIF orientation is applied, so that row 0 is the top. Palette, 1-, 2- and 4-bit pictures
 * come as 8 bit; a transparent colour comes as alpha. NULL options mean the defaults. On success the caller
 * owns *out.
 */
UfStatus uf_picture_read(const char *path, const UfReadOptions *options, UfPicture **out, UfReport *report);

typedef struct UfWriteOptions {
    bool overwrite; /* replace an existing file (otherwise UF_ERROR_EXISTS) */
    int quality;    /* JPEG 1..100; 0: 92 */
    int depth_bits; /* 0: as the picture, where the format can hold it; 8 or 16 */
    int threads;    /* for coding (PNG, TIFF); 0: all cores; never changes the bytes */
    /*
     * NULL, or asked before rows are looked at: the picture is still being made, but for its metadata. Where
     * they do not come writing ends with UF_ERROR_ARGUMENT and no file. uf_picture_write alone asks.
     */
    UfRowsAwaited *rows;
    void *rows_data;
} UfWriteOptions;

/* From the name's extension, any case: .jpg .jpeg .png .tif .tiff; UNKNOWN for others. */
UfFormat uf_format_from_name(const char *path);
/* "JPEG", "PNG", "TIFF", "unknown". */
const char *uf_format_name(UfFormat format);

/*
 * Writes a new file in the format of its name's extension, through a temporary file that is flushed and
 * renamed. Metadata travel, corrected where the pixels made them wrong (dimensions, orientation, thumbnail).
 * JPEG has no alpha: a picture with one is refused. 16-bit and float pictures are rounded to 8 bits for JPEG;
 * float to 16 bits for PNG.
 */
UfStatus uf_picture_write(const UfPicture *picture, const char *path, const UfWriteOptions *options,
                          UfReport *report);

/*
 * Which parts of a picture were changed, in cells of 8 x 8 pixels of the upright picture. Opaque.
 */
typedef struct UfTouched UfTouched;
UfStatus uf_touched_create(size_t width_px, size_t height_px, UfTouched **out, UfReport *report);
void uf_touched_free(UfTouched **touched);
/* Marks the pixels [x0, x1) x [y0, y1); parts outside the picture are ignored. */
void uf_touched_add(UfTouched *touched, size_t x0_px, size_t y0_px, size_t x1_px, size_t y1_px);
/* True when any cell that overlaps [x0, x1) x [y0, y1) is marked. */
bool uf_touched_any(const UfTouched *touched, size_t x0_px, size_t y0_px, size_t x1_px, size_t y1_px);

/*
 * Writes `picture`, which was read from `source_path` and changed only where `touched` says, to `path`.
 * JPEG to JPEG: coefficients outside the touched MCUs stay exactly as they were, with the file's own tables,
 * sampling and scan order. TIFF to TIFF: untouched strips and tiles and all other tags stay byte for byte.
 * Every other case: as uf_picture_write. `path` may be `source_path` when options->overwrite is set. A
 * quality or depth in the options makes the file anew. Metadata are corrected; what stops being true when the
 * pixels change (an EXIF thumbnail, a multi-picture index, a gain map) goes, with a warning for the last two.
 */
UfStatus uf_picture_rewrite(const UfPicture *picture, const char *source_path, const UfTouched *touched,
                            const char *path, const UfWriteOptions *options, UfReport *report);

/* Photo Sphere metadata (XMP namespace http://ns.google.com/photos/1.0/panorama/). */
typedef struct UfPhotoSphere {
    bool present;        /* ProjectionType is there */
    char projection[32]; /* "equirectangular" */
    bool has_full, has_cropped, has_heading, has_pitch, has_roll;
    long full_width_px, full_height_px;
    long cropped_width_px, cropped_height_px, cropped_left_px, cropped_top_px;
    double heading_deg; /* compass heading of the centre, [0, 360) */
    double pitch_deg;   /* [-90, 90] */
    double roll_deg;    /* (-180, 180] */
} UfPhotoSphere;

/* Reads what the picture's XMP says; all false and 0 when it says nothing. */
UfStatus uf_picture_photo_sphere(const UfPicture *picture, UfPhotoSphere *out, UfReport *report);
/*
 * Sets the fields that are present and leaves every other property of the XMP as it is. Full and cropped size
 * given together speak of the picture's present size: they are not scaled when it is written.
 */
UfStatus uf_picture_set_photo_sphere(UfPicture *picture, const UfPhotoSphere *sphere, UfReport *report);
/* Removes every property of the Photo Sphere namespace: for pictures that are no panorama any more. */
UfStatus uf_picture_drop_photo_sphere(UfPicture *picture, UfReport *report);
/*
 * Turning a panorama about its vertical axis without decoding it: whole columns move round the edge.
 *
 * uf_picture_shift_step says how many columns at a time this file can move: the width of a JPEG's MCU where
 * the picture's width is a multiple of it, 0 where nothing can (another format, a width that does not fit,
 * stored turned). uf_picture_shift writes to `path`, a JPEG too: column x of the result is column x +
 * shift_px of the source, shift_px a multiple of the step below the width. Every coefficient, table and
 * marker stays; metadata are corrected as by uf_picture_rewrite, with the fields that are present in `pose`
 * (NULL for none) set.
 */
UfStatus uf_picture_shift_step(const char *path, size_t *step_px, UfReport *report);
UfStatus uf_picture_shift(const char *source_path, size_t shift_px, const UfPhotoSphere *pose,
                          const char *path, bool overwrite, UfReport *report);
/*
 * Copies `source_path` to `path` with Photo Sphere fields for the full sphere; pixels and every other part of
 * the file stay as they are (the JPEG's entropy-coded data, PNG's IDAT and TIFF's strips byte for byte). Only
 * has_heading, has_pitch and has_roll of `pose` and their values are read; poses that are not given and are
 * in the file already stay. `path` may be `source_path` when options->overwrite is set.
 */
UfStatus uf_picture_tag(const char *source_path, const char *path, const UfPhotoSphere *pose,
                        const UfWriteOptions *options, UfReport *report);

UF_API_END
#endif
