/*
 * EXIF between a TIFF file and an EXIF blob (CIPA DC-008, EXIF 2.32; TIFF 6.0).
 *
 * A TIFF file has its EXIF spread over IFD0 (Make, Model, DateTime, Orientation, resolution, ...), an EXIF
 * IFD and a GPS IFD; in JPEG and PNG the same tags form a small TIFF structure of their own. The directories
 * are copied entry by entry as bytes, so every type, every unknown tag and MakerNote come through exactly.
 * (libtiff's own EXIF directories would turn rationals into floating point and refuse the tags that they
 * don't know.)
 */
#ifndef UF_PICTURE_TIFF_EXIF_H
#define UF_PICTURE_TIFF_EXIF_H

#include <tiffio.h>

#include "base/report.h"
#include "picture/metadata.h"

/*
 * Builds an EXIF blob, in the file's byte order, from the current directory of `tiff`. The blob stays empty
 * when the directory has no such tags. Damaged sub-directories are left out with a warning. The position of
 * the file behind `tiff` moves, as with every call of libtiff. Read through TIFFGetReadProc and
 * TIFFGetSeekProc: works on memory-mapped and client files.
 */
UfStatus uf_tiff_read_exif(TIFF *tiff, UfBlob *exif, UfReport *report);

/*
 * Writes such a blob to a TIFF file that is being written: descriptive tags go into the current directory
 * with TIFFSetField, and the EXIF, interoperability and GPS directories are appended to the file as they are.
 * IFD1 (a thumbnail) does not travel. Orientation and pixel dimensions come from the blob: correct it first.
 *
 * Order of calls: TIFFOpen/TIFFClientOpen for writing; all TIFFSetField calls for the pixels (libtiff needs
 * some of them before others); uf_tiff_write_exif; then TIFFWriteScanline and the like; TIFFClose. It must
 * not be called between the first strip or tile and the directory's writing, since libtiff may then be in the
 * middle of a strip.
 */
UfStatus uf_tiff_write_exif(TIFF *tiff, UfBlob exif, UfReport *report);

/*
 * For `output_fd`, a copy of the file behind `tiff` whose EXIF directory stands where it stood:
 * PixelXDimension and PixelYDimension are set in their place, where they are present. Nothing else changes.
 */
UfStatus uf_tiff_correct_exif(TIFF *tiff, int output_fd, const char *output_name, size_t width_px,
                              size_t height_px, UfReport *report);

#endif
