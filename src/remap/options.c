/* Checking and reading the options. */
#include "remap/options.h"

#include <omp.h>

#include "base/report.h"

UfStatus uf_check_remap_options(const UfRemapOptions *options, UfReport *report)
{
    if ((unsigned)options->sampling > UF_SAMPLING_SHARP)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no sampling number %d", (int)options->sampling);
    if (options->threads < 0 || options->threads > UF_THREADS_MAX)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%d threads make no sense: give 1 to %d, or 0 for all cores", options->threads,
                       UF_THREADS_MAX);
    return UF_OK;
}

int uf_remap_threads(const UfRemapOptions *options)
{
    return options->threads > 0 ? options->threads : omp_get_num_procs();
}
