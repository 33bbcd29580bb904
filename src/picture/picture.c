/* The picture in memory: creation, copies, what it says about itself, and the check of sizes. */
#include "picture/picture_internal.h"

#include <sys/mman.h>
#include <unistd.h>

static bool sample_is_known(UfSample sample)
{
    return sample == UF_SAMPLE_U8 || sample == UF_SAMPLE_U16 || sample == UF_SAMPLE_F32;
}

/* Bytes of all pixels; false on overflow. */
static bool pixel_bytes(size_t width_px, size_t height_px, size_t channels, UfSample sample, size_t *out)
{
    size_t row, all;
    if (!uf_product(width_px, channels * (size_t)sample, &row) || !uf_product(row, height_px, &all))
        return false;
    *out = all;
    return true;
}

UfStatus uf_check_size(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                       size_t extra_bytes, size_t max_memory_bytes, UfReport *report)
{
    if (width_px == 0 || height_px == 0)
        return uf_fail(report, UF_ERROR_FORMAT, "claims a size of %zu x %zu pixels", width_px, height_px);
    if (width_px > UF_PICTURE_MAX_SIDE_PX || height_px > UF_PICTURE_MAX_SIDE_PX)
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "claims %zu x %zu pixels; no side may exceed %u",
                       width_px, height_px, UF_PICTURE_MAX_SIDE_PX);
    size_t limit = max_memory_bytes == 0 ? uf_default_memory_limit() : max_memory_bytes;
    size_t bytes;
    if (pixel_bytes(width_px, height_px, channels, sample, &bytes) && bytes <= limit &&
        extra_bytes <= limit - bytes)
        return UF_OK;
    double needed =
        (double)width_px * (double)height_px * (double)channels * (double)sample + (double)extra_bytes;
    return uf_fail(
        report, UF_ERROR_MEMORY,
        "%zu x %zu pixels need %.1f MB of memory, and the limit is %.1f MB; raise the limit or make the "
        "picture smaller",
        width_px, height_px, needed / 1e6, (double)limit / 1e6);
}

static UfStatus check_kind(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                           UfReport *report)
{
    if (width_px == 0 || height_px == 0 || width_px > UF_PICTURE_MAX_SIDE_PX ||
        height_px > UF_PICTURE_MAX_SIDE_PX)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "a picture of %zu x %zu pixels makes no sense; sides are 1 to %u", width_px, height_px,
                       UF_PICTURE_MAX_SIDE_PX);
    if (channels < 1 || channels > 4 || !sample_is_known(sample))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a picture of %zu channels of %d bytes makes no sense",
                       channels, (int)sample);
    return UF_OK;
}

/*
 * Address space for all rows, memory for some: pages that are not made accessible cost nothing, and looking
 * at one of them ends the program, which no arithmetic on rows could do better. NULL when the system has no
 * room.
 */
