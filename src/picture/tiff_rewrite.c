/*
 * A TIFF with a part of its pixels exchanged: the file is copied, and only the strips and tiles that were
 * touched are packed anew, with the source's compression, predictor and byte order. They go into their old
 * place where they fit, otherwise to the end of the file; what will be written over altogether is not copied
 * before. All other bytes stay.
 */
#include <unistd.h>

#include "picture/tiff_directory.h"

#include "base/smaller.h"
#include "picture/tiff_exif.h"
#include "picture/tiff_pack.h"

UfStatus uf_tiff_retag(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report)
{
    UfTiffDirectory directory;
    UfStatus status = uf_output_copy(output, source, 0, source->size_bytes, report);
    if (status == UF_OK)
        status = uf_tiff_directory_open(fileno(output->stream), output->final_path, &directory, report);
    return status == UF_OK ? uf_tiff_directory_set_bytes(&directory, TIFFTAG_XMLPACKET, xmp, report) : status;
}

typedef struct Rewriter {
    TIFF *tiff; /* the source */
    UfTiffFile file;
    UfTiffLayout layout;
    UfTiffPacking packing;
    UfTiffDirectory directory; /* of the output */
    const UfPicture *picture;
    const UfTouched *touched;
    uint64_t *offsets, *counts;
    bool *shared; /* chunks whose bytes belong to others too */
    size_t chunk_count;
    bool is_cut;          /* the chunks are pieces of the file's one strip, and stay where they are */
    uint8_t *chunk, *run; /* a decoded chunk; a few pixels of the new picture */
} Rewriter;

/* The part of the picture that a strip or tile holds. */
typedef struct Place {
    size_t x, y, columns, rows; /* inside the picture */
    size_t stored_rows;         /* in the chunk: a last strip is shorter, a tile never */
    size_t plane;
} Place;

static Place place_of(const UfTiffLayout *layout, size_t index)
{
    size_t across = (layout->width_px + layout->tile_width_px - 1) / layout->tile_width_px;
    size_t down = (layout->height_px + layout->tile_height_px - 1) / layout->tile_height_px;
    size_t in_plane = index % (across * down);
    Place place = {.x = in_plane % across * layout->tile_width_px,
                   .y = in_plane / across * layout->tile_height_px,
                   .plane = index / (across * down)};
    place.columns = uf_smaller(layout->tile_width_px, layout->width_px - place.x);
    place.rows = uf_smaller(layout->tile_height_px, layout->height_px - place.y);
    place.stored_rows = layout->tiled ? layout->tile_height_px : place.rows;
    return place;
}

static UfStatus check_same_picture(const Rewriter *rewriter, UfReport *report)
{
    const UfPicture *picture = rewriter->picture;
    const UfTiffLayout *layout = &rewriter->layout;
    size_t width, height;
    uf_orient_stored_size(picture, layout->orientation, &width, &height);
    if (layout->width_px == width && layout->height_px == height && layout->channels == picture->channels &&
        layout->sample == picture->sample && layout->orientation == picture->orientation)
        return UF_OK;
    return uf_fail(
        report, UF_ERROR_ARGUMENT,
        "is not the file that the picture was read from (another size, colour kind, depth or orientation)");
}

static int by_offset(const void *a, const void *b)
{
    const uint64_t *x = a, *y = b;
    return (x[0] > y[0]) - (x[0] < y[0]);
}

/* Some writers store equal strips once: writing over one would change the others. */
static UfStatus find_shared(Rewriter *rewriter, UfReport *report)
{
    size_t count = rewriter->chunk_count;
    uint64_t(*order)[2] = uf_alloc(count, sizeof *order);
    rewriter->shared = uf_alloc_zero(count, sizeof *rewriter->shared);
    if (order == NULL || rewriter->shared == NULL) {
        free(order);
        return uf_fail_memory(report);
    }
    for (size_t i = 0; i < count; i++) {
        order[i][0] = TIFFGetStrileOffset(rewriter->tiff, (uint32_t)i);
        order[i][1] = i;
    }
    qsort(order, count, sizeof *order, by_offset);
    for (size_t i = 1; i < count; i++)
        if (order[i - 1][0] + TIFFGetStrileByteCount(rewriter->tiff, (uint32_t)order[i - 1][1]) > order[i][0])
            rewriter->shared[order[i - 1][1]] = rewriter->shared[order[i][1]] = true;
    free(order);
    return UF_OK;
}

