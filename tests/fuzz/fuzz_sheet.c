/*
 * The tour's job sheet, with the program's own options behind it: read, made into jobs for two small
 * panoramas, and listed as --dry-run does. Nothing runs.
 */
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

#include <underfoot/underfoot.h>

#include "cli/tour_host.h"
#include "fuzz/fuzz.h"

static const char *panoramas(void)
{
    static char folder[200];
    if (folder[0] != '\0')
        return folder;
    char path[260];
    UfPicture *picture = NULL;
    snprintf(folder, sizeof folder, "%s/in", fuzz_folder());
    if (mkdir(folder, 0777) != 0 || uf_picture_create(64, 32, 3, UF_SAMPLE_U8, &picture, NULL) != UF_OK)
        abort();
    for (int i = 0; i < 2; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, i == 0 ? "hall.jpg" : "yard.tif");
        if (uf_picture_write(picture, path, NULL, NULL) != UF_OK)
            abort();
    }
    uf_picture_free(&picture);
    return folder;
}

static void look(void *context, const char *const *arguments, size_t count)
{
    size_t *lines = context;
    if (count < 2 || arguments[count] != NULL)
        abort();
    ++*lines;
}

static void hear(void *context, const UfTourEvent *event)
{
    (void)context;
    (void)event;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *input = panoramas();
    char out[200];
    TourHost hands;
    CliLine line = {0};
    UfTourHost host = tour_host_start(&hands, &line);
    tour_host_end(&hands); /* signals as they were: nothing is started */
    host.tell = hear;
    snprintf(out, sizeof out, "%s/out", fuzz_folder());
    UfTourRequest request = {
        .sheet_path = fuzz_file(0, "sheet.ini", data, size), .input = input, .out_folder = out};
    UfReport *report = uf_report_create();
    UfTour *tour = NULL;
    size_t lines = 0;
    if (uf_tour_plan(&request, &host, &tour, report) == UF_OK)
        (void)uf_tour_list(tour, look, &lines, report);
    uf_tour_free(&tour);
    uf_report_free(&report);
    return 0;
}
