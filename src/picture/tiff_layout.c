/*
 * TIFF 6.0 (Adobe, 1992) and BigTIFF: which of its many kinds are handled, and what the samples of a row
 * mean.
 */
#include "picture/tiff_internal.h"

const char *uf_tiff_compression_name(uint16_t compression)
{
    switch (compression) {
    case COMPRESSION_NONE:
        return "uncompressed";
    case COMPRESSION_LZW:
        return "LZW";
    case COMPRESSION_DEFLATE:
    case COMPRESSION_ADOBE_DEFLATE:
        return "deflate";
    case COMPRESSION_PACKBITS:
        return "PackBits";
    case COMPRESSION_ZSTD:
        return "Zstandard";
    case COMPRESSION_LZMA:
        return "LZMA";
    default:
        return NULL;
    }
}

static UfStatus check_compression(uint16_t compression, UfReport *report)
{
    if (uf_tiff_compression_name(compression) != NULL && TIFFIsCODECConfigured(compression))
        return UF_OK;
    return uf_fail(report, UF_ERROR_UNSUPPORTED,
                   "the TIFF's compression (%u) is not handled; save it with LZW, Deflate or none",
                   compression);
}

static const char *photometric_name(uint16_t photometric)
{
    switch (photometric) {
    case PHOTOMETRIC_PALETTE:
        return "a palette of another depth than 8 bits";
    case PHOTOMETRIC_MASK:
        return "a mask";
    case PHOTOMETRIC_SEPARATED:
        return "CMYK";
    case PHOTOMETRIC_YCBCR:
        return "YCbCr";
    case PHOTOMETRIC_CIELAB:
    case PHOTOMETRIC_ICCLAB:
    case PHOTOMETRIC_ITULAB:
        return "Lab";
    case PHOTOMETRIC_LOGL:
    case PHOTOMETRIC_LOGLUV:
        return "LogLuv";
    case PHOTOMETRIC_CFA:
        return "a raw sensor picture";
    default:
        return "of an unknown colour kind";
    }
}

static UfStatus read_sample(TIFF *tiff, UfTiffLayout *layout, UfReport *report)
{
    uint16_t bits = 1, format = SAMPLEFORMAT_UINT;
    TIFFGetFieldDefaulted(tiff, TIFFTAG_BITSPERSAMPLE, &bits);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_SAMPLEFORMAT, &format);
    bool whole = format == SAMPLEFORMAT_UINT || format == SAMPLEFORMAT_VOID;
    if (whole && bits == 8)
        layout->sample = UF_SAMPLE_U8;
    else if (whole && bits == 16)
        layout->sample = UF_SAMPLE_U16;
    else if (format == SAMPLEFORMAT_IEEEFP && bits == 32)
        layout->sample = UF_SAMPLE_F32;
    else
        return uf_fail(
            report, UF_ERROR_UNSUPPORTED,
            "the TIFF has %u-bit %s samples; only 8 and 16 bits and 32-bit floating point are handled", bits,
            whole                           ? "unsigned"
            : format == SAMPLEFORMAT_INT    ? "signed"
            : format == SAMPLEFORMAT_IEEEFP ? "floating point"
                                            : "complex");
    return UF_OK;
}

static UfStatus read_channels(TIFF *tiff, UfTiffLayout *layout, UfReport *report)
{
    uint16_t samples = 1, extra_count = 0, *extras = NULL;
    TIFFGetFieldDefaulted(tiff, TIFFTAG_SAMPLESPERPIXEL, &samples);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_EXTRASAMPLES, &extra_count, &extras);
    if (!TIFFGetField(tiff, TIFFTAG_PHOTOMETRIC, &layout->photometric))
        layout->photometric = samples >= 3 ? PHOTOMETRIC_RGB : PHOTOMETRIC_MINISBLACK;
    uint16_t kind = layout->photometric;
    bool palette = kind == PHOTOMETRIC_PALETTE && layout->sample == UF_SAMPLE_U8 && samples == 1;
    size_t colours = 0;
    if (kind == PHOTOMETRIC_MINISBLACK || kind == PHOTOMETRIC_MINISWHITE || palette)
        colours = 1;
    else if (kind == PHOTOMETRIC_RGB)
        colours = 3;
    else
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "the TIFF is %s; convert it to grey or RGB first",
                       photometric_name(kind));
    if (samples < colours || samples > colours + 1)
        return uf_fail(
            report, UF_ERROR_UNSUPPORTED,
            "the TIFF has %u channels; only grey and RGB with at most one alpha channel are handled",
            samples);
    layout->stored_channels = samples;
    layout->channels = palette ? 3 : samples;
    layout->has_alpha = samples == colours + 1;
    layout->premultiplied = layout->has_alpha && extra_count > 0 && extras[0] == EXTRASAMPLE_ASSOCALPHA;
    return UF_OK;
}

