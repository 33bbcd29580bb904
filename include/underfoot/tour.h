/*
 * A tour: commands run over a folder of panoramas, several at a time, in such a way that the run can be
 * killed at any instant and continued.
 *
 * The engine decides what has to be made, in which order and with how much memory and how many cores, keeps
 * the journal and puts results in place. It makes no picture itself: each step is one command line of the
 * program, run in a process of its own by the host, so that a panorama that breaks its step breaks nothing
 * else. docs/tour.md describes the job sheet and what lies in the output folder.
 */
#ifndef UNDERFOOT_TOUR_H
#define UNDERFOOT_TOUR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <underfoot/api.h>
#include <underfoot/status.h>

UF_API_BEGIN

/* How the host knows an option of a command. */
typedef enum UfTourOptionKind {
    UF_TOUR_OPTION_UNKNOWN = 0,
    UF_TOUR_OPTION_FLAG,
    UF_TOUR_OPTION_VALUE,
    UF_TOUR_OPTION_FILE /* a file that is read: its contents count, not its name */
} UfTourOptionKind;

/* How a step ended. */
typedef struct UfTourEnd {
    int id;              /* what start() gave */
    int status;          /* exit status: 0 done, 2 done with warnings, anything else failed */
    int signal;          /* the signal that ended it, or 0 */
    uint64_t peak_bytes; /* the most memory that it held; 0 when not known */
    char *result;        /* what it wrote as its result, JSON (RFC 8259); malloc, the engine frees it */
    char *messages;      /* what else it said, a line each; malloc, the engine frees it */
} UfTourEnd;

typedef enum UfTourWait { UF_TOUR_WAIT_END = 0, UF_TOUR_WAIT_TIME, UF_TOUR_WAIT_STOP } UfTourWait;

typedef enum UfTourEventKind {
    UF_TOUR_EVENT_TIME = 0, /* nothing new but the time */
    UF_TOUR_EVENT_START,    /* a result is being made */
    UF_TOUR_EVENT_MADE,     /* a result is in place */
    UF_TOUR_EVENT_THERE,    /* a result was in place already, unchanged */
    UF_TOUR_EVENT_FAILED
} UfTourEventKind;

/* What is going on. Strings are borrowed for the call. */
typedef struct UfTourEvent {
    UfTourEventKind kind;
    const char *panorama; /* its file name; NULL for TIME */
    const char *section;  /* "patch", "view", a section's own name ... of the sheet */
    const char *path;     /* the result */
    const char *text;     /* FAILED: why; MADE and THERE: warnings, one a line, or "" */
    double time_s;        /* MADE: what the result took */
    uint64_t bytes;       /* MADE, THERE: of the result's files */
    size_t done, total;   /* results so far, those that failed among them, and all */
    size_t running;
    double elapsed_s;
    double rate;   /* results made a minute in this run; 0 when not known yet */
    double left_s; /* below 0 when not known yet */
} UfTourEvent;

/* What the engine asks of the program around it. */
typedef struct UfTourHost {
    void *context;
    /*
     * Does `command` take the option `key` with that value? UNKNOWN with the reason in `problem` when it does
     * not know the option; its kind, and "" or what is wrong with the value, otherwise.
     */
    UfTourOptionKind (*option)(void *context, const char *command, const char *key, const char *value,
                               char *problem, size_t problem_bytes);
    /* Would the program refuse this line for what stands on it? True when it is fine. */
    bool (*check)(void *context, const char *const *arguments, size_t count, char *problem,
                  size_t problem_bytes);
    /* Starts the program with these arguments; *id tells it from others that run. False, and errno, when it
     * cannot. */
    bool (*start)(void *context, const char *const *arguments, size_t count, int *id);
    /* Waits until a step ends, some time has passed or somebody wants everything to stop. */
    UfTourWait (*wait)(void *context, double seconds, UfTourEnd *out);
    /* Ends all that runs and waits for it. */
    void (*stop)(void *context);
    void (*tell)(void *context, const UfTourEvent *event);
} UfTourHost;

typedef struct UfTourSetting {
    const char *key, *value;
} UfTourSetting;

/* Strings are borrowed for the life of the UfTour. */
typedef struct UfTourRequest {
    const char *sheet_path;     /* the job sheet, or NULL */
    const char *input;          /* folder or pattern; NULL: the sheet's */
    const char *out_folder;     /* NULL: the sheet's */
    const UfTourSetting *patch; /* without a sheet: the options of one patch step */
    size_t patch_count;
    size_t jobs;               /* processes at once; 0: as many as threads */
    size_t threads;            /* cores for all of them together; 0: all */
    uint64_t max_memory_bytes; /* for all of them together; 0: three quarters of the machine's */
    size_t part, parts;        /* 1-based part of so many; parts 0: the whole tour */
    bool overwrite;            /* replace files that this tour did not make, or that were changed since */
    bool merge;                /* make nothing but the page's pieces: bring the parts' journals together and sum up */
    const char *review_path;   /* write the review page there, or NULL */
} UfTourRequest;

/* A tour that was read and found right. Opaque. */
typedef struct UfTour UfTour;

/* True for the name of a command that a job sheet may have as a section: "patch", "view" ... */
bool uf_tour_has_step(const char *command);

/*
 * Reads the sheet, lists the panoramas, and checks every option of every panorama: mistakes come with file,
 * line and remedy, before anything runs. `host` must outlive the tour. On success the caller owns *out.
 */
UfStatus uf_tour_plan(const UfTourRequest *request, const UfTourHost *host, UfTour **out, UfReport *report);
void uf_tour_free(UfTour **tour);

/*
 * Calls `line` with every command line that a run would start now, without starting anything, and tells the
 * host of what would be refused.
 */
UfStatus uf_tour_list(UfTour *tour, void (*line)(void *context, const char *const *arguments, size_t count),
                      void *context, UfReport *report);

typedef struct UfTourTotals {
    size_t panoramas, done, warned, failed, skipped;
    size_t made, there;  /* results made now, and found in place unchanged */
    uint64_t bytes;      /* of all results */
    uint64_t peak_bytes; /* the most that all steps running at once were expected to hold */
    double time_s;
    const char *summary_path; /* borrowed from the tour */
} UfTourTotals;

/*
 * Makes what is not there yet. UF_OK also when panoramas failed: see the totals. UF_ERROR_EXISTS when another
 * run holds the folder; UF_ERROR_IO when the disk is full or the folder cannot be written to, and
 * UF_ERROR_UNCLEAR when the host wanted it to stop: what is finished is kept, the same run continues it.
 */
UfStatus uf_tour_run(UfTour *tour, UfTourTotals *out, UfReport *report);

UF_API_END
#endif
