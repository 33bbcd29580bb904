/* Home addresses beside a picture. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char picture[200], name[260];
    snprintf(picture, sizeof picture, "%s/face.png", fuzz_folder());
    char *sidecar = uf_home_sidecar_name(picture);
    snprintf(name, sizeof name, "%s", sidecar + strlen(fuzz_folder()) + 1);
    free(sidecar);
    (void)fuzz_file(0, name, data, size);
    UfReport *report = uf_report_create();
    UfHome home;
    UfView view;
    bool found = false;
    if (uf_home_read_sidecar(picture, &home, &found, report) == UF_OK && found)
        (void)uf_home_view(&home, &view, report);
    uf_report_free(&report);
    return 0;
}
