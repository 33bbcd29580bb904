/* The floor photograph of `patch`. */
#include <stdlib.h>

#include "cli/files.h"
#include "cli/message.h"
#include "cli/plate.h"

/* The rig's and the points' messages name file, line and remedy. */
static int read_beside(const CliLine *line, const char *rig, const char *points, CliPlate *out,
                       UfReport *report)
{
    int status = CLI_DONE;
    if (rig != NULL && (status = cli_check_not_output(line, rig)) != CLI_DONE)
        return status;
    if (points != NULL && (status = cli_check_not_output(line, points)) != CLI_DONE)
        return status;
    if (rig != NULL && uf_rig_read(rig, &out->rig, report) != UF_OK)
        return cli_failed("%s", uf_report_error(report));
    if (points != NULL && uf_plate_pairs_read(points, &out->pairs, &out->plate.pair_count, report) != UF_OK)
        return cli_failed("%s", uf_report_error(report));
    return CLI_DONE;
}

int cli_plate_read(const CliLine *line, const char *photo, const char *rig, const char *points, CliPlate *out,
                   UfReport *report)
{
    int refused = cli_check_not_output(line, photo);
    if (refused == CLI_DONE)
        refused = read_beside(line, rig, points, out, report);
    if (refused != CLI_DONE)
        return refused;
    UfReadOptions read = cli_read_options(line);
    cli_progress(line, "reading", photo);
    UfStatus status = uf_picture_read(photo, &read, &out->photo, report);
    cli_progress_end(line);
    if (status != UF_OK)
        return cli_failed_report(line, photo, status, report);
    out->plate.photo = out->photo;
    out->plate.camera = out->rig != NULL ? uf_rig_camera(out->rig) : NULL;
    out->plate.pairs = out->pairs;
    return CLI_DONE;
}

void cli_plate_clear(CliPlate *plate)
{
    uf_picture_free(&plate->photo);
    uf_rig_free(&plate->rig);
    free(plate->pairs);
    *plate = (CliPlate){0};
}

void cli_plate_print(const char *photo, const UfPlateFit *fit)
{
    fputs("  plate ", stdout);
    cli_put_text(stdout, photo);
    printf("\n        fits to %.2f px, correlation %.3f", fit->shift_rms_px, fit->correlation);
    if (fit->rival > 0)
        printf(" (next best place %.3f)", fit->rival);
    printf("; tone %.1f of 255\n        shows %.0f %% of the ring, %.1f %% of the cap; %.2f of its pixels to "
           "one\n",
           255 * fit->tone_rms, 100 * fit->overlap, 100 * fit->cover, fit->sharpness);
}

void cli_plate_json(CliJson *json, const char *photo, const UfPlateFit *fit)
{
    cli_json_open(json, "plate", '{');
    cli_json_file(json, "file", photo);
    cli_json_number(json, "shift_rms_px", fit->shift_rms_px);
    cli_json_number(json, "correlation", fit->correlation);
    cli_json_number(json, "rival_correlation", fit->rival);
    cli_json_whole(json, "matches", (long long)fit->matches);
    cli_json_whole(json, "inliers", (long long)fit->inliers);
    cli_json_number(json, "inlier_rms_px", fit->inlier_rms_px);
    cli_json_number(json, "tone_rms_255", 255 * fit->tone_rms);
    cli_json_number(json, "ring_percent", 100 * fit->overlap);
    cli_json_number(json, "cap_percent", 100 * fit->cover);
    cli_json_number(json, "photo_px_per_px", fit->sharpness);
    cli_json_close(json, '}');
}
