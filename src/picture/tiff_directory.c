/* See tiff_directory.h. Structure: TIFF 6.0 section 2; BigTIFF as libtiff's tiff.h describes it. */
#include "picture/tiff_directory.h"

#include <errno.h>
#include <sys/stat.h>
#include <unistd.h>

#define TYPE_BYTE  1u
#define TYPE_SHORT 3u
#define TYPE_LONG  4u
#define TYPE_LONG8 16u

static UfStatus read_at(const UfTiffDirectory *d, uint64_t offset, void *buffer, size_t size,
                        UfReport *report)
{
    for (size_t done = 0; done < size;) {
        ssize_t n = pread(d->fd, (uint8_t *)buffer + done, size - done, (off_t)(offset + done));
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return uf_fail_errno(report, "cannot be read", d->name);
        if (n == 0)
            return uf_fail(report, UF_ERROR_FORMAT, "the TIFF ends too early");
        done += (size_t)n;
    }
    return UF_OK;
}

UfStatus uf_tiff_directory_write(const UfTiffDirectory *d, uint64_t offset, const void *data,
                                 size_t size_bytes, UfReport *report)
{
    for (size_t done = 0; done < size_bytes;) {
        ssize_t n = pwrite(d->fd, (const uint8_t *)data + done, size_bytes - done, (off_t)(offset + done));
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return uf_fail_errno(report, "cannot be written", d->name);
        done += (size_t)n;
    }
    return UF_OK;
}

static uint64_t number(const UfTiffDirectory *d, const uint8_t *bytes, size_t size)
{
    uint64_t value = 0;
    for (size_t i = 0; i < size; i++)
        value |= (uint64_t)bytes[i] << (8 * (d->big_endian ? size - 1 - i : i));
    return value;
}

static void put_number(const UfTiffDirectory *d, uint8_t *bytes, size_t size, uint64_t value)
{
    for (size_t i = 0; i < size; i++)
        bytes[i] = (uint8_t)(value >> (8 * (d->big_endian ? size - 1 - i : i)));
}

static size_t type_bytes(unsigned type)
{
    return type == TYPE_BYTE    ? 1
           : type == TYPE_SHORT ? 2
           : type == TYPE_LONG  ? 4
           : type == TYPE_LONG8 ? 8
                                : 0;
}

/* Sizes that differ between the two kinds: an offset (and count), the directory's count, an entry. */
static size_t word(const UfTiffDirectory *d)
{
    return d->big ? 8 : 4;
}

static size_t head_bytes(const UfTiffDirectory *d)
{
    return d->big ? 8 : 2;
}

static size_t entry_bytes(const UfTiffDirectory *d)
{
    return 4 + 2 * word(d);
}

UfStatus uf_tiff_directory_open(int fd, const char *name, UfTiffDirectory *out, UfReport *report)
{
    UfTiffDirectory d = {.fd = fd, .name = name};
    uint8_t head[16];
    struct stat facts;
    UfStatus status = read_at(&d, 0, head, 8, report);
    if (status != UF_OK)
        return status;
    if (fstat(fd, &facts) != 0)
        return uf_fail_errno(report, "cannot be examined", name);
    d.file_end = (uint64_t)facts.st_size;
    d.big_endian = head[0] == 'M';
    d.big = number(&d, head + 2, 2) == 43;
    d.link = d.big ? 8 : 4;
    status = read_at(&d, d.link, head, word(&d), report);
    if (status != UF_OK)
        return status;
    d.offset = number(&d, head, word(&d));
    status = read_at(&d, d.offset, head, head_bytes(&d), report);
    if (status != UF_OK)
        return status;
    d.entry_count = number(&d, head, head_bytes(&d));
    if (d.entry_count >
        UINT16_MAX) /* BigTIFF could claim more; nobody has more tags than there are numbers */
        return uf_fail(report, UF_ERROR_FORMAT, "the TIFF's directory has an impossible size");
    *out = d;
    return UF_OK;
}

/* An entry as it stands in the file. */
typedef struct Entry {
    bool found;
    uint64_t place; /* of the entry; when not found, where it would stand */
    uint64_t value; /* place of its values: inside the entry, or where that points */
    unsigned type;
    uint64_t count;
} Entry;

static UfStatus find_entry(const UfTiffDirectory *d, uint16_t tag, Entry *out, UfReport *report)
{
    uint8_t raw[20];
    Entry entry = {.place = d->offset + head_bytes(d)};
    for (uint64_t i = 0; i < d->entry_count; i++, entry.place += entry_bytes(d)) {
        UfStatus status = read_at(d, entry.place, raw, entry_bytes(d), report);
        if (status != UF_OK)
            return status;
        uint64_t found = number(d, raw, 2);
        if (found > tag)
            break;
        if (found < tag)
            continue;
        entry.found = true;
        entry.type = (unsigned)number(d, raw + 2, 2);
        entry.count = number(d, raw + 4, word(d));
        size_t size = type_bytes(entry.type);
        bool inside = size != 0 && entry.count <= word(d) / size;
        entry.value = inside ? entry.place + 4 + word(d) : number(d, raw + 4 + word(d), word(d));
        break;
    }
    *out = entry;
    return UF_OK;
}