/* libtiff shows one uncompressed strip of more than 8 kB as many, which the file's tables know nothing of. */
static UfStatus cut_tables(Rewriter *rewriter, UfReport *report)
{
    free(rewriter->offsets);
    free(rewriter->counts);
    rewriter->offsets = uf_alloc(rewriter->chunk_count, sizeof *rewriter->offsets);
    rewriter->counts = uf_alloc(rewriter->chunk_count, sizeof *rewriter->counts);
    if (rewriter->offsets == NULL || rewriter->counts == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < rewriter->chunk_count; i++) {
        rewriter->offsets[i] = TIFFGetStrileOffset(rewriter->tiff, (uint32_t)i);
        rewriter->counts[i] = TIFFGetStrileByteCount(rewriter->tiff, (uint32_t)i);
    }
    rewriter->is_cut = true;
    return UF_OK;
}

static UfStatus load_tables(Rewriter *rewriter, UfReport *report)
{
    bool tiled = rewriter->layout.tiled;
    size_t offsets = 0, counts = 0;
    UfStatus status =
        uf_tiff_directory_numbers(&rewriter->directory, tiled ? TIFFTAG_TILEOFFSETS : TIFFTAG_STRIPOFFSETS,
                                  &rewriter->offsets, &offsets, report);
    if (status == UF_OK)
        status = uf_tiff_directory_numbers(&rewriter->directory,
                                           tiled ? TIFFTAG_TILEBYTECOUNTS : TIFFTAG_STRIPBYTECOUNTS,
                                           &rewriter->counts, &counts, report);
    if (status != UF_OK)
        return status;
    if (!tiled && offsets == 1 && counts == 1 && rewriter->chunk_count > 1 &&
        rewriter->layout.compression == COMPRESSION_NONE)
        status = cut_tables(rewriter, report);
    else if (offsets != rewriter->chunk_count || counts != rewriter->chunk_count)
        status = uf_fail(report, UF_ERROR_FORMAT, "the TIFF's table of strips or tiles is damaged");
    return status;
}

static UfStatus save_tables(Rewriter *rewriter, UfReport *report)
{
    bool tiled = rewriter->layout.tiled;
    if (rewriter->is_cut)
        return UF_OK;
    UfStatus status = uf_tiff_directory_set_numbers(&rewriter->directory,
                                                    tiled ? TIFFTAG_TILEOFFSETS : TIFFTAG_STRIPOFFSETS,
                                                    rewriter->offsets, rewriter->chunk_count, report);
    if (status == UF_OK)
        status = uf_tiff_directory_set_numbers(&rewriter->directory,
                                               tiled ? TIFFTAG_TILEBYTECOUNTS : TIFFTAG_STRIPBYTECOUNTS,
                                               rewriter->counts, rewriter->chunk_count, report);
    return status;
}

/* Row y of the picture from x on, `count` pixels, into the chunk. */
static void overlay_run(Rewriter *rewriter, const Place *place, size_t x, size_t y, size_t count)
{
    const UfTiffLayout *layout = &rewriter->layout;
    size_t sample = (size_t)layout->sample, pixel = layout->channels * sample;
    size_t stored = layout->separate ? sample : pixel;
    uint8_t *out = rewriter->chunk + ((y - place->y) * layout->tile_width_px + (x - place->x)) * stored;
    uf_orient_stored_rect(rewriter->picture, layout->orientation, x, y, count, 1, rewriter->run,
                          count * pixel);
    uf_tiff_row_to_file(layout, rewriter->run, count);
    if (!layout->separate)
        memcpy(out, rewriter->run, count * pixel);
    else
        for (size_t i = 0; i < count; i++)
            memcpy(out + i * sample, rewriter->run + i * pixel + place->plane * sample, sample);
}

/* Cell by cell, so that pixels which were not touched keep the file's own samples. */
static void overlay_touched(Rewriter *rewriter, const Place *place)
{
    const UfPicture *picture = rewriter->picture;
    int orientation = rewriter->layout.orientation;
    for (size_t y = place->y, y_end; y < place->y + place->rows; y = y_end) {
        y_end = uf_smaller(uf_orient_next_cell(picture, orientation, true, y), place->y + place->rows);
        for (size_t x = place->x, x_end; x < place->x + place->columns; x = x_end) {
            x_end =
                uf_smaller(uf_orient_next_cell(picture, orientation, false, x), place->x + place->columns);
            if (!uf_touched_any_stored(rewriter->touched, picture, orientation, x, y, x_end, y_end))
                continue;
            for (size_t row = y; row < y_end; row++)
                overlay_run(rewriter, place, x, row, x_end - x);
        }
    }
}

