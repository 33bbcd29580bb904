/* The address beside the picture: a small INI file. */
#include <errno.h>
#include <strings.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/ini.h"
#include "base/memory.h"
#include "home/home.h"

#define SECTION "home"

static char *joined(const char *stem, size_t stem_bytes, const char *extension)
{
    size_t size = stem_bytes + strlen(extension) + sizeof UF_HOME_SUFFIX;
    char *name = uf_alloc(size, 1);
    if (name != NULL)
        (void)snprintf(name, size, "%.*s%s" UF_HOME_SUFFIX, (int)stem_bytes, stem, extension);
    return name;
}

char *uf_home_sidecar_name(const char *picture_path)
{
    return joined(picture_path, strlen(picture_path), "");
}

static void print_sidecar(FILE *stream, const UfHomeText *text)
{
    fputs("; Where the picture of this name came from. Keep it beside the picture: with it the\n"
          "; picture finds its way back into the panorama when an editor drops its metadata.\n"
          "[" SECTION "]\n",
          stream);
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++)
        if (text->fields[i].present)
            fprintf(stream, "%s = %s\n", uf_home_key(i), text->fields[i].value);
}

UfStatus uf_home_write_sidecar(const UfHome *home, const char *picture_path, bool overwrite, UfReport *report)
{
    UfOutput output = {0};
    UfStatus status = uf_home_check(home, report);
    if (status != UF_OK)
        return status;
    char *name = uf_home_sidecar_name(picture_path);
    if (name == NULL)
        return uf_fail_memory(report);
    status = uf_output_open(name, overwrite, &output, report);
    if (status == UF_OK) {
        UfHomeText text = uf_home_to_text(home);
        print_sidecar(output.stream, &text);
        status = uf_output_commit(&output, report);
    }
    uf_output_discard(&output);
    free(name);
    return status;
}

static UfStatus take_entry(const char *name, const UfIniEntry *entry, UfHomeText *text, UfReport *report)
{
    for (size_t i = 0; i < UF_HOME_FIELD_COUNT; i++)
        if (strcmp(entry->key, uf_home_key(i)) == 0) {
            text->fields[i].present = true;
            (void)snprintf(text->fields[i].value, sizeof text->fields[i].value, "%s", entry->value);
            return UF_OK;
        }
    return uf_fail(report, UF_ERROR_FORMAT, "%s:%d: '%.40s' is nothing that a home address says", name,
                   entry->line, entry->key);
}

static UfStatus read_ini(const char *name, UfHomeText *text, UfReport *report)
{
    UfIni ini = {0};
    UfStatus status = uf_ini_read(name, &ini, report);
    const UfIniSection *section = status == UF_OK ? uf_ini_section(&ini, SECTION, "") : NULL;
    if (status == UF_OK && (section == NULL || ini.count != 1))
        status = uf_fail(report, UF_ERROR_FORMAT,
                         "%s: is no home address: it should have one section, [" SECTION "]", name);
    *text = uf_home_text_empty();
    for (size_t i = 0; status == UF_OK && section != NULL && i < section->count; i++)
        status = take_entry(name, &section->entries[i], text, report);
    uf_ini_clear(&ini);
    return status;
}

static UfStatus read_sidecar(const char *name, UfHome *out, bool *found, UfReport *report)
{
    struct stat facts;
    *found = stat(name, &facts) == 0;
    if (!*found && errno != ENOENT && errno != ENAMETOOLONG && errno != ENOTDIR)
        return uf_fail_errno(report, "cannot be read", name);
    if (!*found)
        return UF_OK;
    UfHomeText text;
    UfStatus status = read_ini(name, &text, report);
    return status == UF_OK ? uf_home_from_text(&text, name, out, report) : status;
}

/* Bytes before the extension; the whole length when it is not that of a picture. */
static size_t stem_of(const char *path)
{
    const char *dot = strrchr(path, '.');
    return uf_format_from_name(path) != UF_FORMAT_UNKNOWN && dot != NULL ? (size_t)(dot - path)
                                                                         : strlen(path);
}

static bool same_home(const UfHome *a, const UfHome *b)
{
    UfHomeText text_a = uf_home_to_text(a);
    UfHomeText text_b = uf_home_to_text(b);
    return uf_home_text_same(&text_a, &text_b);
}

/* Sidecars of the same picture in another format. */
static UfStatus read_relatives(const char *path, UfHome *out, bool *found, UfReport *report)
{
    static const char *const extensions[] = {".png", ".tif", ".tiff", ".jpg", ".jpeg"};
    UfStatus status = UF_OK;
    bool any = false;
    for (size_t i = 0; status == UF_OK && i < sizeof extensions / sizeof extensions[0]; i++) {
        UfHome home;
        bool is_there = false;
        char *name = joined(path, stem_of(path), extensions[i]);
        if (name == NULL)
            return uf_fail_memory(report);
        status = read_sidecar(name, &home, &is_there, report);
        if (status == UF_OK && is_there && any && !same_home(&home, out))
            status = uf_fail(report, UF_ERROR_UNCLEAR,
                             "%s: has no " UF_HOME_SUFFIX " file of its own, and those of the same name in "
                             "other formats say different things; keep the right one only",
                             path);
        if (status == UF_OK && is_there)
            *out = home;
        any = any || is_there;
        free(name);
    }
    *found = any;
    return status;
}

UfStatus uf_home_read_sidecar(const char *picture_path, UfHome *out, bool *found, UfReport *report)
{
    UfHome home = {0};
    bool is_there = false;
    char *name = uf_home_sidecar_name(picture_path);
    if (name == NULL)
        return uf_fail_memory(report);
    UfStatus status = read_sidecar(name, &home, &is_there, report);
    free(name);
    if (status == UF_OK && !is_there)
        status = read_relatives(picture_path, &home, &is_there, report);
    if (status != UF_OK)
        return status;
    *found = is_there;
    if (is_there)
        *out = home;
    return UF_OK;
}

UfStatus uf_home_find(const UfPicture *picture, const char *path, UfHome *out, bool *found, UfReport *report)
{
    UfHome inside = {0};
    UfHome beside = {0};
    bool is_inside = false;
    bool is_beside = false;
    UfStatus status = uf_home_get(picture, &inside, &is_inside, report);
    if (status != UF_OK)
        return status;
    UfReport *own = uf_report_create();
    status = uf_home_read_sidecar(path, &beside, &is_beside, is_inside ? own : report);
    if (status != UF_OK && is_inside) {
        uf_warn(report, "%s; the picture's own XMP was used instead", uf_report_error(own));
        status = UF_OK;
        is_beside = false;
    }
    uf_report_free(&own);
    if (status != UF_OK)
        return status;
    if (is_inside && is_beside && !same_home(&inside, &beside))
        uf_warn(report,
                "%s: its XMP and the " UF_HOME_SUFFIX " file beside it give different home addresses; the "
                "XMP's was used",
                path);
    *found = is_inside || is_beside;
    if (*found)
        *out = is_inside ? inside : beside;
    return UF_OK;
}