UfStatus uf_tiff_directory_numbers(const UfTiffDirectory *d, uint16_t tag, uint64_t **values, size_t *count,
                                   UfReport *report)
{
    Entry entry;
    UfStatus status = find_entry(d, tag, &entry, report);
    if (status != UF_OK)
        return status;
    size_t size = type_bytes(entry.type);
    if (!entry.found || entry.count == 0 || size < 2) {
        *count = 0;
        return UF_OK;
    }
    if (entry.count > d->file_end / size)
        return uf_fail(report, UF_ERROR_FORMAT, "the TIFF's directory has an impossible size");
    uint8_t *raw = uf_alloc((size_t)entry.count, size);
    uint64_t *numbers = uf_alloc((size_t)entry.count, sizeof *numbers);
    if (raw == NULL || numbers == NULL) {
        free(raw);
        free(numbers);
        return uf_fail_memory(report);
    }
    status = read_at(d, entry.value, raw, (size_t)entry.count * size, report);
    for (size_t i = 0; i < entry.count && status == UF_OK; i++)
        numbers[i] = number(d, raw + i * size, size);
    free(raw);
    if (status != UF_OK) {
        free(numbers);
        return status;
    }
    *values = numbers;
    *count = (size_t)entry.count;
    return UF_OK;
}

UfStatus uf_tiff_directory_append(UfTiffDirectory *d, const void *data, size_t size_bytes, uint64_t *offset,
                                  UfReport *report)
{
    static const uint8_t zero = 0;
    uint64_t at = d->file_end + d->file_end % 2; /* TIFF 6.0: values begin on a word boundary */
    if (!d->big && (size_bytes > UINT32_MAX || at > UINT32_MAX - size_bytes))
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "the TIFF would grow over 4 GiB, where its kind ends; save it as BigTIFF first");
    UfStatus status = at > d->file_end ? uf_tiff_directory_write(d, d->file_end, &zero, 1, report) : UF_OK;
    if (status == UF_OK)
        status = uf_tiff_directory_write(d, at, data, size_bytes, report);
    if (status != UF_OK)
        return status;
    d->file_end = at + size_bytes;
    *offset = at;
    return UF_OK;
}

/* Makes an entry that exists point at (or hold) `raw`, of another type or count. */
static UfStatus point_entry(UfTiffDirectory *d, const Entry *entry, unsigned type, uint64_t count,
                            const uint8_t *raw, size_t raw_bytes, UfReport *report)
{
    uint8_t tail[18] = {0};
    size_t w = word(d);
    put_number(d, tail, 2, type);
    put_number(d, tail + 2, w, count);
    if (raw_bytes <= w) {
        memcpy(tail + 2 + w, raw, raw_bytes);
    } else {
        uint64_t offset = 0;
        UfStatus status = uf_tiff_directory_append(d, raw, raw_bytes, &offset, report);
        if (status != UF_OK)
            return status;
        put_number(d, tail + 2 + w, w, offset);
    }
    return uf_tiff_directory_write(d, entry->place + 2, tail, 2 + 2 * w, report);
}

UfStatus uf_tiff_directory_set_numbers(UfTiffDirectory *d, uint16_t tag, const uint64_t *values, size_t count,
                                       UfReport *report)
{
    Entry entry;
    uint64_t largest = 0;
    UfStatus status = find_entry(d, tag, &entry, report);
    if (status != UF_OK)
        return status;
    if (!entry.found || entry.count != count || type_bytes(entry.type) < 2)
        return uf_fail(report, UF_ERROR_FORMAT, "the TIFF's table of strips or tiles is damaged");
    for (size_t i = 0; i < count; i++)
        largest = values[i] > largest ? values[i] : largest;
    unsigned type = entry.type;
    if (type == TYPE_SHORT && largest > UINT16_MAX)
        type = TYPE_LONG;
    if (type == TYPE_LONG && largest > UINT32_MAX)
        type = TYPE_LONG8;
    size_t size = type_bytes(type);
    uint8_t *raw = uf_alloc(count, size);
    if (raw == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < count; i++)
        put_number(d, raw + i * size, size, values[i]);
    status = type == entry.type ? uf_tiff_directory_write(d, entry.value, raw, count * size, report)
                                : point_entry(d, &entry, type, count, raw, count * size, report);
    free(raw);
    return status;
}

/* The directory again at the end of the file, with one entry more; the file's head then points there. */
static UfStatus insert_entry(UfTiffDirectory *d, uint16_t tag, Entry *entry, UfReport *report)
{
    size_t head = head_bytes(d), size = entry_bytes(d), before = (size_t)(entry->place - d->offset);
    size_t old_bytes = head + (size_t)d->entry_count * size + word(d);
    uint8_t *raw = uf_alloc_zero(old_bytes + size, 1);
    uint8_t link[8];
    uint64_t offset = 0;
    if (raw == NULL)
        return uf_fail_memory(report);
    UfStatus status = read_at(d, d->offset, raw, old_bytes, report);
    if (status == UF_OK) {
        memmove(raw + before + size, raw + before, old_bytes - before);
        memset(raw + before, 0, size);
        put_number(d, raw, head, d->entry_count + 1);
        put_number(d, raw + before, 2, tag);
        put_number(d, raw + before + 2, 2, TYPE_BYTE);
        status = uf_tiff_directory_append(d, raw, old_bytes + size, &offset, report);
    }
    free(raw);
    if (status != UF_OK)
        return status;
    put_number(d, link, word(d), offset);
    status = uf_tiff_directory_write(d, d->link, link, word(d), report);
    d->offset = offset;
    d->entry_count++;
    entry->place = offset + before;
    return status;
}

UfStatus uf_tiff_directory_set_bytes(UfTiffDirectory *d, uint16_t tag, UfBlob content, UfReport *report)
{
    Entry entry;
    UfStatus status = find_entry(d, tag, &entry, report);
    if (status != UF_OK)
        return status;
    if (entry.found && entry.type == TYPE_BYTE && entry.count == content.size_bytes)
        return uf_tiff_directory_write(d, entry.value, content.data, content.size_bytes, report);
    if (!entry.found)
        status = insert_entry(d, tag, &entry, report);
    return status == UF_OK ? point_entry(d, &entry, TYPE_BYTE, content.size_bytes, content.data,
                                         content.size_bytes, report)
                           : status;
}
