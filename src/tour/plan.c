/* From a request to a tour that can run: everything that can be refused is refused here. */
#include <limits.h>
#include <unistd.h>

#include "base/memory.h"
#include "base/report.h"
#include "tour/tour.h"

static UfStatus check_request(const UfTourRequest *request, UfReport *report)
{
    if (request->parts > 0 && (request->part < 1 || request->part > request->parts))
        return uf_fail(report, UF_ERROR_ARGUMENT, "part %zu of %zu does not exist; count from 1",
                       request->part, request->parts);
    if (request->parts > 0 && request->merge)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a merge takes all parts together; leave the part out");
    return UF_OK;
}

/* The page replaces an older one, so it must not have the name of anything else; and a night must not end
 * with a folder that is not there. */
static UfStatus check_review(UfTour *tour, UfReport *report)
{
    const char *path = tour->request.review_path;
    if (path == NULL)
        return UF_OK;
    const char *dot = strrchr(path, '.');
    if (dot == NULL || (strcmp(dot, ".html") != 0 && strcmp(dot, ".htm") != 0))
        return uf_fail(report, UF_ERROR_ARGUMENT, "%s: the name of the review page must end in .html", path);
    const char *slash = strrchr(path, '/');
    const char *folder =
        slash == NULL ? "." : uf_arena_print(&tour->arena, "%.*s", (int)(slash - path) + 1, path);
    if (folder == NULL)
        return uf_fail_memory(report);
    if (access(folder, W_OK | X_OK) != 0)
        return uf_fail_errno(report, "the review page cannot be written to this folder", folder);
    return UF_OK;
}

/* What the request leaves open is the sheet's to say. */
static UfStatus settle(UfTour *tour, UfReport *report)
{
    UfTourRequest *request = &tour->request;
    const UfSheet *sheet = &tour->sheet;
    if (request->input == NULL)
        request->input = sheet->input;
    if (request->out_folder == NULL)
        request->out_folder = sheet->out;
    if (request->review_path == NULL)
        request->review_path = sheet->review;
    request->jobs = request->jobs > 0 ? request->jobs : sheet->jobs;
    request->threads = request->threads > 0 ? request->threads : sheet->threads;
    if (request->max_memory_bytes == 0)
        request->max_memory_bytes = sheet->max_memory_bytes;
    if (request->input == NULL)
        return uf_fail(report, UF_ERROR_FORMAT,
                       "%s: does not say where the panoramas are; add input = FOLDER under [tour]",
                       sheet->path);
    if (request->out_folder == NULL)
        return uf_fail(report, UF_ERROR_FORMAT,
                       "%s: does not say where results go; add out = FOLDER under [tour], or -o FOLDER",
                       sheet->path);
    size_t length = strlen(request->out_folder);
    if (length == 0 || length > PATH_MAX / 2)
        return uf_fail(report, UF_ERROR_ARGUMENT, "the name of the output folder is %s",
                       length == 0 ? "empty" : "too long");
    const char *before = request->out_folder[0] == '-' ? "./" : "";
    bool ended = request->out_folder[length - 1] == '/';
    tour->out = uf_arena_print(&tour->arena, "%s%s%s", before, request->out_folder, ended ? "" : "/");
    tour->summary_path = tour->out == NULL ? NULL : uf_arena_print(&tour->arena, "%ssummary.csv", tour->out);
    return tour->summary_path == NULL ? uf_fail_memory(report) : UF_OK;
}

UfStatus uf_tour_plan(const UfTourRequest *request, const UfTourHost *host, UfTour **out, UfReport *report)
{
    UfStatus status = check_request(request, report);
    if (status != UF_OK)
        return status;
    UfTour *tour = uf_alloc_zero(1, sizeof *tour);
    if (tour == NULL)
        return uf_fail_memory(report);
    tour->host = host;
    tour->request = *request;
    status =
        request->sheet_path != NULL ? uf_tour_read_sheet(tour, report) : uf_tour_plain_sheet(tour, report);
    if (status == UF_OK)
        status = settle(tour, report);
    if (status == UF_OK)
        status = check_review(tour, report);
    if (status == UF_OK)
        status = uf_tour_list_input(tour, report);
    if (status == UF_OK)
        status = uf_tour_make_jobs(tour, report);
    if (status == UF_OK)
        *out = tour;
    else
        uf_tour_free(&tour);
    return status;
}

void uf_tour_free(UfTour **tour)
{
    if (tour == NULL || *tour == NULL)
        return;
    uf_arena_clear(&(*tour)->arena);
    free(*tour);
    *tour = NULL;
}
