/* A few lines of Perl walk down the path. */
#include "support/json.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "support/files.h"
#include "support/program.h"

static const char script[] =
    "use strict; use JSON::PP; local $/; open my $f, '<:raw', $ARGV[0] or die; my $d = decode_json(<$f>);"
    "for my $k (grep { length } split /\\./, $ARGV[1]) {"
    "  $d = ref $d eq 'ARRAY' ? ($k < @$d ? $d->[$k] : \\'(none)')"
    "     : ref $d eq 'HASH' && exists $d->{$k} ? $d->{$k} : \\'(none)'; last if ref $d eq 'SCALAR'; }"
    "binmode STDOUT, ':utf8';"
    "print !defined $d ? 'null' : ref $d eq 'SCALAR' ? $$d : ref $d eq 'ARRAY' ? '['.@$d.']'"
    "  : ref $d eq 'HASH' ? '{}' : $d;";

char *json_at(const char *text, const char *path)
{
    char file[] = "/tmp/uf-json-XXXXXX";
    int fd = mkstemp(file);
    cr_assert(fd >= 0);
    close(fd);
    file_write(file, text, strlen(text));
    Run run = RUN_PROGRAM("perl", "-e", script, file, path);
    unlink(file);
    cr_assert_eq(run.status, 0, "no JSON: %s\n%s", run.err, text);
    char *value = strdup(run.out);
    cr_assert_not_null(value);
    run_free(&run);
    return value;
}

double json_number_at(const char *text, const char *path)
{
    char *value = json_at(text, path);
    char *end = NULL;
    double number = strtod(value, &end);
    cr_assert(end != value && *end == '\0', "%s is no number: %s", path, value);
    free(value);
    return number;
}