static uint8_t *reserve(size_t bytes, size_t first, size_t end)
{
    size_t page = (size_t)sysconf(_SC_PAGESIZE);
    uint8_t *data = mmap(NULL, bytes, PROT_NONE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
    if (data == MAP_FAILED)
        return NULL;
    first = first / page * page;
    if (mprotect(data + first, end - first, PROT_READ | PROT_WRITE) == 0)
        return data;
    munmap(data, bytes);
    return NULL;
}

typedef void *AllocateRows(size_t count, size_t size_bytes);

static UfStatus create(size_t width_px, size_t height_px, size_t channels, UfSample sample, size_t first_px,
                       size_t end_px, AllocateRows *allocate, UfPicture **out, UfReport *report)
{
    size_t bytes;
    UfStatus status = check_kind(width_px, height_px, channels, sample, report);
    if (status != UF_OK)
        return status;
    if (!pixel_bytes(width_px, height_px, channels, sample, &bytes))
        return uf_fail(report, UF_ERROR_MEMORY, "%zu x %zu pixels are too many", width_px, height_px);
    UfPicture *picture = uf_alloc_zero(1, sizeof *picture);
    if (picture == NULL)
        return uf_fail_memory(report);
    bool in_part = first_px > 0 || end_px < height_px;
    picture->stride_bytes = width_px * channels * (size_t)sample;
    picture->data = in_part ? reserve(bytes, first_px * picture->stride_bytes, end_px * picture->stride_bytes)
                            : allocate(bytes, 1);
    if (picture->data == NULL) {
        free(picture);
        return uf_fail(report, UF_ERROR_MEMORY, "not enough memory for %zu x %zu pixels (%.1f MB)", width_px,
                       height_px, (double)bytes / 1e6);
    }
    picture->reserved_bytes = in_part ? bytes : 0;
    picture->width_px = width_px;
    picture->height_px = height_px;
    picture->held_first_px = first_px;
    picture->held_end_px = end_px;
    picture->channels = channels;
    picture->sample = sample;
    picture->orientation = 1;
    picture->described_width_px = width_px;
    picture->described_height_px = height_px;
    *out = picture;
    return UF_OK;
}

UfStatus uf_picture_create_part(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                                size_t first_px, size_t end_px, UfPicture **out, UfReport *report)
{
    return create(width_px, height_px, channels, sample, first_px, end_px, uf_alloc_zero, out, report);
}

UfStatus uf_picture_create_unset(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                                 UfPicture **out, UfReport *report)
{
    return create(width_px, height_px, channels, sample, 0, height_px, uf_alloc, out, report);
}

UfStatus uf_picture_create(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                           UfPicture **out, UfReport *report)
{
    return uf_picture_create_part(width_px, height_px, channels, sample, 0, height_px, out, report);
}

void uf_rows_wanted(const UfReadOptions *options, size_t height_px, size_t step_px, size_t *first_px,
                    size_t *end_px)
{
    *first_px = 0;
    *end_px = height_px;
    step_px *= step_px % UF_TOUCHED_CELL_PX == 0 ? 1 : UF_TOUCHED_CELL_PX;
    if (options->end_row_px == 0 || options->first_row_px >= options->end_row_px ||
        options->first_row_px >= height_px)
        return;
    *first_px = options->first_row_px / step_px * step_px;
    size_t left = height_px - *first_px;
    size_t wanted = options->end_row_px < height_px ? options->end_row_px - *first_px : left;
    size_t steps = (wanted + step_px - 1) / step_px;
    *end_px = steps > left / step_px ? height_px : *first_px + steps * step_px;
}

void uf_picture_free(UfPicture **picture)
{
    if (picture == NULL || *picture == NULL)
        return;
    uf_metadata_clear(&(*picture)->metadata);
    if ((*picture)->reserved_bytes > 0)
        munmap((*picture)->data, (*picture)->reserved_bytes);
    else
        free((*picture)->data);
    free((*picture)->note);
    free(*picture);
    *picture = NULL;
}

UfStatus uf_picture_copy(const UfPicture *picture, UfPicture **out, UfReport *report)
{
    UfPicture *copy = NULL;
    UfStatus status =
        uf_picture_create_part(picture->width_px, picture->height_px, picture->channels, picture->sample,
                               picture->held_first_px, picture->held_end_px, &copy, report);
    if (copy == NULL)
        return status;
    status = uf_metadata_copy(&picture->metadata, &copy->metadata, report);
    if (status != UF_OK) {
        uf_picture_free(&copy);
        return status;
    }
    memcpy(uf_picture_row(copy, copy->held_first_px), uf_picture_row_const(picture, picture->held_first_px),
           picture->stride_bytes * (picture->held_end_px - picture->held_first_px));
    copy->format = picture->format;
    copy->orientation = picture->orientation;
    copy->described_width_px = picture->described_width_px;
    copy->described_height_px = picture->described_height_px;
    *out = copy;
    return UF_OK;
}

/* Rows between one telling and the next. */
#define TOLD_ROWS 64u

void uf_rows_tell(UfRowsRead *rows, UfPicture *picture, size_t end_px)
{
    if (rows->options->rows_read == NULL || end_px < rows->told_px + TOLD_ROWS)
        return;
    rows->told_px = end_px;
    rows->options->rows_read(rows->options->rows_read_data, picture, end_px);
}

void uf_rows_gone(UfRowsRead *rows)
{
    if (rows->told_px > 0)
        rows->options->rows_read(rows->options->rows_read_data, NULL, 0);
}

UfStatus uf_rows_wait(UfRowsToWrite *rows, size_t end_px, UfReport *report)
{
    if (rows->options->rows == NULL || end_px <= rows->there_px)
        return UF_OK;
    rows->there_px = rows->options->rows(rows->options->rows_data, end_px);
    return rows->there_px >= end_px
               ? UF_OK
               : uf_fail(report, UF_ERROR_ARGUMENT, "the rest of the picture to be written was not made");
}

UfStatus uf_picture_copy_metadata(const UfPicture *from, UfPicture *to, UfReport *report)
{
    if (from == to)
        return UF_OK;
    UfMetadata copy = {0};
    UfStatus status = uf_metadata_copy(&from->metadata, &copy, report);
    if (status != UF_OK)
        return status;
    uf_metadata_clear(&to->metadata);
    to->metadata = copy;
    to->described_width_px = from->described_width_px;
    to->described_height_px = from->described_height_px;
    return UF_OK;
}

size_t uf_picture_width_px(const UfPicture *picture)
{
    return picture->width_px;
}

size_t uf_picture_height_px(const UfPicture *picture)
{
    return picture->height_px;
}

size_t uf_picture_channels(const UfPicture *picture)
{
    return picture->channels;
}

UfSample uf_picture_sample(const UfPicture *picture)
{
    return picture->sample;
}

size_t uf_picture_stride_bytes(const UfPicture *picture)
{
    return picture->stride_bytes;
}

bool uf_picture_has_alpha(const UfPicture *picture)
{
    return picture->channels % 2 == 0;
}

void *uf_picture_row(UfPicture *picture, size_t y_px)
{
    return picture->data + y_px * picture->stride_bytes;
}

const void *uf_picture_row_const(const UfPicture *picture, size_t y_px)
{
    return picture->data + y_px * picture->stride_bytes;
}

void uf_picture_held_rows(const UfPicture *picture, size_t *first_px, size_t *end_px)
{
    *first_px = picture->held_first_px;
    *end_px = picture->held_end_px;
}

UfFormat uf_picture_format(const UfPicture *picture)
{
    return picture->format;
}

UfBlob uf_picture_exif(const UfPicture *picture)
{
    return picture->metadata.exif;
}

UfBlob uf_picture_icc(const UfPicture *picture)
{
    return picture->metadata.icc;
}

UfBlob uf_picture_xmp(const UfPicture *picture)
{
    return picture->metadata.xmp;
}
