/* The cap that a rig file asks for. */
#include "cli/rig_cap.h"

#include "cli/message.h"

static UfStatus plan_rig(const char *path, int threads, UfPlan *plan, double *margin_rad, double *height_m,
                         UfReport *report)
{
    UfPlanOptions options = {.threads = threads};
    UfRig *rig = NULL;
    UfStatus status = uf_rig_read(path, &rig, report);
    if (status == UF_OK) {
        *margin_rad = uf_rig_margin_rad(rig);
        *height_m = uf_rig_height_mm(rig) / 1000;
        status = uf_plan(rig, &options, plan, report);
    }
    uf_rig_free(&rig);
    return status;
}

int cli_rig_cap(const char *path, bool at_zenith, int threads, double *cap_rad, double *height_m,
                UfReport *report)
{
    UfPlan plan;
    double margin_rad = 0;
    const char *pole = at_zenith ? "zenith" : "nadir";
    if (plan_rig(path, threads, &plan, &margin_rad, height_m, report) != UF_OK)
        return cli_failed("%s", uf_report_error(report)); /* it names the file, the line and the remedy */
    double zenith_rad = plan.zenith_cap_rad > 0 ? plan.zenith_cap_rad + margin_rad : 0;
    double cap = at_zenith ? zenith_rad : plan.cap_rad;
    if (!(cap > 0))
        return cli_failed("%s: with this rig nothing is unseen at the %s; there is nothing to cover", path,
                          pole);
    if (uf_degrees(cap) > UF_CAP_MAX_DEG)
        return cli_failed(
            "%s: this rig leaves %.2f deg about the %s to cover, and %g is the most that can be; add "
            "frames, as 'underfoot plan' advises",
            path, uf_degrees(cap), pole, UF_CAP_MAX_DEG);
    *cap_rad = cap;
    return CLI_DONE;
}
