/*
 * A walk on several threads. Huffman codes fall into step by themselves: who begins to read anywhere soon
 * reads the very codes that were written, and blocks and MCUs likewise, where their tables differ.
 *
 * The data ahead are divided into pieces. The walk goes through the first one; through each of the others
 * another walk goes that guesses where it is, and leaves marks: places where it took an MCU to begin. Where
 * the walk comes to such a place as the beginning of an MCU, all that follows is what the guess has seen, but
 * for the number of MCUs and the DC values, which only lack what they began with. So it goes on from the last
 * mark. If they never meet, the walk goes through the piece itself: what comes out never depends on the
 * guess.
 *
 * Behind a restart marker nothing has to be guessed but the number of MCUs.
 */
#include "picture/jpeg_far.h"

#include "base/smaller.h"
/* MCUs from mark to mark. */
#define MARK_MCUS 64u
/* Bytes of a piece that are worth a thread, and at most. */
#define LEAST_BYTES 16384u
#define MOST_BYTES  8388608u
#define CHUNK_BYTES 4096u
/* After so many guesses that came to what is no data, a piece is given up. */
#define MOST_GUESSES 64

typedef struct Trace {
    UfJpegMark mark;
    size_t mcus;       /* since the guess began */
    UfJpegRange range; /* of DC values since the trace before */
} Trace;

typedef struct Piece {
    UfJpegWalk walk;
    uint64_t from, end; /* bytes of the file */
    Trace *traces;
    size_t count, room;
} Piece;

static bool leave_trace(Piece *piece, size_t mcus, const UfJpegRange *range)
{
    if (piece->count == piece->room) {
        size_t room = piece->room > 0 ? 2 * piece->room : 256;
        Trace *grown = uf_realloc(piece->traces, room, sizeof *grown);
        if (grown == NULL)
            return false;
        piece->traces = grown;
        piece->room = room;
    }
    piece->traces[piece->count++] = (Trace){uf_jpeg_walk_mark(&piece->walk), mcus, *range};
    return true;
}

/* Any byte will do, but not a zero that was stuffed behind 0xFF. */
static UfJpegMark begin_anywhere(const UfJpegWalk *walk, uint64_t at)
{
    uint8_t before = 0;
    (void)uf_jpeg_bytes_read(&walk->bytes, at - 1, &before, 1);
    return (UfJpegMark){.place = {.byte = at + (before == 0xFF ? 1 : 0)}};
}

/* Behind the next restart marker; false when there is none before `end`. */
static bool begin_at_marker(const UfJpegWalk *walk, uint64_t at, uint64_t end, UfJpegMark *out)
{
    uint8_t chunk[CHUNK_BYTES], last = 0;
    for (size_t got; at < end && (got = uf_jpeg_bytes_read(&walk->bytes, at, chunk, sizeof chunk)) > 0;
         at += got)
        for (size_t i = 0; i < got; i++) {
            bool found = last == 0xFF && chunk[i] >= JPEG_RST0 && chunk[i] < JPEG_RST0 + 8;
            last = chunk[i];
            if (!found)
                continue;
            *out = (UfJpegMark){.place = {.byte = at + i + 1},
                                .mcus_to_restart = walk->restart_interval,
                                .next_restart = (unsigned)(chunk[i] - JPEG_RST0 + 1) % 8};
            return true;
        }
    return false;
}

/* Walks on from where it is to the end of the piece; false at what is no data. */
static bool follow(Piece *piece)
{
    UfJpegWalk *walk = &piece->walk;
    UfJpegRange range = uf_jpeg_no_range;
    for (size_t mcus = 0;; mcus++) {
        if (uf_jpeg_walk_restart_is_due(walk) && !uf_jpeg_walk_restart(walk))
            return false;
        if (mcus % MARK_MCUS == 0) {
            if (!leave_trace(piece, mcus, &range) || uf_jpeg_walk_reached(walk) >= piece->end)
                return true;
            range = uf_jpeg_no_range;
        }
        if (!uf_jpeg_walk_guess(walk, &range))
            return false;
    }
}

/* What a wrong guess comes to soon is no data: then it begins anew there. */
static void guess(Piece *piece)
{
    UfJpegWalk *walk = &piece->walk;
    UfJpegMark mark;
    uint64_t at = piece->from;
    for (int tries = 0; at < piece->end && tries < MOST_GUESSES; tries++) {
        if (walk->restart_interval == 0)
            mark = begin_anywhere(walk, at);
        else if (!begin_at_marker(walk, at, piece->end, &mark))
            return;
        piece->count = 0;
        uf_jpeg_walk_resume(walk, &mark);
        if (follow(piece) || walk->restart_interval > 0)
            return;
        at = uf_jpeg_walk_reached(walk) + 1;
    }
}

/* To the first MCU from byte `end` on, and somewhat further; *count is what is left of it then. */
static bool lead(UfJpegWalk *walk, uint64_t end, size_t *count)
{
    while (*count > 0 && uf_jpeg_walk_reached(walk) < end) {
        size_t part = uf_smaller(*count, MARK_MCUS);
        if (!uf_jpeg_walk_skip(walk, part))
            return false;
        *count -= part;
    }
    return true;
}

/* The DC values that a guess would have had. */
static bool in_range(const UfJpegRange *range, const int missing[MAX_COMPS_IN_SCAN], unsigned components)
{
    for (unsigned c = 0; c < components; c++)
        if (range->least[c] <= range->most[c] && (range->least[c] + missing[c] < -UF_JPEG_DC_LIMIT ||
                                                  range->most[c] + missing[c] >= UF_JPEG_DC_LIMIT))
            return false;
    return true;
}

