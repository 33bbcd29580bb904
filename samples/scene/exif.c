/* EXIF by libexif. Tags: CIPA DC-008 (EXIF 2.32). */
#include "exif.h"

#include <libexif/exif-data.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Offset of local time to UTC, EXIF 2.31; named here because older copies of libexif do not know it. */
#define TAG_OFFSET_TIME          0x9010
#define TAG_OFFSET_TIME_ORIGINAL 0x9011

/* An empty entry of the given kind in a directory; its data belongs to the EXIF data. */
static ExifEntry *add(ExifData *data, ExifIfd ifd, int tag, ExifFormat format, unsigned count)
{
    ExifEntry *entry = exif_entry_new();
    unsigned size = count * exif_format_get_size(format);
    if (entry == NULL)
        return NULL;
    /* libexif frees entries' data with its own allocator, which is malloc's unless told otherwise */
    entry->data = calloc(size, 1);
    entry->tag = (ExifTag)tag;
    entry->format = format;
    entry->components = count;
    entry->size = entry->data == NULL ? 0 : size;
    exif_content_add_entry(data->ifd[ifd], entry);
    exif_entry_unref(entry);
    return entry->data == NULL ? NULL : entry;
}

static void add_text(ExifData *data, ExifIfd ifd, int tag, const char *text)
{
    ExifEntry *entry = add(data, ifd, tag, EXIF_FORMAT_ASCII, (unsigned)strlen(text) + 1);
    if (entry != NULL)
        memcpy(entry->data, text, strlen(text) + 1);
}

static void add_short(ExifData *data, ExifIfd ifd, int tag, unsigned value)
{
    ExifEntry *entry = add(data, ifd, tag, EXIF_FORMAT_SHORT, 1);
    if (entry != NULL)
        exif_set_short(entry->data, EXIF_BYTE_ORDER_INTEL, (ExifShort)value);
}

static void add_long(ExifData *data, ExifIfd ifd, int tag, size_t value)
{
    ExifEntry *entry = add(data, ifd, tag, EXIF_FORMAT_LONG, 1);
    if (entry != NULL)
        exif_set_long(entry->data, EXIF_BYTE_ORDER_INTEL, (ExifLong)value);
}

static void add_ratio(ExifData *data, ExifIfd ifd, int tag, unsigned over, unsigned under)
{
    ExifEntry *entry = add(data, ifd, tag, EXIF_FORMAT_RATIONAL, 1);
    if (entry != NULL)
        exif_set_rational(entry->data, EXIF_BYTE_ORDER_INTEL, (ExifRational){over, under});
}

/* The three rationals of an angle or a time, 8 bytes each. */
static void set_three(ExifEntry *entry, const ExifRational parts[3])
{
    for (size_t i = 0; i < 3; i++)
        exif_set_rational(entry->data + 8 * i, EXIF_BYTE_ORDER_INTEL, parts[i]);
}

/* Degrees, minutes, seconds. */
static void add_angle(ExifData *data, int tag, double deg)
{
    ExifEntry *entry = add(data, EXIF_IFD_GPS, tag, EXIF_FORMAT_RATIONAL, 3);
    if (entry == NULL)
        return;
    unsigned hundredths = (unsigned)lround(fabs(deg) * 360000);
    ExifRational parts[3] = {{hundredths / 360000, 1}, {hundredths / 6000 % 60, 1}, {hundredths % 6000, 100}};
    set_three(entry, parts);
}

