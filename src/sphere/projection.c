/* The table of projections. */
#include "sphere/projection.h"

typedef struct Entry {
    const char *name;
    const char *description;
    const UfProjectionMap *map;
} Entry;

#define ENTRY(id, file, text) [UF_PROJECTION_##id] = {#file, text, &uf_projection_##file},
static const Entry entries[UF_PROJECTION_COUNT] = {UF_PROJECTIONS(ENTRY)};
#undef ENTRY

#define LINE(id, file, text) LINE_##id,
enum { UF_PROJECTIONS(LINE) LINE_COUNT };
_Static_assert((int)LINE_COUNT == (int)UF_PROJECTION_COUNT,
               "each UfProjection has one line in UF_PROJECTIONS");
#undef LINE

static const Entry *entry_of(UfProjection projection)
{
    return (unsigned)projection < UF_PROJECTION_COUNT ? &entries[projection] : NULL;
}

const char *uf_projection_name(UfProjection projection)
{
    const Entry *entry = entry_of(projection);
    return entry == NULL ? NULL : entry->name;
}

const char *uf_projection_description(UfProjection projection)
{
    const Entry *entry = entry_of(projection);
    return entry == NULL ? NULL : entry->description;
}

bool uf_project(UfProjection projection, UfDirection direction, UfPlanePoint *out)
{
    const Entry *entry = entry_of(projection);
    return entry != NULL && entry->map->forward(direction, out);
}

bool uf_unproject(UfProjection projection, UfPlanePoint point, UfDirection *out)
{
    const Entry *entry = entry_of(projection);
    return entry != NULL && entry->map->inverse(point, out);
}
