/* EXIF between a TIFF file and a blob: directories are copied as bytes, beside libtiff. */
#include "picture/tiff_exif.h"

#include <errno.h>

#include "base/memory.h"
#include "picture/exif_bytes.h"
#include "picture/exif_directory.h"

#define HEADER_BYTES 8u

/* What IFD0 tells about the picture rather than about how its pixels are stored: EXIF 2.32, table 3, and two
 * others. */
typedef struct Described {
    uint16_t tag;
    TIFFDataType type;
    const char *name;
} Described;

static const Described described[] = {
    {0x010D, TIFF_ASCII, "DocumentName"},   {0x010E, TIFF_ASCII, "ImageDescription"},
    {0x010F, TIFF_ASCII, "Make"},           {0x0110, TIFF_ASCII, "Model"},
    {0x0112, TIFF_SHORT, "Orientation"},    {0x011A, TIFF_RATIONAL, "XResolution"},
    {0x011B, TIFF_RATIONAL, "YResolution"}, {0x011D, TIFF_ASCII, "PageName"},
    {0x0128, TIFF_SHORT, "ResolutionUnit"}, {0x0131, TIFF_ASCII, "Software"},
    {0x0132, TIFF_ASCII, "DateTime"},       {0x013B, TIFF_ASCII, "Artist"},
    {0x013C, TIFF_ASCII, "HostComputer"},   {0x4746, TIFF_SHORT, "Rating"},
    {0x4749, TIFF_SHORT, "RatingPercent"},  {0x8298, TIFF_ASCII, "Copyright"},
    {0x9C9B, TIFF_BYTE, "XPTitle"},         {0x9C9C, TIFF_BYTE, "XPComment"},
    {0x9C9D, TIFF_BYTE, "XPAuthor"},        {0x9C9E, TIFF_BYTE, "XPKeywords"},
    {0x9C9F, TIFF_BYTE, "XPSubject"},
};

/* What JPEG's IFD0 may hold and TIFF says otherwise: the pixels' layout and the pointers. */
static const uint16_t silent[] = {0x0100, 0x0101, 0x0102, 0x0103, 0x0106, 0x0115, 0x011C, 0x0211,
                                  0x0212, 0x0213, 0x0214, 0x8769, 0x8825, 0x02BC, 0x8773};

static const Described *find_described(uint16_t tag)
{
    for (size_t i = 0; i < sizeof described / sizeof *described; i++)
        if (described[i].tag == tag)
            return &described[i];
    return NULL;
}

static bool is_described(uint16_t tag)
{
    return find_described(tag) != NULL;
}

static bool read_tiff(void *handle, uint64_t offset, void *buffer, size_t bytes)
{
    TIFF *tiff = handle;
    thandle_t client = TIFFClientdata(tiff);
    return TIFFGetSeekProc(tiff)(client, offset, SEEK_SET) == offset &&
           TIFFGetReadProc(tiff)(client, buffer, (tmsize_t)bytes) == (tmsize_t)bytes;
}

static bool read_blob(void *handle, uint64_t offset, void *buffer, size_t bytes)
{
    const UfBlob *blob = handle;
    memcpy(buffer, blob->data + offset, bytes); /* the caller has checked the size */
    return true;
}

/* From the file's header: TIFFIsBigTIFF is wrong for a file that is being written in the other byte order. */
static bool is_big_tiff(TIFF *tiff, bool big_endian)
{
    uint8_t head[4];
    return read_tiff(tiff, 0, head, sizeof head) && uf_exif_get(head + 2, 2, big_endian) == 43;
}

/* The four directories that make up EXIF. */
typedef struct Set {
    UfExifDirectory ifd0, exif, gps, interoperability;
} Set;

static void clear_set(Set *set)
{
    uf_exif_directory_clear(&set->ifd0);
    uf_exif_directory_clear(&set->exif);
    uf_exif_directory_clear(&set->gps);
    uf_exif_directory_clear(&set->interoperability);
}

