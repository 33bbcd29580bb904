/*
 * What the files of the engine share: the sheet's steps, the panoramas, and the jobs that come of them.
 *
 * A job makes one result (a file with what belongs to it, or a folder of files) from one source by one or
 * more commands. The chain of a panorama (turn, patch, tag) is one job; what is derived from the finished
 * panorama is a job each, and so are the pieces of the review page.
 */
#ifndef UF_TOUR_TOUR_H
#define UF_TOUR_TOUR_H

#include <underfoot/picture.h>
#include <underfoot/tour.h>

#include "tour/arena.h"
#include "tour/journal.h"
#include "tour/record.h"

/* Inside the output folder. */
#define UF_TOUR_HIDDEN ".underfoot"

typedef struct UfOption {
    const char *key, *value; /* a file's path is found from the working folder */
    UfTourOptionKind kind;
    int line; /* of the sheet; 0: the command line */
} UfOption;

/* A section of the sheet. */
typedef struct UfStep {
    const char *command;
    const char *name; /* by which the sheet and its overrides call it; also the folder of what is derived */
    bool is_derived;
    int line;
    UfOption *options;
    size_t option_count;
} UfStep;

/* A line of a [panorama PATTERN] section: `step`.`key` = value. */
typedef struct UfOverride {
    size_t step;
    const char *key, *value; /* an empty value takes the option away; key "skip" */
    UfTourOptionKind kind;
    int line;
} UfOverride;

typedef struct UfRule {
    const char *pattern;
    int line;
    bool says_skip, skip;
    UfOverride *overrides;
    size_t override_count;
    size_t matches;
} UfRule;

typedef struct UfSheet {
    const char *path;   /* NULL without one */
    const char *folder; /* that its paths are relative to, with a slash at its end, or "" */
    const char *input, *out, *review;
    int input_line;
    size_t jobs, threads;
    uint64_t max_memory_bytes;
    UfStep *steps; /* the chain in the order of its running, then what is derived in the sheet's order */
    size_t step_count;
    UfRule *rules;
    size_t rule_count;
} UfSheet;

/* One command of a job. */
typedef struct UfJobStep {
    const char *command, *section;
    UfOption *options;
    size_t option_count;
} UfJobStep;

typedef enum UfJobState {
    UF_JOB_WAITING = 0, /* for its source, or for its turn */
    UF_JOB_READY,       /* looked at: has to be made; or its next step has to be started */
    UF_JOB_RUNNING,
    UF_JOB_MADE,
    UF_JOB_THERE, /* was in place, unchanged */
    UF_JOB_KEPT,  /* was changed by somebody else: kept as it is */
    UF_JOB_FAILED
} UfJobState;

typedef struct UfJob {
    size_t panorama;
    const char *section; /* of the result */
    const char *target;  /* relative to the output folder */
    bool is_folder;      /* the command makes a folder of files */
    bool is_chain;
    int piece;            /* UfTourPiece, or -1 */
    ptrdiff_t source_job; /* the chain whose result is the source; -1: the panorama itself */
    UfJobStep *steps;
    size_t step_count;
    uint64_t need_bytes; /* of the step that needs most */
    uint64_t held_bytes; /* what the schedule holds for it while it runs */

    UfJobState state;
    size_t step; /* that is to be started or runs */
    int process;
    size_t threads;
    UfDigest order;
    double began_s;
    UfJournalRecord record; /* what became of it */
    const char *error;
    bool follows; /* it failed because what it is taken from did */
} UfJob;

typedef struct UfPanorama {
    const char *name, *path;
    UfPictureInfo info;
    bool skip;
    bool elsewhere;    /* another part sees to it */
    const char *error; /* its header cannot be used */
    bool is_digested;
    UfDigest digest;
    size_t first_job, job_count;
} UfPanorama;

/* Files that options name, with their digests: read once. */
typedef struct UfNamedFile {
    const char *path;
    UfDigest digest;
} UfNamedFile;

struct UfTour {
    UfArena arena;
    const UfTourHost *host;
    UfTourRequest request;
    UfSheet sheet;
    const char *out; /* the output folder, with a slash at its end */
    UfPanorama *panoramas;
    size_t panorama_count;
    UfJob *jobs;
    size_t job_count;
    UfNamedFile *files;
    size_t file_count;
    const char *summary_path;
};

/* Reads the job sheet into tour->sheet; every option is one that its command takes. */
UfStatus uf_tour_read_sheet(UfTour *tour, UfReport *report);
/* The same for a folder without a sheet: one patch step of the request's options. */
UfStatus uf_tour_plain_sheet(UfTour *tour, UfReport *report);
/* Fills tour->panoramas from folder or pattern, sorted by path. */
UfStatus uf_tour_list_input(UfTour *tour, UfReport *report);
/* Fills tour->jobs; every command line is one that the command would take. */
UfStatus uf_tour_make_jobs(UfTour *tour, UfReport *report);
/* The digest of a file that an option names. */
UfStatus uf_tour_digest_named(UfTour *tour, const char *path, UfDigest *out, UfReport *report);

/* What a job works on, and where its result comes to lie, as paths from the working folder. */
const char *uf_job_source(const UfTour *tour, const UfJob *job);
char *uf_job_target(UfTour *tour, const UfJob *job);
/* "sheet.ini:12: " or, without a line, "". */
const char *uf_sheet_place(UfTour *tour, int line);

/*
 * The command line of a step: count arguments, and NULL behind them, in the tour's arena. threads 0 and
 * memory 0 leave these options out.
 */
const char **uf_job_arguments(UfTour *tour, const UfJobStep *step, const char *source, const char *out,
                              size_t threads, uint64_t max_memory_bytes, size_t *count);

/* What the command of a step will hold at its peak, for a panorama with this header. */
uint64_t uf_job_need(const UfJobStep *step, const UfPictureInfo *info);

#endif