/* From trace `first`, where the walk stands, to the last that it may go to. */
static bool jump(UfJpegWalk *walk, const Piece *piece, size_t first, size_t *count)
{
    const Trace *traces = piece->traces;
    int missing[MAX_COMPS_IN_SCAN];
    size_t last = first;
    bool same = traces[first].mark.mcus_to_restart == walk->mcus_to_restart &&
                traces[first].mark.next_restart == walk->next_restart;
    for (unsigned c = 0; c < MAX_COMPS_IN_SCAN; c++) {
        missing[c] = walk->predictors[c] - traces[first].mark.predictors[c];
        same = same && (walk->restart_interval == 0 || missing[c] == 0);
    }
    while (same && last + 1 < piece->count && traces[last + 1].mcus - traces[first].mcus <= *count &&
           in_range(&traces[last + 1].range, missing, walk->components))
        last++;
    if (last == first)
        return false;
    UfJpegMark mark = traces[last].mark;
    for (unsigned c = 0; c < MAX_COMPS_IN_SCAN; c++)
        mark.predictors[c] += missing[c];
    uf_jpeg_walk_resume(walk, &mark);
    *count -= traces[last].mcus - traces[first].mcus;
    return true;
}

static bool is_before(UfJpegPlace a, UfJpegPlace b)
{
    return a.byte < b.byte || (a.byte == b.byte && a.bit < b.bit);
}

/* Through a piece: on foot until it meets a trace. */
static bool join(UfJpegWalk *walk, const Piece *piece, size_t *count)
{
    for (size_t next = 0; *count > 0 && next < piece->count; (*count)--) {
        if (uf_jpeg_walk_restart_is_due(walk) && !uf_jpeg_walk_restart(walk))
            return false;
        UfJpegPlace place = uf_jpeg_walk_place(walk);
        while (next < piece->count && is_before(piece->traces[next].mark.place, place))
            next++;
        if (next < piece->count && !is_before(place, piece->traces[next].mark.place) &&
            jump(walk, piece, next, count))
            return true;
        if (!uf_jpeg_walk_mcu(walk, NULL))
            return false;
    }
    return true;
}

/* All pieces at once; then one is joined to the other. */
static bool walk_pieces(UfJpegWalk *walk, Piece *pieces, size_t piece_count, size_t *count)
{
    bool sound = true;
#pragma omp parallel for schedule(static, 1) num_threads((int)piece_count)
    for (size_t i = 0; i < piece_count; i++)
        if (i == 0)
            sound = lead(walk, pieces[0].end, count);
        else
            guess(&pieces[i]);
    for (size_t i = 1; i < piece_count && sound; i++)
        sound = join(walk, &pieces[i], count) && lead(walk, pieces[i].end, count);
    return sound;
}

/* As far as the data of `count` MCUs may reach: as densely as those before, `done` from byte `from` on. */
static uint64_t bytes_ahead(const UfJpegWalk *walk, size_t count, size_t done, uint64_t from)
{
    uint64_t at = uf_jpeg_walk_place(walk).byte;
    double each = done > 0 ? (double)(at - from) / (double)done
                           : (double)(walk->bytes.size_bytes - at) / (double)(walk->rows * walk->columns);
    double bytes = each * (double)count;
    uint64_t left = walk->bytes.size_bytes - at;
    return bytes < (double)left ? (uint64_t)bytes : left;
}

/* Divides what lies ahead; false when it is not worth it. */
static bool divide(const UfJpegWalk *walk, uint64_t bytes, Piece *pieces, size_t piece_count)
{
    uint64_t at = uf_jpeg_walk_place(walk).byte, size = bytes / piece_count;
    size = size < MOST_BYTES ? size : MOST_BYTES;
    for (size_t i = 0; i < piece_count; i++) {
        pieces[i].from = at + i * size;
        pieces[i].end = pieces[i].from + size;
        pieces[i].count = 0;
    }
    return size >= LEAST_BYTES;
}

static bool go_far(UfJpegWalk *walk, Piece *pieces, size_t piece_count, size_t count)
{
    uint64_t from = uf_jpeg_walk_place(walk).byte;
    size_t all = count;
    while (divide(walk, bytes_ahead(walk, count, all - count, from), pieces, piece_count))
        if (!walk_pieces(walk, pieces, piece_count, &count))
            return false;
    return uf_jpeg_walk_skip(walk, count);
}

bool uf_jpeg_walk_far(UfJpegWalk *walk, size_t count, int threads)
{
    size_t piece_count = (size_t)threads, open = 1;
    if (piece_count < 2 || bytes_ahead(walk, count, 0, 0) < piece_count * LEAST_BYTES)
        return uf_jpeg_walk_skip(walk, count);
    Piece *pieces = uf_alloc_zero(piece_count, sizeof *pieces);
    while (pieces != NULL && open < piece_count && uf_jpeg_walk_share(walk, &pieces[open].walk))
        open++;
    bool sound =
        open == piece_count ? go_far(walk, pieces, piece_count, count) : uf_jpeg_walk_skip(walk, count);
    for (size_t i = 0; pieces != NULL && i < piece_count; i++) {
        uf_jpeg_walk_clear(&pieces[i].walk);
        free(pieces[i].traces);
    }
    free(pieces);
    return sound;
}