/* A directory that the entry `tag` of `parent` points to. Damage is a warning, lack of memory a failure. */
static UfStatus read_sub(const UfExifSource *source, const UfExifDirectory *parent, uint16_t tag,
                         const char *name, UfExifDirectory *out, UfReport *report)
{
    uint64_t offset;
    size_t lost = 0;
    if (!uf_exif_entry_number(parent, uf_exif_directory_find(parent, tag), &offset))
        return UF_OK;
    UfStatus status = uf_exif_directory_read(source, offset, out, &lost, report);
    if (status == UF_ERROR_FORMAT) {
        uf_exif_directory_clear(out);
        out->big_endian = source->big_endian;
        uf_warn(report, "the %s directory is damaged and was left out", name);
        status = UF_OK;
    }
    if (lost > 0)
        uf_warn(report, "%zu damaged entries of the %s directory were left out", lost, name);
    return status;
}

static UfStatus read_set(const UfExifSource *source, uint64_t ifd0_offset, Set *set, UfReport *report)
{
    size_t lost;
    UfStatus status = uf_exif_directory_read(source, ifd0_offset, &set->ifd0, &lost, report);
    if (status == UF_OK)
        status = read_sub(source, &set->ifd0, UF_EXIF_TAG_EXIF_IFD, "EXIF", &set->exif, report);
    if (status == UF_OK)
        status = read_sub(source, &set->ifd0, UF_EXIF_TAG_GPS_IFD, "GPS", &set->gps, report);
    if (status == UF_OK)
        status = read_sub(source, &set->exif, UF_EXIF_TAG_INTEROPERABILITY_IFD, "interoperability",
                          &set->interoperability, report);
    return status;
}

static UfStatus link_sub(UfExifDirectory *parent, uint16_t tag, const UfExifDirectory *sub, UfReport *report)
{
    uf_exif_directory_remove(parent, tag);
    return sub->count > 0 ? uf_exif_directory_add_pointer(parent, tag, report) : UF_OK;
}

/* Appends `sub` and makes the parent's table point to it. */
static UfStatus add_sub(UfExifBuffer *buffer, size_t parent_table, uint16_t tag, const UfExifDirectory *sub,
                        size_t *table, UfReport *report)
{
    if (sub->count == 0)
        return UF_OK;
    UfStatus status = uf_exif_buffer_add_directory(buffer, sub, table, report);
    if (status == UF_OK && parent_table != SIZE_MAX)
        uf_exif_buffer_set_pointer(buffer, parent_table, tag, *table);
    return status;
}

static UfStatus build_blob(Set *set, UfExifBuffer *buffer, UfReport *report)
{
    size_t header, table, exif_table = SIZE_MAX, other;
    uf_exif_directory_keep(&set->ifd0, is_described);
    UfStatus status = link_sub(&set->exif, UF_EXIF_TAG_INTEROPERABILITY_IFD, &set->interoperability, report);
    if (status == UF_OK)
        status = link_sub(&set->ifd0, UF_EXIF_TAG_EXIF_IFD, &set->exif, report);
    if (status == UF_OK)
        status = link_sub(&set->ifd0, UF_EXIF_TAG_GPS_IFD, &set->gps, report);
    if (status != UF_OK || set->ifd0.count == 0)
        return status;
    status = uf_exif_buffer_append(buffer, HEADER_BYTES, &header, report);
    if (status == UF_OK)
        status = uf_exif_buffer_add_directory(buffer, &set->ifd0, &table, report);
    if (status != UF_OK)
        return status;
    memcpy(buffer->bytes.data, buffer->big_endian ? "MM" : "II", 2);
    uf_exif_put(buffer->bytes.data + 2, 2, buffer->big_endian, 42);
    uf_exif_put(buffer->bytes.data + 4, 4, buffer->big_endian, table);
    status = add_sub(buffer, table, UF_EXIF_TAG_EXIF_IFD, &set->exif, &exif_table, report);
    if (status == UF_OK && exif_table != SIZE_MAX)
        status = add_sub(buffer, exif_table, UF_EXIF_TAG_INTEROPERABILITY_IFD, &set->interoperability, &other,
                         report);
    if (status == UF_OK)
        status = add_sub(buffer, table, UF_EXIF_TAG_GPS_IFD, &set->gps, &other, report);
    return status;
}

