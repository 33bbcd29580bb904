/* A name that is nearly that of a file beside it: one letter wrong, another case, no ending. */
#include "cli/missing.h"

#include <dirent.h>
#include <errno.h>
#include <strings.h>

#include "cli/nearest.h"

/* Does somebody who wrote `name` mean `known`? 0 for surely, more for less likely. */
static size_t likeness(const char *name, const char *known)
{
    size_t length = strlen(name);
    bool is_same = strcasecmp(name, known) == 0;
    bool lacks_ending = strncmp(name, known, length) == 0 && known[length] == '.';
    return is_same || lacks_ending ? 0 : cli_distance(name, known);
}

/* The likeliest name in a folder, in malloc's memory; NULL for none. Of equals the first in the alphabet. */
static char *find_near(DIR *folder, const char *name)
{
    char *nearest = NULL;
    size_t best = cli_distance_limit(name);
    for (const struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        size_t distance = entry->d_name[0] == '.' ? best + 1 : likeness(name, entry->d_name);
        bool is_better =
            distance < best || (distance == best && (nearest == NULL || strcmp(entry->d_name, nearest) < 0));
        if (!is_better)
            continue;
        best = distance;
        free(nearest);
        nearest = strdup(entry->d_name);
    }
    return nearest;
}

static void advise(const char *path, char *out, size_t out_bytes)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash == NULL ? path : slash + 1;
    int folder_length = (int)(name - path);
    char *place = NULL;
    if (asprintf(&place, "%.*s.", folder_length, path) < 0)
        return;
    DIR *folder = opendir(place);
    char *nearest = folder == NULL ? NULL : find_near(folder, name);
    if (folder == NULL)
        snprintf(out, out_bytes, "; there is no folder '%.*s' either", folder_length, path);
    else if (nearest != NULL)
        snprintf(out, out_bytes, "; did you mean '%.*s%s'?", folder_length, path, nearest);
    else
        snprintf(out, out_bytes, "; look at its spelling, and at the folder you are in");
    if (folder != NULL)
        closedir(folder);
    free(nearest);
    free(place);
}

void cli_advise_on_missing_file(char *text, size_t text_bytes)
{
    char ending[100];
    snprintf(ending, sizeof ending, ": cannot be opened: %s", strerror(ENOENT));
    size_t length = strlen(text), ending_length = strlen(ending);
    if (length <= ending_length || strcmp(text + length - ending_length, ending) != 0)
        return;
    char *path = strndup(text, length - ending_length);
    if (path != NULL)
        advise(path, text + length, text_bytes - length);
    free(path);
}