static UfStatus read_chunk(Rewriter *rewriter, size_t index, size_t size, UfReport *report)
{
    tmsize_t got =
        rewriter->layout.tiled
            ? TIFFReadEncodedTile(rewriter->tiff, (uint32_t)index, rewriter->chunk, (tmsize_t)size)
            : TIFFReadEncodedStrip(rewriter->tiff, (uint32_t)index, rewriter->chunk, (tmsize_t)size);
    return got == (tmsize_t)size ? UF_OK
                                 : uf_tiff_fail(&rewriter->file, "the TIFF's pixels are damaged", report);
}

static UfStatus store_chunk(Rewriter *rewriter, size_t index, UfBlob packed, UfReport *report)
{
    UfStatus status;
    if (packed.size_bytes <= rewriter->counts[index] && !rewriter->shared[index])
        status = uf_tiff_directory_write(&rewriter->directory, rewriter->offsets[index], packed.data,
                                         packed.size_bytes, report);
    else if (rewriter->is_cut)
        return uf_fail(report, UF_ERROR_FORMAT, "the TIFF's one strip is shorter than the picture");
    else
        status = uf_tiff_directory_append(&rewriter->directory, packed.data, packed.size_bytes,
                                          &rewriter->offsets[index], report);
    rewriter->counts[index] = packed.size_bytes;
    return status;
}

static bool is_touched(const Rewriter *rewriter, const Place *place)
{
    return uf_touched_any_stored(rewriter->touched, rewriter->picture, rewriter->layout.orientation, place->x,
                                 place->y, place->x + place->columns, place->y + place->rows);
}

static size_t unpacked_bytes(const UfTiffLayout *layout, const Place *place)
{
    return layout->chunk_bytes / layout->tile_height_px * place->stored_rows;
}

/* Every byte of it will be written, in its old place. */
static bool is_written_whole(const Rewriter *rewriter, size_t index)
{
    const UfTiffLayout *layout = &rewriter->layout;
    const Place place = place_of(layout, index);
    return layout->compression == COMPRESSION_NONE && !rewriter->shared[index] &&
           TIFFGetStrileByteCount(rewriter->tiff, (uint32_t)index) == unpacked_bytes(layout, &place) &&
           is_touched(rewriter, &place);
}

/* The source, with gaps where it will be written over altogether. */
static UfStatus copy_rest(const Rewriter *rewriter, const UfInput *source, UfOutput *output, UfReport *report)
{
    UfStatus status = UF_OK;
    uint64_t from = 0;
    for (size_t i = 0; i < rewriter->chunk_count && status == UF_OK; i++) {
        const uint64_t at = TIFFGetStrileOffset(rewriter->tiff, (uint32_t)i);
        const uint64_t size = TIFFGetStrileByteCount(rewriter->tiff, (uint32_t)i);
        if (at < from || at >= source->size_bytes || size > source->size_bytes - at ||
            !is_written_whole(rewriter, i))
            continue;
        if (at > from)
            status = uf_output_copy(output, source, from, at, report);
        if (status == UF_OK)
            status = uf_output_skip(output, size, report);
        from = at + size;
    }
    return status == UF_OK ? uf_output_copy(output, source, from, source->size_bytes, report) : status;
}

static UfStatus replace_chunk(Rewriter *rewriter, size_t index, UfReport *report)
{
    const UfTiffLayout *layout = &rewriter->layout;
    Place place = place_of(layout, index);
    UfBlob packed = {0};
    if (!is_touched(rewriter, &place))
        return UF_OK;
    size_t size = unpacked_bytes(layout, &place);
    UfStatus status = read_chunk(rewriter, index, size, report);
    if (status != UF_OK)
        return status;
    overlay_touched(rewriter, &place);
    status =
        uf_tiff_pack(layout, &rewriter->packing, rewriter->chunk, size, place.stored_rows, &packed, report);
    if (status == UF_OK)
        status = store_chunk(rewriter, index, packed, report);
    free(packed.data);
    return status;
}

static UfStatus replace_touched(Rewriter *rewriter, UfReport *report)
{
    const UfTiffLayout *layout = &rewriter->layout;
    UfStatus status = uf_check_size(layout->width_px, layout->height_px, 0, layout->sample,
                                    3 * layout->chunk_bytes, 0, report);
    if (status == UF_OK)
        status = load_tables(rewriter, report);
    if (status != UF_OK)
        return status;
    rewriter->chunk = uf_alloc(layout->chunk_bytes, 1);
    rewriter->run = uf_alloc(8 * layout->channels, (size_t)layout->sample);
    if (rewriter->chunk == NULL || rewriter->run == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < rewriter->chunk_count && status == UF_OK; i++)
        status = replace_chunk(rewriter, i, report);
    return status == UF_OK ? save_tables(rewriter, report) : status;
}

