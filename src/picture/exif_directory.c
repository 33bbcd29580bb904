/* TIFF directories as lists of entries. */
#include "picture/exif_directory.h"

#include "base/memory.h"
#include "picture/exif_bytes.h"

#define MAX_VALUE_BYTES (64u << 20) /* of one directory's values together: no EXIF comes near it */

static size_t entry_bytes(bool big_tiff)
{
    return big_tiff ? 20 : 12;
}

static size_t count_bytes(bool big_tiff)
{
    return big_tiff ? 8 : 2;
}

static size_t offset_bytes(bool big_tiff)
{
    return big_tiff ? 8 : 4;
}

static bool read_at(const UfExifSource *source, uint64_t offset, void *buffer, size_t bytes)
{
    return offset <= source->size_bytes && bytes <= source->size_bytes - offset &&
           source->read(source->handle, offset, buffer, bytes);
}

/* One 12- or 20-byte entry; UF_ERROR_FORMAT when its value is not there or would exceed `room`. */
static UfStatus read_entry(const UfExifSource *source, const uint8_t *raw, size_t room, UfExifEntry *out)
{
    bool big = source->big_endian;
    size_t inline_bytes = offset_bytes(source->big_tiff);
    UfExifEntry entry = {.tag = (uint16_t)uf_exif_get(raw, 2, big),
                         .type = (uint16_t)uf_exif_get(raw + 2, 2, big)};
    entry.count = uf_exif_get(raw + 4, inline_bytes, big);
    size_t unit = uf_exif_type_bytes(entry.type);
    if (unit == 0 || entry.count == 0 || entry.count > room / unit)
        return UF_ERROR_FORMAT;
    entry.value_bytes = (size_t)entry.count * unit;
    const uint8_t *field = raw + 4 + inline_bytes;
    entry.value = uf_alloc(entry.value_bytes, 1);
    if (entry.value == NULL)
        return UF_ERROR_MEMORY;
    bool good = true;
    if (entry.value_bytes <= inline_bytes)
        memcpy(entry.value, field, entry.value_bytes);
    else
        good = read_at(source, uf_exif_get(field, inline_bytes, big), entry.value, entry.value_bytes);
    if (!good) {
        free(entry.value);
        return UF_ERROR_FORMAT;
    }
    *out = entry;
    return UF_OK;
}

static int by_tag(const void *a, const void *b)
{
    const UfExifEntry *p = a, *q = b;
    return (p->tag > q->tag) - (p->tag < q->tag);
}

UfStatus uf_exif_directory_read(const UfExifSource *source, uint64_t offset, UfExifDirectory *out,
                                size_t *lost, UfReport *report)
{
    uint8_t head[8];
    size_t head_bytes = count_bytes(source->big_tiff), each = entry_bytes(source->big_tiff);
    *out = (UfExifDirectory){.big_endian = source->big_endian};
    *lost = 0;
    if (!read_at(source, offset, head, head_bytes))
        return uf_fail(report, UF_ERROR_FORMAT, "an EXIF directory lies outside the data");
    uint64_t count = uf_exif_get(head, head_bytes, source->big_endian);
    if (count == 0 || count > 65535 || count > source->size_bytes / each)
        return uf_fail(report, UF_ERROR_FORMAT, "an EXIF directory is damaged");
    uint8_t *table = uf_alloc((size_t)count, each);
    out->entries = uf_alloc((size_t)count, sizeof *out->entries);
    if (table == NULL || out->entries == NULL) {
        free(table);
        return uf_fail_memory(report);
    }
    UfStatus status = UF_OK;
    if (!read_at(source, offset + head_bytes, table, (size_t)count * each))
        status = uf_fail(report, UF_ERROR_FORMAT, "an EXIF directory is cut off");
    size_t room = MAX_VALUE_BYTES;
    for (size_t i = 0; status == UF_OK && i < count; i++) {
        UfStatus entry = read_entry(source, table + i * each, room, &out->entries[out->count]);
        if (entry == UF_ERROR_MEMORY)
            status = uf_fail_memory(report);
        else if (entry == UF_ERROR_FORMAT)
            (*lost)++;
        else
            room -= out->entries[out->count++].value_bytes;
    }
    if (status == UF_OK && out->count > 1)
        qsort(out->entries, out->count, sizeof *out->entries, by_tag);
    free(table);
    return status;
}

void uf_exif_directory_clear(UfExifDirectory *directory)
{
    for (size_t i = 0; i < directory->count; i++)
        free(directory->entries[i].value);
    free(directory->entries);
    *directory = (UfExifDirectory){0};
}

const UfExifEntry *uf_exif_directory_find(const UfExifDirectory *directory, uint16_t tag)
{
    for (size_t i = 0; i < directory->count; i++)
        if (directory->entries[i].tag == tag)
            return &directory->entries[i];
    return NULL;
}

bool uf_exif_entry_number(const UfExifDirectory *directory, const UfExifEntry *entry, uint64_t *out)
{
    static const uint32_t whole_types = 1u << 1 | 1u << 3 | 1u << 4 | 1u << 13 | 1u << 16 | 1u << 18;
    if (entry == NULL || entry->type >= 32 || (whole_types >> entry->type & 1) == 0)
        return false;
    *out = uf_exif_get(entry->value, uf_exif_type_bytes(entry->type), directory->big_endian);
    return true;
}

