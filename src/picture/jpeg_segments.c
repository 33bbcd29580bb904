/*
 * A JPEG as a row of marker segments (ITU-T T.81 B.1), without decoding: copies that change metadata alone.
 *
 * Exchanging the XMP moves what follows it. A multi-picture index (CIPA DC-007) in APP2 holds the size of the
 * main picture, and the places of the others counted from its own header: both are corrected.
 */
#include "picture/jpeg_internal.h"

#define MARKER_SOS 0xDA
#define MARKER_EOI 0xD9

/* [start, end) in the file; start is that of the first FF. */
typedef struct Segment {
    int marker;
    uint64_t start, end;
    UfJpegSegment kind;
    uint8_t *data; /* payload; owned */
    size_t size_bytes;
} Segment;

/* The segments up to SOS, which is not among them. */
typedef struct Header {
    Segment *segments;
    size_t count, capacity;
    uint64_t end; /* where SOS begins */
} Header;

static void header_clear(Header *header)
{
    for (size_t i = 0; i < header->count; i++)
        free(header->segments[i].data);
    free(header->segments);
    *header = (Header){0};
}

static UfStatus fail_damaged(UfReport *report)
{
    return uf_fail(report, UF_ERROR_FORMAT,
                   "the JPEG is damaged: its marker segments do not follow each other");
}

/* FF, fill bytes FF, marker. */
static UfStatus read_marker(FILE *stream, int *marker, UfReport *report)
{
    int byte = getc(stream);
    if (byte != 0xFF)
        return fail_damaged(report);
    while (byte == 0xFF)
        byte = getc(stream);
    if (byte == EOF || byte == 0)
        return fail_damaged(report);
    *marker = byte;
    return UF_OK;
}

static UfStatus read_payload(FILE *stream, Segment *segment, UfReport *report)
{
    int high = getc(stream), low = getc(stream);
    if (high == EOF || low == EOF || high * 256 + low < 2)
        return fail_damaged(report);
    segment->size_bytes = (size_t)(high * 256 + low) - 2;
    if (segment->size_bytes == 0)
        return UF_OK;
    segment->data = uf_alloc(segment->size_bytes, 1);
    if (segment->data == NULL)
        return uf_fail_memory(report);
    if (fread(segment->data, 1, segment->size_bytes, stream) != segment->size_bytes) {
        free(segment->data);
        segment->data = NULL;
        return uf_fail(report, UF_ERROR_FORMAT, "the JPEG ends too early");
    }
    return UF_OK;
}

static UfStatus header_add(Header *header, const Segment *segment, UfReport *report)
{
    if (header->count == header->capacity) {
        size_t capacity = header->capacity == 0 ? 32 : 2 * header->capacity;
        Segment *grown = uf_realloc(header->segments, capacity, sizeof *grown);
        if (grown == NULL)
            return uf_fail_memory(report);
        header->segments = grown;
        header->capacity = capacity;
    }
    header->segments[header->count++] = *segment;
    return UF_OK;
}

static UfStatus header_read(UfInput *input, Header *out, UfReport *report)
{
    FILE *stream = input->stream;
    Header header = {0};
    UfStatus status =
        fseeko(stream, 2, SEEK_SET) == 0 ? UF_OK : uf_fail_errno(report, "cannot be read", input->path);
    while (status == UF_OK) {
        Segment segment = {.start = (uint64_t)ftello(stream)};
        status = read_marker(stream, &segment.marker, report);
        if (status != UF_OK)
            break;
        if (segment.marker == MARKER_SOS) {
            header.end = segment.start;
            *out = header;
            return UF_OK;
        }
        if (segment.marker == MARKER_EOI) {
            status = uf_fail(report, UF_ERROR_FORMAT, "the JPEG holds no picture");
            break;
        }
        status = read_payload(stream, &segment, report);
        if (status != UF_OK)
            break;
        segment.end = (uint64_t)ftello(stream);
        segment.kind = uf_jpeg_segment_kind(segment.marker, segment.data, segment.size_bytes);
        status = header_add(&header, &segment, report);
        if (status != UF_OK)
            free(segment.data);
    }
    header_clear(&header);
    return status;
}

/* Numbers of a TIFF structure (TIFF 6.0) in its byte order. */
typedef struct Numbers {
    uint8_t *data;
    size_t size_bytes;
    bool big_endian;
} Numbers;

static bool number(const Numbers *n, size_t at, size_t bytes, uint32_t *out)
{
    if (at > n->size_bytes || n->size_bytes - at < bytes)
        return false;
    uint32_t value = 0;
    for (size_t i = 0; i < bytes; i++)
        value |= (uint32_t)n->data[at + i] << (8 * (n->big_endian ? bytes - 1 - i : i));
    *out = value;
    return true;
}

