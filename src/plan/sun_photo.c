/*
 * When, where and which way a panorama was taken: EXIF through libexif, the heading through the Photo Sphere
 * fields. Source: CIPA DC-008 (EXIF 2.31 brought the Offset tags), GPS directory tags 1-4, 7, 29.
 */
#include <libexif/exif-data.h>

#include <math.h>

#include <underfoot/sun.h>

#include "base/memory.h"
#include "picture/metadata.h"
#include "plan/sun_time.h"

/* GPS tags; libexif names them only in some versions, and their numbers are those of the interoperability
 * directory. */
enum {
    GPS_LATITUDE_REF = 1,
    GPS_LATITUDE = 2,
    GPS_LONGITUDE_REF = 3,
    GPS_LONGITUDE = 4,
    GPS_TIME = 7,
    GPS_DATE = 29
};

#define TEXT_BYTES 32

/* An ASCII entry without blanks at its end; false when there is none. */
static bool entry_text(ExifData *exif, ExifIfd directory, unsigned tag, char text[static TEXT_BYTES])
{
    ExifEntry *entry = exif_content_get_entry(exif->ifd[directory], (ExifTag)tag);
    if (entry == NULL || entry->format != EXIF_FORMAT_ASCII || entry->size == 0 || entry->data == NULL)
        return false;
    size_t length = entry->size < TEXT_BYTES ? entry->size : TEXT_BYTES - 1;
    memcpy(text, entry->data, length);
    text[length] = '\0';
    length = strlen(text);
    while (length > 0 && text[length - 1] == ' ')
        text[--length] = '\0';
    return length > 0;
}

/* Three rationals as a + b/60 + c/3600. */
static bool entry_sixties(ExifData *exif, unsigned tag, double *out)
{
    ExifEntry *entry = exif_content_get_entry(exif->ifd[EXIF_IFD_GPS], (ExifTag)tag);
    if (entry == NULL || entry->format != EXIF_FORMAT_RATIONAL || entry->components != 3 || entry->size < 24)
        return false;
    double sum = 0;
    double unit = 1;
    for (size_t i = 0; i < 3; i++) {
        ExifRational value = exif_get_rational(entry->data + 8 * i, exif_data_get_byte_order(exif));
        if (value.denominator == 0)
            return false;
        sum += unit * value.numerator / value.denominator;
        unit /= 60;
    }
    *out = sum;
    return true;
}

static bool angle_with_side(ExifData *exif, unsigned tag, unsigned side_tag, const char *sides,
                            double most_deg, double *out_rad)
{
    double deg = 0;
    char side[TEXT_BYTES];
    if (!entry_sixties(exif, tag, &deg) || !entry_text(exif, EXIF_IFD_GPS, side_tag, side))
        return false;
    if (!(deg <= most_deg) || (side[0] != sides[0] && side[0] != sides[1]))
        return false;
    *out_rad = uf_radians(side[0] == sides[0] ? deg : -deg);
    return true;
}

/* The GPS clock is universal time. */
static bool gps_time(ExifData *exif, UfTaken *taken)
{
    char date[TEXT_BYTES];
    char text[2 * TEXT_BYTES];
    double hours = 0;
    const char *rest = "";
    double day = 0;
    if (!entry_text(exif, EXIF_IFD_GPS, GPS_DATE, date) || !entry_sixties(exif, GPS_TIME, &hours) ||
        !(hours < 24.01))
        return false;
    snprintf(text, sizeof text, "%s 00:00", date);
    if (!uf_clock_parse(text, ':', &day, &rest) || *rest != '\0')
        return false;
    taken->julian_day = day + hours / 24;
    int seconds = (int)floor(hours * 3600 + 0.5);
    snprintf(taken->time_text, sizeof taken->time_text, "%.10s %02d:%02d:%02dZ", date, seconds / 3600 % 100,
             seconds / 60 % 60, seconds % 60);
    return true;
}

static bool clock_time(ExifData *exif, UfTaken *taken, bool *without_zone)
{
    char clock[TEXT_BYTES];
    char zone[TEXT_BYTES];
    const char *rest = "";
    double local = 0;
    double hours_east = 0;
    if (!entry_text(exif, EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL, clock) ||
        !uf_clock_parse(clock, ':', &local, &rest) || *rest != '\0')
        return false;
    bool has_zone = entry_text(exif, EXIF_IFD_EXIF, EXIF_TAG_OFFSET_TIME_ORIGINAL, zone) ||
                    entry_text(exif, EXIF_IFD_EXIF, EXIF_TAG_OFFSET_TIME, zone);
    if (!has_zone || !uf_zone_parse(zone, &hours_east)) {
        *without_zone = true;
        return false;
    }
    taken->julian_day = local - hours_east / 24;
    snprintf(taken->time_text, sizeof taken->time_text, "%.19s%.6s", clock, zone);
    return true;
}

static UfStatus read_exif(const char *path, UfBlob blob, UfTaken *taken, UfReport *report)
{
    static const unsigned char prefix[6] = {'E', 'x', 'i', 'f', 0, 0};
    UfStatus status = UF_OK;
    ExifData *exif = NULL;
    size_t size = blob.size_bytes + sizeof prefix;
    unsigned char *bytes = size <= UINT32_MAX ? uf_alloc(size, 1) : NULL;
    if (bytes == NULL)
        return uf_fail_memory(report);
    memcpy(bytes, prefix, sizeof prefix);
    memcpy(bytes + sizeof prefix, blob.data, blob.size_bytes);
    exif = exif_data_new();
    if (exif == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    exif_data_unset_option(exif, EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
    exif_data_load_data(exif, bytes, (unsigned)size);
    bool without_zone = false;
    taken->has_time = clock_time(exif, taken, &without_zone) || gps_time(exif, taken);
    if (!taken->has_time && without_zone)
        uf_warn(report, "%s: its EXIF time has no time zone; give the time with its zone yourself", path);
    taken->has_place =
        angle_with_side(exif, GPS_LATITUDE, GPS_LATITUDE_REF, "NS", 90, &taken->place.lat_rad) &&
        angle_with_side(exif, GPS_LONGITUDE, GPS_LONGITUDE_REF, "EW", 180, &taken->place.lon_rad);
cleanup:
    if (exif != NULL)
        exif_data_unref(exif);
    free(bytes);
    return status;
}

UfStatus uf_taken_read(const char *path, UfTaken *out, UfReport *report)
{
    UfMetadata metadata = {0};
    UfPhotoSphere sphere = {0};
    UfTaken taken = {0};
    UfStatus status = uf_metadata_read(path, &metadata, report);
    if (status == UF_OK && metadata.exif.size_bytes > 0)
        status = read_exif(path, metadata.exif, &taken, report);
    if (status == UF_OK && metadata.xmp.size_bytes > 0)
        status = uf_xmp_photo_sphere(metadata.xmp, &sphere, report);
    if (status != UF_OK)
        goto cleanup;
    taken.has_heading = sphere.has_heading;
    taken.heading_rad = uf_radians(sphere.heading_deg);
    *out = taken;
cleanup:
    uf_metadata_clear(&metadata);
    return status;
}
