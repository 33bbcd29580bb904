/* What uf_remap and uf_resize share: checking and reading the options. */
#ifndef UF_REMAP_OPTIONS_H
#define UF_REMAP_OPTIONS_H

#include <underfoot/remap.h>

#define UF_THREADS_MAX 1024

/* UF_ERROR_ARGUMENT for a sampling that does not exist or a number of threads below 0 or above
 * UF_THREADS_MAX. */
UfStatus uf_check_remap_options(const UfRemapOptions *options, UfReport *report);
int uf_remap_threads(const UfRemapOptions *options);

#endif