static void set_number(const Numbers *n, size_t at, uint32_t value)
{
    for (size_t i = 0; i < 4; i++)
        n->data[at + i] = (uint8_t)(value >> (8 * (n->big_endian ? 3 - i : i)));
}

#define MP_ENTRY_TAG 0xB002u

/* Position of the MP entries and their number; false when the index has none. */
static bool find_entries(const Numbers *n, size_t *at, size_t *count)
{
    uint32_t directory, entries, tag, size, offset;
    if (!number(n, 4, 4, &directory) || !number(n, directory, 2, &entries))
        return false;
    for (size_t i = 0; i < entries; i++) {
        size_t entry = (size_t)directory + 2 + 12 * i;
        if (!number(n, entry, 2, &tag) || !number(n, entry + 4, 4, &size) ||
            !number(n, entry + 8, 4, &offset))
            return false;
        if (tag != MP_ENTRY_TAG || offset > n->size_bytes || size > n->size_bytes - offset)
            continue;
        *at = offset;
        *count = size / 16;
        return true;
    }
    return false;
}

/* The main picture became `grown` bytes longer, `behind` of them between the index and the other pictures. */
static void correct_index(Segment *segment, int64_t grown, int64_t behind)
{
    if (segment->data == NULL || segment->size_bytes < 12)
        return;
    Numbers n = {segment->data + 4, segment->size_bytes - 4, false};
    size_t at, count;
    n.big_endian = n.data[0] == 'M';
    if (!find_entries(&n, &at, &count))
        return;
    for (size_t i = 0; i < count; i++) {
        size_t field = at + 16 * i + (i == 0 ? 4 : 8); /* the first: its size; the others: their place */
        uint32_t value;
        if (number(&n, field, 4, &value) && value != 0)
            set_number(&n, field, (uint32_t)((int64_t)value + (i == 0 ? grown : behind)));
    }
}

/* Index of the segment that the packet replaces, or before which it is put: behind JFIF and EXIF. */
static size_t place_of_xmp(const Header *header, bool *replaces)
{
    size_t place = 0;
    *replaces = true;
    for (size_t i = 0; i < header->count; i++)
        if (header->segments[i].kind == UF_JPEG_XMP)
            return i;
    *replaces = false;
    while (place < header->count &&
           (header->segments[place].kind == UF_JPEG_JFIF || header->segments[place].kind == UF_JPEG_JFXX ||
            header->segments[place].kind == UF_JPEG_EXIF))
        place++;
    return place;
}

static UfStatus copy_header(UfInput *source, Header *header, UfBlob xmp, UfOutput *output, UfReport *report)
{
    const UfJpegSink sink = {.stream = output->stream};
    bool replaces;
    size_t place = place_of_xmp(header, &replaces);
    int64_t grown = (int64_t)(4 + UF_JPEG_XMP_PREFIX_BYTES + xmp.size_bytes);
    if (replaces)
        grown -= (int64_t)(header->segments[place].end - header->segments[place].start);
    UfStatus status = uf_output_copy(output, source, 0, 2, report);
    for (size_t i = 0; i <= header->count && status == UF_OK; i++) {
        if (i == place)
            uf_jpeg_put_xmp(&sink, xmp, report);
        if (i == header->count || (i == place && replaces))
            continue;
        Segment *segment = &header->segments[i];
        if (segment->kind == UF_JPEG_MULTI_PICTURE) {
            correct_index(segment, grown, i < place ? grown : 0);
            uf_jpeg_put_segment(&sink, segment->marker, NULL, 0, segment->data, segment->size_bytes);
        } else {
            status = uf_output_copy(output, source, segment->start, segment->end, report);
        }
    }
    return status;
}

UfStatus uf_jpeg_retag(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report)
{
    Header header = {0};
    if (xmp.size_bytes > UF_JPEG_MAX_PAYLOAD_BYTES - UF_JPEG_XMP_PREFIX_BYTES)
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "the XMP packet (%zu bytes) does not fit into a JPEG",
                       xmp.size_bytes);
    UfStatus status = header_read(source, &header, report);
    if (status == UF_OK)
        status = copy_header(source, &header, xmp, output, report);
    if (status == UF_OK)
        status = uf_output_copy(output, source, header.end, source->size_bytes, report);
    if (status == UF_OK && ferror(output->stream))
        status = uf_fail_errno(report, "cannot be written", output->final_path);
    header_clear(&header);
    return status;
}