static void add_place(ExifData *data, const Spot *spot)
{
    ExifEntry *version = add(data, EXIF_IFD_GPS, EXIF_TAG_GPS_VERSION_ID, EXIF_FORMAT_BYTE, 4);
    if (version != NULL)
        memcpy(version->data, "\2\3\0\0", 4);
    add_text(data, EXIF_IFD_GPS, EXIF_TAG_GPS_LATITUDE_REF, TOUR_LAT_DEG < 0 ? "S" : "N");
    add_angle(data, EXIF_TAG_GPS_LATITUDE, TOUR_LAT_DEG);
    add_text(data, EXIF_IFD_GPS, EXIF_TAG_GPS_LONGITUDE_REF, TOUR_LON_DEG < 0 ? "W" : "E");
    add_angle(data, EXIF_TAG_GPS_LONGITUDE, TOUR_LON_DEG);
    add_text(data, EXIF_IFD_GPS, EXIF_TAG_GPS_IMG_DIRECTION_REF, "T");
    add_ratio(data, EXIF_IFD_GPS, EXIF_TAG_GPS_IMG_DIRECTION, (unsigned)lround(spot->heading_deg * 100), 100);
    ExifEntry *time = add(data, EXIF_IFD_GPS, EXIF_TAG_GPS_TIME_STAMP, EXIF_FORMAT_RATIONAL, 3);
    if (time == NULL)
        return;
    ExifRational parts[3] = {{(unsigned)spot->hour_utc, 1}, {(unsigned)spot->minute_utc, 1}, {0, 1}};
    set_three(time, parts);
}

static void add_exposure(ExifData *data, const Spot *spot, double focal_mm)
{
    ExifEntry *version = add(data, EXIF_IFD_EXIF, EXIF_TAG_EXIF_VERSION, EXIF_FORMAT_UNDEFINED, 4);
    if (version != NULL)
        memcpy(version->data, "0232", 4);
    add_ratio(data, EXIF_IFD_EXIF, EXIF_TAG_EXPOSURE_TIME, 1, (unsigned)lround(1 / spot->shutter_s));
    add_ratio(data, EXIF_IFD_EXIF, EXIF_TAG_FNUMBER, 11, 1);
    add_short(data, EXIF_IFD_EXIF, EXIF_TAG_ISO_SPEED_RATINGS, 100);
    add_ratio(data, EXIF_IFD_EXIF, EXIF_TAG_FOCAL_LENGTH, (unsigned)lround(focal_mm * 10), 10);
    add_text(data, EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL, spot->taken);
    add_text(data, EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_DIGITIZED, spot->taken);
    add_text(data, EXIF_IFD_EXIF, TAG_OFFSET_TIME, TOUR_ZONE);
    add_text(data, EXIF_IFD_EXIF, TAG_OFFSET_TIME_ORIGINAL, TOUR_ZONE);
    add_text(data, EXIF_IFD_EXIF, 0xA434, "Sample 8 mm fisheye"); /* LensModel */
}

unsigned char *exif_for_spot(const Spot *spot, double focal_mm, size_t width, size_t height,
                             unsigned *size_bytes)
{
    ExifData *data = exif_data_new();
    unsigned char *raw = NULL, *bytes = NULL;
    unsigned raw_size = 0;
    if (data == NULL)
        return NULL;
    exif_data_set_byte_order(data, EXIF_BYTE_ORDER_INTEL);
    add_text(data, EXIF_IFD_0, EXIF_TAG_IMAGE_DESCRIPTION, spot->title);
    add_text(data, EXIF_IFD_0, EXIF_TAG_MAKE, "Sample Camera Works");
    add_text(data, EXIF_IFD_0, EXIF_TAG_MODEL, "Model One");
    add_short(data, EXIF_IFD_0, EXIF_TAG_ORIENTATION, 1);
    add_text(data, EXIF_IFD_0, EXIF_TAG_SOFTWARE, "underfoot scene maker");
    add_text(data, EXIF_IFD_0, EXIF_TAG_DATE_TIME, spot->taken);
    add_text(data, EXIF_IFD_0, EXIF_TAG_ARTIST, "Thimble House");
    add_exposure(data, spot, focal_mm);
    add_long(data, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_X_DIMENSION, width);
    add_long(data, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_Y_DIMENSION, height);
    add_place(data, spot);
    exif_data_save_data(data, &raw, &raw_size);
    /* libexif puts "Exif\0\0" first, as JPEG has it */
    if (raw != NULL && raw_size > 6 && (bytes = malloc(raw_size - 6)) != NULL) {
        memcpy(bytes, raw + 6, raw_size - 6);
        *size_bytes = raw_size - 6;
    }
    free(raw);
    exif_data_unref(data);
    return bytes;
}
