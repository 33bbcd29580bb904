/* Rig files: read, and what was read is asked. */
#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *path = fuzz_file(0, "rig.ini", data, size);
    UfReport *report = uf_report_create();
    UfRig *rig = NULL;
    if (uf_rig_read(path, &rig, report) == UF_OK)
        for (int i = 0; i < 8; i++)
            (void)uf_rig_sight(rig, uf_direction_from_lonlat((UfLonLat){i * 0.7 - 2.5, i * 0.4 - 1.5}));
    uf_rig_free(&rig);
    uf_report_free(&report);
    return 0;
}