void uf_exif_directory_keep(UfExifDirectory *directory, bool (*is_wanted)(uint16_t tag))
{
    size_t kept = 0;
    for (size_t i = 0; i < directory->count; i++) {
        if (is_wanted(directory->entries[i].tag))
            directory->entries[kept++] = directory->entries[i];
        else
            free(directory->entries[i].value);
    }
    directory->count = kept;
}

void uf_exif_directory_remove(UfExifDirectory *directory, uint16_t tag)
{
    size_t kept = 0;
    for (size_t i = 0; i < directory->count; i++) {
        if (directory->entries[i].tag == tag)
            free(directory->entries[i].value);
        else
            directory->entries[kept++] = directory->entries[i];
    }
    directory->count = kept;
}

UfStatus uf_exif_directory_add_pointer(UfExifDirectory *directory, uint16_t tag, UfReport *report)
{
    uf_exif_directory_remove(directory, tag);
    UfExifEntry *grown = uf_realloc(directory->entries, directory->count + 1, sizeof *grown);
    if (grown == NULL)
        return uf_fail_memory(report);
    directory->entries = grown;
    UfExifEntry entry = {.tag = tag, .type = UF_EXIF_LONG, .count = 1, .value_bytes = 4};
    entry.value = uf_alloc_zero(4, 1);
    if (entry.value == NULL)
        return uf_fail_memory(report);
    grown[directory->count++] = entry;
    qsort(grown, directory->count, sizeof *grown, by_tag);
    return UF_OK;
}

void uf_exif_directory_set_order(UfExifDirectory *directory, bool big_endian)
{
    if (directory->big_endian == big_endian)
        return;
    for (size_t i = 0; i < directory->count; i++) {
        UfExifEntry *entry = &directory->entries[i];
        size_t unit = uf_exif_type_unit(entry->type);
        for (size_t at = 0; unit > 1 && at + unit <= entry->value_bytes; at += unit)
            uf_exif_put(entry->value + at, unit, big_endian,
                        uf_exif_get(entry->value + at, unit, directory->big_endian));
    }
    directory->big_endian = big_endian;
}

UfStatus uf_exif_buffer_append(UfExifBuffer *buffer, size_t bytes, size_t *at, UfReport *report)
{
    size_t start = buffer->bytes.size_bytes + (buffer->bytes.size_bytes + buffer->base) % 2;
    uint8_t *grown = uf_realloc(buffer->bytes.data, start + bytes, 1);
    if (grown == NULL)
        return uf_fail_memory(report);
    memset(grown + buffer->bytes.size_bytes, 0, start + bytes - buffer->bytes.size_bytes);
    buffer->bytes = (UfBlob){grown, start + bytes};
    *at = start;
    return UF_OK;
}

static UfStatus add_value(UfExifBuffer *buffer, const UfExifEntry *entry, size_t field, UfReport *report)
{
    size_t inline_bytes = offset_bytes(buffer->big_tiff), at = field;
    if (entry->value_bytes > inline_bytes) {
        UfStatus status = uf_exif_buffer_append(buffer, entry->value_bytes, &at, report);
        if (status != UF_OK)
            return status;
        if (!buffer->big_tiff && buffer->base + at > UINT32_MAX)
            return uf_fail(report, UF_ERROR_UNSUPPORTED, "the TIFF file is too large for its EXIF data");
        uf_exif_put(buffer->bytes.data + field, inline_bytes, buffer->big_endian, buffer->base + at);
    }
    memcpy(buffer->bytes.data + at, entry->value, entry->value_bytes);
    return UF_OK;
}

UfStatus uf_exif_buffer_add_directory(UfExifBuffer *buffer, const UfExifDirectory *directory, size_t *table,
                                      UfReport *report)
{
    size_t head = count_bytes(buffer->big_tiff), each = entry_bytes(buffer->big_tiff);
    size_t size = offset_bytes(buffer->big_tiff);
    UfStatus status = uf_exif_buffer_append(buffer, head + directory->count * each + size, table, report);
    if (status != UF_OK)
        return status;
    uf_exif_put(buffer->bytes.data + *table, head, buffer->big_endian, directory->count);
    for (size_t i = 0; i < directory->count && status == UF_OK; i++) {
        const UfExifEntry *entry = &directory->entries[i];
        size_t at = *table + head + i * each;
        uf_exif_put(buffer->bytes.data + at, 2, buffer->big_endian, entry->tag);
        uf_exif_put(buffer->bytes.data + at + 2, 2, buffer->big_endian, entry->type);
        uf_exif_put(buffer->bytes.data + at + 4, size, buffer->big_endian, entry->count);
        status = add_value(buffer, entry, at + 4 + size, report);
    }
    return status;
}

void uf_exif_buffer_set_pointer(UfExifBuffer *buffer, size_t table, uint16_t tag, size_t target)
{
    size_t head = count_bytes(buffer->big_tiff), each = entry_bytes(buffer->big_tiff);
    size_t size = offset_bytes(buffer->big_tiff);
    bool big = buffer->big_endian;
    uint64_t count = uf_exif_get(buffer->bytes.data + table, head, big);
    for (size_t i = 0; i < count; i++) {
        uint8_t *entry = buffer->bytes.data + table + head + i * each;
        if (uf_exif_get(entry, 2, big) != tag)
            continue;
        uf_exif_put(entry + 2, 2, big, buffer->big_tiff ? UF_EXIF_LONG8 : UF_EXIF_LONG);
        uf_exif_put(entry + 4 + size, size, big, buffer->base + target);
    }
}