static UfStatus replace_xmp(Rewriter *rewriter, UfReport *report)
{
    UfBlob xmp = rewriter->picture->metadata.xmp;
    uint32_t size = 0;
    void *old = NULL;
    bool had = TIFFGetField(rewriter->tiff, TIFFTAG_XMLPACKET, &size, &old) == 1;
    if (xmp.size_bytes == 0 || (had && size == xmp.size_bytes && memcmp(old, xmp.data, size) == 0))
        return UF_OK;
    return uf_tiff_directory_set_bytes(&rewriter->directory, TIFFTAG_XMLPACKET, xmp, report);
}

/* Other pictures of the same file that were made from this one stay as they are, and are old now. */
static void warn_of_copies(Rewriter *rewriter, UfReport *report)
{
    uint16_t count = 0;
    uint32_t size = 0, kind;
    void *data = NULL;
    bool copies = TIFFGetField(rewriter->tiff, TIFFTAG_SUBIFD, &count, &data) == 1;
    if (TIFFGetField(rewriter->tiff, TIFFTAG_IMAGESOURCEDATA, &size, &data) == 1)
        uf_warn(report,
                "%s: holds the layers of an image editor, which still show the old picture; flatten it there",
                rewriter->file.name);
    while (!copies && TIFFReadDirectory(rewriter->tiff) == 1) {
        kind = 0;
        TIFFGetFieldDefaulted(rewriter->tiff, TIFFTAG_SUBFILETYPE, &kind);
        copies = (kind & FILETYPE_REDUCEDIMAGE) != 0;
    }
    if (copies)
        uf_warn(report, "%s: holds smaller copies of the picture, which still show the old one",
                rewriter->file.name);
}

static UfStatus rewrite_all(Rewriter *rewriter, UfInput *source, UfOutput *output, UfReport *report)
{
    UfStatus status = uf_tiff_layout(rewriter->tiff, &rewriter->layout, report);
    if (status == UF_OK)
        status = check_same_picture(rewriter, report);
    if (status == UF_OK) {
        rewriter->chunk_count =
            rewriter->layout.tiled ? TIFFNumberOfTiles(rewriter->tiff) : TIFFNumberOfStrips(rewriter->tiff);
        status = find_shared(rewriter, report);
    }
    if (status == UF_OK)
        status = copy_rest(rewriter, source, output, report);
    if (status == UF_OK)
        status =
            uf_tiff_directory_open(fileno(output->stream), output->final_path, &rewriter->directory, report);
    if (status != UF_OK)
        return status;
    rewriter->packing = uf_tiff_packing_of(rewriter->tiff);
    const UfPicture *picture = rewriter->picture;
    bool any = uf_touched_any(rewriter->touched, 0, 0, picture->width_px, picture->height_px);
    if (any)
        status = replace_touched(rewriter, report);
    if (status == UF_OK)
        status = replace_xmp(rewriter, report);
    if (status == UF_OK)
        status = uf_tiff_correct_exif(rewriter->tiff, fileno(output->stream), output->final_path,
                                      rewriter->layout.width_px, rewriter->layout.height_px, report);
    if (status == UF_OK && any)
        warn_of_copies(rewriter, report);
    return status;
}

UfStatus uf_tiff_rewrite(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                         const UfWriteOptions *options, UfOutput *output, UfReport *report)
{
    (void)options;
    Rewriter rewriter = {.picture = picture, .touched = touched};
    rewriter.tiff = uf_tiff_open(&rewriter.file, fileno(source->stream), source->path, "r", report);
    if (rewriter.tiff == NULL)
        return uf_tiff_fail(&rewriter.file, "the TIFF cannot be opened", report);
    UfStatus status = rewrite_all(&rewriter, source, output, report);
    TIFFClose(rewriter.tiff);
    free(rewriter.offsets);
    free(rewriter.counts);
    free(rewriter.shared);
    free(rewriter.chunk);
    free(rewriter.run);
    return status;
}

/* A palette has no room for new colours: such a file is made anew. */
bool uf_tiff_can_rewrite(UfInput *source)
{
    UfTiffFile file;
    UfTiffLayout layout;
    TIFF *tiff = uf_tiff_open(&file, fileno(source->stream), source->path, "r", NULL);
    if (tiff == NULL)
        return false;
    bool can = uf_tiff_layout(tiff, &layout, NULL) == UF_OK && layout.photometric != PHOTOMETRIC_PALETTE;
    TIFFClose(tiff);
    return can;
}