UfStatus uf_tiff_read_exif(TIFF *tiff, UfBlob *exif, UfReport *report)
{
    bool big_endian = TIFFIsBigEndian(tiff) != 0;
    UfExifSource source = {read_tiff, tiff, TIFFGetSizeProc(tiff)(TIFFClientdata(tiff)), big_endian,
                           is_big_tiff(tiff, big_endian)};
    UfExifBuffer buffer = {.big_endian = big_endian};
    Set set = {0};
    UfStatus status = read_set(&source, TIFFCurrentDirOffset(tiff), &set, report);
    if (status == UF_OK)
        status = build_blob(&set, &buffer, report);
    clear_set(&set);
    if (status != UF_OK) {
        uf_blob_clear(&buffer.bytes);
        return status;
    }
    uf_blob_clear(exif);
    *exif = buffer.bytes;
    return UF_OK;
}

static bool is_silent(uint16_t tag)
{
    for (size_t i = 0; i < sizeof silent / sizeof *silent; i++)
        if (silent[i] == tag)
            return true;
    return false;
}

/* libtiff learns the tags that it does not know; it keeps the name's address, so the name is static. */
static void register_tag(TIFF *tiff, const Described *what)
{
    union {
        const char *constant;
        char *plain; /* libtiff's structure wants it so and never writes to it */
    } name = {what->name};
    bool single = what->type == TIFF_SHORT;
    const TIFFFieldInfo info = {what->tag,
                                (short)(single ? 1 : TIFF_VARIABLE2),
                                (short)(single ? 1 : TIFF_VARIABLE2),
                                what->type,
                                FIELD_CUSTOM,
                                1,
                                (unsigned char)(single ? 0 : 1),
                                name.plain};
    if (TIFFFindField(tiff, what->tag, TIFF_ANY) == NULL)
        TIFFMergeFieldInfo(tiff, &info, 1);
}

static bool set_text(TIFF *tiff, const UfExifEntry *entry, UfReport *report)
{
    char *text = uf_alloc_zero(entry->value_bytes + 1, 1);
    if (text == NULL)
        return false;
    memcpy(text, entry->value, entry->value_bytes);
    size_t length = strlen(text);
    for (size_t i = length; i < entry->value_bytes; i++)
        if (text[i] != '\0' && text[i] != ' ') {
            uf_warn(report, "the second part of EXIF tag 0x%04X does not fit into TIFF and was left out",
                    entry->tag);
            break;
        }
    bool good = TIFFSetField(tiff, entry->tag, text) != 0;
    free(text);
    return good;
}

static bool set_described(TIFF *tiff, const UfExifDirectory *ifd0, const UfExifEntry *entry,
                          const Described *what, UfReport *report)
{
    if (entry->type != (uint16_t)what->type)
        return false;
    register_tag(tiff, what);
    uint64_t number = 0;
    switch (what->type) {
    case TIFF_ASCII:
        return set_text(tiff, entry, report);
    case TIFF_SHORT:
        return uf_exif_entry_number(ifd0, entry, &number) && TIFFSetField(tiff, what->tag, (int)number) != 0;
    case TIFF_RATIONAL: {
        uint64_t above = uf_exif_get(entry->value, 4, ifd0->big_endian);
        uint64_t below = uf_exif_get(entry->value + 4, 4, ifd0->big_endian);
        return below != 0 && TIFFSetField(tiff, what->tag, (double)above / (double)below) != 0;
    }
    default:
        return entry->value_bytes <= UINT32_MAX &&
               TIFFSetField(tiff, what->tag, (uint32_t)entry->value_bytes, entry->value) != 0;
    }
}

static void set_all_described(TIFF *tiff, const UfExifDirectory *ifd0, UfReport *report)
{
    for (size_t i = 0; i < ifd0->count; i++) {
        const UfExifEntry *entry = &ifd0->entries[i];
        const Described *what = find_described(entry->tag);
        if (is_silent(entry->tag))
            continue;
        if (what == NULL || !set_described(tiff, ifd0, entry, what, report))
            uf_warn(report, "EXIF tag 0x%04X does not travel into TIFF's main directory", entry->tag);
    }
}