static UfStatus read_chunks(TIFF *tiff, UfTiffLayout *layout, UfReport *report)
{
    uint32_t width = 0, height = 0;
    layout->tiled = TIFFIsTiled(tiff) != 0;
    if (layout->tiled) {
        TIFFGetField(tiff, TIFFTAG_TILEWIDTH, &width);
        TIFFGetField(tiff, TIFFTAG_TILELENGTH, &height);
    } else {
        width = (uint32_t)layout->width_px;
        TIFFGetFieldDefaulted(tiff, TIFFTAG_ROWSPERSTRIP, &height);
        height = height > layout->height_px ? (uint32_t)layout->height_px : height;
    }
    uint64_t bytes = layout->tiled ? TIFFTileSize64(tiff) : TIFFStripSize64(tiff);
    size_t planes = layout->separate ? 1 : layout->stored_channels, row, expected;
    if (width == 0 || height == 0 || !uf_product(width, planes * (size_t)layout->sample, &row) ||
        !uf_product(row, height, &expected) || bytes != expected)
        return uf_fail(report, UF_ERROR_FORMAT, "the TIFF's strips or tiles have an impossible size");
    layout->tile_width_px = width;
    layout->tile_height_px = height;
    layout->chunk_bytes = expected;
    return UF_OK;
}

UfStatus uf_tiff_layout(TIFF *tiff, UfTiffLayout *out, UfReport *report)
{
    UfTiffLayout layout = {.compression = COMPRESSION_NONE, .planar = PLANARCONFIG_CONTIG};
    uint32_t width = 0, height = 0;
    uint16_t orientation = ORIENTATION_TOPLEFT;
    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &height);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_COMPRESSION, &layout.compression);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_PLANARCONFIG, &layout.planar);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_ORIENTATION, &orientation);
    if (width == 0 || height == 0)
        return uf_fail(report, UF_ERROR_FORMAT, "claims a size of %u x %u pixels", width, height);
    layout.width_px = width;
    layout.height_px = height;
    layout.orientation = orientation >= 1 && orientation <= 8 ? orientation : 1;
    UfStatus status = check_compression(layout.compression, report);
    if (status == UF_OK)
        status = read_sample(tiff, &layout, report);
    if (status == UF_OK)
        status = read_channels(tiff, &layout, report);
    layout.separate = layout.planar == PLANARCONFIG_SEPARATE && layout.stored_channels > 1;
    if (status == UF_OK)
        status = read_chunks(tiff, &layout, report);
    if (status == UF_OK)
        *out = layout;
    return status;
}

/* white is 0: grey turned round, alpha as it is */
static void invert_grey(const UfTiffLayout *layout, void *row, size_t width_px)
{
    for (size_t x = 0; x < width_px; x++) {
        size_t i = x * layout->channels;
        if (layout->sample == UF_SAMPLE_U8)
            ((uint8_t *)row)[i] = (uint8_t)(255 - ((uint8_t *)row)[i]);
        else if (layout->sample == UF_SAMPLE_U16)
            ((uint16_t *)row)[i] = (uint16_t)(65535 - ((uint16_t *)row)[i]);
        else
            ((float *)row)[i] = 1 - ((float *)row)[i];
    }
}

static unsigned divided(unsigned value, unsigned alpha, unsigned max)
{
    uint64_t result = alpha == 0 ? 0 : ((uint64_t)value * max + alpha / 2) / alpha;
    return result > max ? max : (unsigned)result;
}

static unsigned multiplied(unsigned value, unsigned alpha, unsigned max)
{
    return (unsigned)(((uint64_t)value * alpha + max / 2) / max);
}

/* Associated alpha (TIFF 6.0 p. 69): colours in the file are multiplied by alpha. */
static void apply_alpha(const UfTiffLayout *layout, void *row, size_t width_px, bool to_file)
{
    size_t colours = layout->channels - 1;
    for (size_t x = 0; x < width_px; x++)
        for (size_t c = 0; c < colours; c++) {
            size_t i = x * layout->channels + c, a = x * layout->channels + colours;
            if (layout->sample == UF_SAMPLE_U8) {
                uint8_t *s = row;
                s[i] = (uint8_t)(to_file ? multiplied(s[i], s[a], 255) : divided(s[i], s[a], 255));
            } else if (layout->sample == UF_SAMPLE_U16) {
                uint16_t *s = row;
                s[i] = (uint16_t)(to_file ? multiplied(s[i], s[a], 65535) : divided(s[i], s[a], 65535));
            } else {
                float *s = row;
                s[i] = to_file ? s[i] * s[a] : s[a] > 0 ? s[i] / s[a] : 0;
            }
        }
}

void uf_tiff_row_from_file(const UfTiffLayout *layout, void *row, size_t width_px)
{
    if (layout->premultiplied)
        apply_alpha(layout, row, width_px, false);
    if (layout->photometric == PHOTOMETRIC_MINISWHITE)
        invert_grey(layout, row, width_px);
}

void uf_tiff_row_to_file(const UfTiffLayout *layout, void *row, size_t width_px)
{
    if (layout->photometric == PHOTOMETRIC_MINISWHITE)
        invert_grey(layout, row, width_px);
    if (layout->premultiplied)
        apply_alpha(layout, row, width_px, true);
}
