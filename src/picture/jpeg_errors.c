/* libjpeg's errors as statuses: fatal ones jump, damage in the picture's data is fatal too, the rest are
 * warnings. */
#include "picture/jpeg_internal.h"

#include <jerror.h>

static UfStatus status_of(int code)
{
    switch (code) {
    case JERR_BAD_PRECISION:
    case JERR_SOF_UNSUPPORTED:
    case JERR_ARITH_NOTIMPL:
    case JERR_IMAGE_TOO_BIG:
    case JERR_WIDTH_OVERFLOW:
    case JERR_CONVERSION_NOTIMPL:
    case JERR_COMPONENT_COUNT:
    case JERR_FRACT_SAMPLE_NOTIMPL:
    case JERR_CCIR601_NOTIMPL:
    case JERR_NOT_COMPILED:
        return UF_ERROR_UNSUPPORTED;
    case JERR_OUT_OF_MEMORY:
    case JERR_NO_BACKING_STORE:
        return UF_ERROR_MEMORY;
    case JERR_FILE_READ:
    case JERR_FILE_WRITE:
        return UF_ERROR_IO;
    default:
        return UF_ERROR_FORMAT;
    }
}

static const char *advice_of(int code)
{
    switch (code) {
    case JERR_BAD_PRECISION:
        return "only JPEGs of 8 bits a sample are read; save it as 8-bit JPEG, PNG or TIFF (libjpeg: ";
    case JERR_SOF_UNSUPPORTED:
        return "this kind of JPEG (lossless or hierarchical) is not read; save it as a usual JPEG (libjpeg: ";
    case JERR_FILE_WRITE:
        return "cannot be written; is the disk full? (libjpeg: ";
    case JERR_OUT_OF_MEMORY:
    case JERR_NO_BACKING_STORE:
        return "not enough memory (libjpeg: ";
    default:
        return status_of(code) == UF_ERROR_UNSUPPORTED ? "this kind of JPEG is not handled (libjpeg: "
                                                       : "the JPEG is damaged (libjpeg: ";
    }
}

/* libjpeg calls it through a pointer declared noreturn-less; it never returns. */
static void error_exit(j_common_ptr jpeg)
{
    UfJpegErrors *errors = (UfJpegErrors *)jpeg->err;
    char text[JMSG_LENGTH_MAX];
    jpeg->err->format_message(jpeg, text);
    int code = jpeg->err->msg_code;
    errors->status = uf_fail(errors->report, status_of(code), "%s%s)", advice_of(code), text);
    longjmp(errors->jump, 1);
}

/* Damage that changes pixels, as against oddities that don't. */
static bool is_damage(const UfJpegErrors *errors)
{
    switch (errors->base.msg_code) {
    case JWRN_ARITH_BAD_CODE:
    case JWRN_HIT_MARKER:
    case JWRN_HUFF_BAD_CODE:
    case JWRN_JPEG_EOF:
    case JWRN_MUST_RESYNC:
    case JWRN_NOT_SEQUENTIAL:
        return true;
    case JWRN_EXTRANEOUS_DATA:
        return errors->in_image;
    default:
        return false;
    }
}

static void emit_message(j_common_ptr jpeg, int level)
{
    if (level >= 0)
        return;
    UfJpegErrors *errors = (UfJpegErrors *)jpeg->err;
    jpeg->err->num_warnings++;
    if (is_damage(errors))
        error_exit(jpeg);
    if (errors->base.msg_code == JWRN_BOGUS_ICC)
        return; /* the reader of the profile says it better */
    char text[JMSG_LENGTH_MAX];
    jpeg->err->format_message(jpeg, text);
    uf_warn(errors->report, "%s: %s", errors->name, text);
}

struct jpeg_error_mgr *uf_jpeg_errors_init(UfJpegErrors *errors, const char *name, UfReport *report)
{
    memset(errors, 0, sizeof *errors);
    jpeg_std_error(&errors->base);
    errors->base.error_exit = error_exit;
    errors->base.emit_message = emit_message;
    errors->report = report;
    errors->name = name;
    return &errors->base;
}

void uf_jpeg_count_scans(j_common_ptr jpeg)
{
    if (!jpeg->is_decompressor || ((j_decompress_ptr)jpeg)->input_scan_number <= UF_JPEG_MAX_SCANS)
        return;
    UfJpegErrors *errors = (UfJpegErrors *)jpeg->err;
    errors->status = uf_fail(errors->report, UF_ERROR_FORMAT,
                             "the JPEG has more than %d scans, which no encoder makes", UF_JPEG_MAX_SCANS);
    longjmp(errors->jump, 1);
}

void uf_jpeg_limit_scans(struct jpeg_decompress_struct *jpeg, UfJpegErrors *errors)
{
    errors->progress.progress_monitor = uf_jpeg_count_scans;
    jpeg->progress = &errors->progress;
}
