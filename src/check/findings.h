/* What is said about a picture's metadata. */
#ifndef UF_CHECK_FINDINGS_H
#define UF_CHECK_FINDINGS_H

#include <underfoot/check.h>

#include "base/report.h"

/* Missing or stale metadata, each as a warning. `check->info` and `check->sphere` are filled already. */
void uf_check_metadata(const UfCheck *check, const UfPicture *picture, UfReport *report);

#endif