static UfStatus append_to_file(TIFF *tiff, const UfExifBuffer *buffer, UfReport *report)
{
    thandle_t client = TIFFClientdata(tiff);
    UfBlob bytes = buffer->bytes;
    bool wrote =
        TIFFGetSeekProc(tiff)(client, buffer->base, SEEK_SET) == buffer->base &&
        TIFFGetWriteProc(tiff)(client, bytes.data, (tmsize_t)bytes.size_bytes) == (tmsize_t)bytes.size_bytes;
    return wrote ? UF_OK
                 : uf_fail(report, UF_ERROR_IO, "the EXIF data cannot be written: %s", strerror(errno));
}

/* The EXIF, interoperability and GPS directories at the end of the file, and their offsets in the main
 * directory. */
static UfStatus append_subs(TIFF *tiff, Set *set, UfReport *report)
{
    bool big_endian = TIFFIsBigEndian(tiff) != 0;
    uint64_t end = TIFFGetSeekProc(tiff)(TIFFClientdata(tiff), 0, SEEK_END);
    UfExifBuffer buffer = {.base = end, .big_endian = big_endian, .big_tiff = is_big_tiff(tiff, big_endian)};
    size_t exif_table = SIZE_MAX, gps_table = SIZE_MAX, other;
    uf_exif_directory_set_order(&set->exif, big_endian);
    uf_exif_directory_set_order(&set->gps, big_endian);
    uf_exif_directory_set_order(&set->interoperability, big_endian);
    UfStatus status = link_sub(&set->exif, UF_EXIF_TAG_INTEROPERABILITY_IFD, &set->interoperability, report);
    if (status == UF_OK)
        status = add_sub(&buffer, SIZE_MAX, 0, &set->exif, &exif_table, report);
    if (status == UF_OK && exif_table != SIZE_MAX)
        status = add_sub(&buffer, exif_table, UF_EXIF_TAG_INTEROPERABILITY_IFD, &set->interoperability,
                         &other, report);
    if (status == UF_OK)
        status = add_sub(&buffer, SIZE_MAX, 0, &set->gps, &gps_table, report);
    if (status == UF_OK && buffer.bytes.size_bytes > 0)
        status = append_to_file(tiff, &buffer, report);
    bool set_them = status != UF_OK ||
                    ((exif_table == SIZE_MAX || TIFFSetField(tiff, TIFFTAG_EXIFIFD, end + exif_table) != 0) &&
                     (gps_table == SIZE_MAX || TIFFSetField(tiff, TIFFTAG_GPSIFD, end + gps_table) != 0));
    if (!set_them)
        status = uf_fail(report, UF_ERROR_IO, "the EXIF directories cannot be linked into the TIFF file");
    uf_blob_clear(&buffer.bytes);
    return status;
}

UfStatus uf_tiff_write_exif(TIFF *tiff, UfBlob exif, UfReport *report)
{
    if (exif.size_bytes == 0)
        return UF_OK;
    bool big_endian = exif.data[0] == 'M';
    const uint8_t mark = big_endian ? 'M' : 'I';
    if (exif.size_bytes < HEADER_BYTES || exif.data[0] != mark || exif.data[1] != mark ||
        uf_exif_get(exif.data + 2, 2, big_endian) != 42) {
        uf_warn(report, "the EXIF data are damaged and do not travel into the TIFF file");
        return UF_OK;
    }
    UfExifSource source = {read_blob, &exif, exif.size_bytes, big_endian, false};
    Set set = {0};
    UfStatus status = read_set(&source, uf_exif_get(exif.data + 4, 4, big_endian), &set, report);
    if (status == UF_OK) {
        set_all_described(tiff, &set.ifd0, report);
        status = append_subs(tiff, &set, report);
    } else if (status == UF_ERROR_FORMAT) {
        uf_warn(report, "the EXIF data are damaged and do not travel into the TIFF file");
        status = UF_OK;
    }
    clear_set(&set);
    return status;
}