/* FF 00 (stuffing), FF FF (filling) and the restart markers belong to the entropy-coded data (T.81 B.1.1.5).
 */
static bool is_within_data(int byte)
{
    return byte == 0x00 || byte == 0xFF || (byte >= JPEG_RST0 && byte <= JPEG_RST0 + 7);
}

/* Where the picture ends: behind EOI. Between scans stand further segments, which are stepped over. */
static UfStatus find_end(UfInput *source, uint64_t start, uint64_t *end, UfReport *report)
{
    FILE *stream = source->stream;
    if (fseeko(stream, (off_t)start, SEEK_SET) != 0)
        return uf_fail_errno(report, "cannot be read", source->path);
    for (int last = 0, byte = getc(stream); byte != EOF; last = byte, byte = getc(stream)) {
        if (last != 0xFF || is_within_data(byte))
            continue;
        if (byte == MARKER_EOI) {
            *end = (uint64_t)ftello(stream);
            return UF_OK;
        }
        int high = getc(stream), low = getc(stream);
        if (high == EOF || low == EOF || fseeko(stream, high * 256 + low - 2, SEEK_CUR) != 0)
            break;
        byte = 0;
    }
    return uf_fail(report, UF_ERROR_FORMAT, "the JPEG ends too early");
}

void uf_jpeg_warn_of_trailer(const UfInput *input, uint64_t end, UfReport *report)
{
    if (end < input->size_bytes)
        uf_warn(report, "%s: holds %llu bytes behind the picture, which are left out", input->path,
                (unsigned long long)(input->size_bytes - end));
}

/* The header as libjpeg reads it, for its list of markers. */
typedef struct MarkerReader {
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfMetadata old;
} MarkerReader;

static UfStatus repeat_all_markers(MarkerReader *reader, UfInput *source, const UfMetadata *metadata,
                                   UfOutput *output, UfReport *report)
{
    const UfJpegSink sink = {.stream = output->stream};
    if (setjmp(reader->errors.jump))
        return reader->errors.status;
    jpeg_create_decompress(&reader->jpeg);
    UfStatus status = uf_jpeg_open(&reader->jpeg, source->stream, report);
    if (status == UF_OK)
        status = uf_jpeg_read_metadata(&reader->jpeg, source->path, &reader->old, NULL);
    if (status == UF_OK)
        uf_jpeg_repeat_markers(&sink, reader->jpeg.marker_list, &reader->old, metadata, report);
    return status;
}

static bool is_marker_of_metadata(int marker)
{
    return marker == JPEG_COM || (marker >= JPEG_APP0 && marker <= JPEG_APP0 + 15);
}

static UfStatus copy_tables(UfInput *source, const Header *header, UfOutput *output, UfReport *report)
{
    UfStatus status = UF_OK;
    for (size_t i = 0; i < header->count && status == UF_OK; i++)
        if (!is_marker_of_metadata(header->segments[i].marker))
            status =
                uf_output_copy(output, source, header->segments[i].start, header->segments[i].end, report);
    return status;
}

UfStatus uf_jpeg_copy_head_with_metadata(UfInput *source, const UfMetadata *metadata, UfOutput *output,
                                         uint64_t *end, UfReport *report)
{
    Header header = {0};
    MarkerReader *reader = uf_alloc_zero(1, sizeof *reader);
    if (reader == NULL)
        return uf_fail_memory(report);
    reader->jpeg.err = uf_jpeg_errors_init(&reader->errors, source->path, report);
    UfStatus status = header_read(source, &header, report);
    if (status == UF_OK)
        status = uf_output_copy(output, source, 0, 2, report);
    if (status == UF_OK)
        status = repeat_all_markers(reader, source, metadata, output, report);
    if (status == UF_OK)
        status = copy_tables(source, &header, output, report);
    if (status == UF_OK && ferror(output->stream))
        status = uf_fail_errno(report, "cannot be written", output->final_path);
    if (status == UF_OK)
        *end = header.end;
    jpeg_destroy_decompress(&reader->jpeg);
    uf_metadata_clear(&reader->old);
    free(reader);
    header_clear(&header);
    return status;
}

UfStatus uf_jpeg_copy_with_metadata(UfInput *source, const UfMetadata *metadata, UfOutput *output,
                                    UfReport *report)
{
    uint64_t start = 0, end = 0;
    UfStatus status = uf_jpeg_copy_head_with_metadata(source, metadata, output, &start, report);
    if (status == UF_OK)
        status = find_end(source, start, &end, report);
    return status == UF_OK ? uf_output_copy(output, source, start, end, report) : status;
}
