/*
 * What `make install` and `make deb` leave on a machine, used as somebody would who only has that. Built for
 * the plain build alone: sanitized libraries are not installed.
 */
#include <criterion/criterion.h>

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <underfoot/underfoot.h>

#include "support/files.h"
#include "support/photographs.h"
#include "support/program.h"

static char root[PATH_MAX]; /* the folder that everything is installed under */

/* Sets a variable for the shell. */
static void tell(const char *name, const char *folder, const char *rest)
{
    char value[2 * PATH_MAX];
    snprintf(value, sizeof value, "%s%s", folder, rest);
    cr_assert_eq(setenv(name, value, 1), 0);
}

/* A shell's line; the variables tell it where things are. */
static Run sh(const char *line)
{
    return RUN_PROGRAM("sh", "-c", line);
}

#define EXPECT_SH(line)                                                                                      \
    do {                                                                                                     \
        Run ran_ = sh(line);                                                                                 \
        cr_expect_eq(ran_.status, 0, "%s\n%s%s", line, ran_.out, ran_.err);                                  \
        run_free(&ran_);                                                                                     \
    } while (0)

/* What the Makefile says that the library's interface counts. */
#define ABI "sed -n 's/^ABI *:= *//p' \"$TOP/Makefile\""

static void install(void)
{
    char program[PATH_MAX];
    snprintf(program, sizeof program, "%s", underfoot_path());
    *strrchr(program, '/') = '\0';
    folder_enter();
    cr_assert_not_null(getcwd(root, sizeof root));
    tell("ROOT", root, "/root");
    tell("TOP", program, "/../..");
    tell("VERSION", UF_VERSION, "");
    tell("PKG_CONFIG_PATH", root, "/root/usr/lib/pkgconfig");
    tell("PKG_CONFIG_SYSROOT_DIR", root, "/root");
    Run run = sh("cd \"$TOP\" && sh src/packaging/install.sh .build/release $VERSION $(" ABI
                 ") \"$ROOT\" /usr /usr/lib");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

TestSuite(installed, .init = install, .fini = folder_leave, .timeout = 300);

/* Names are listed from the headers as the compiler sees them, so that comments do not count. */
Test(installed, shared_library_shows_what_the_headers_declare_and_no_more)
{
    EXPECT_SH("echo '#include <underfoot/underfoot.h>' | cc -E -P -I$ROOT/usr/include - | "
              "grep -oE '\\buf_[a-z0-9_]+ ?\\(' | tr -d ' (' | sort -u >declared && test -s declared");
    EXPECT_SH("nm -D --defined-only $ROOT/usr/lib/libunderfoot.so | awk '{ print $3 }' | "
              "grep -v '^\\.gomp_critical_user' | sort -u >shown");
    EXPECT_SH("diff declared shown");
    EXPECT_SH("readelf -d $ROOT/usr/lib/libunderfoot.so.$VERSION | grep -q \"soname: .libunderfoot.so.$(" ABI
              ")\"");
}

Test(installed, every_header_compiles_alone_in_c_and_in_cxx)
{
    EXPECT_SH(
        "for h in $ROOT/usr/include/underfoot/*.h; do "
        "printf '#include <underfoot/%s>\nextern int one;\n' $(basename $h) >one.c && cp one.c one.cc && "
        "cc -std=c11 -Wall -Wextra -Wpedantic -Werror -fsyntax-only -I$ROOT/usr/include one.c && "
        "c++ -std=c++17 -Wall -Wextra -Wpedantic -Werror -fsyntax-only -I$ROOT/usr/include one.cc || exit 1; "
        "done");
}

Test(installed, example_through_pkg_config_writes_what_the_program_writes)
{
    char path[1024];
    file_copy(scene_path("ticket-hall.jpg", path), "hall.jpg");
    EXPECT_SH("cc -Wall -Wextra -Werror -o shared $ROOT/usr/share/doc/underfoot/samples/cover.c "
              "$(pkg-config --cflags --libs underfoot)");
    EXPECT_SH("unset PKG_CONFIG_SYSROOT_DIR; cc -Wall -Wextra -Werror -I$ROOT/usr/include -o static "
              "$ROOT/usr/share/doc/underfoot/samples/cover.c $ROOT/usr/lib/libunderfoot.a "
              "$(pkg-config --libs --static underfoot | sed 's/-lunderfoot//')");
    EXPECT_SH("LD_LIBRARY_PATH=$ROOT/usr/lib ./shared hall.jpg shared.jpg 20");
    EXPECT_SH("./static hall.jpg static.jpg 20");
    EXPECT_SH("$ROOT/usr/bin/underfoot patch hall.jpg -o program.jpg --cap 20 --fill smooth");
    cr_expect(file_same("program.jpg", "shared.jpg"));
    cr_expect(file_same("program.jpg", "static.jpg"));
    EXPECT_SH("! LD_LIBRARY_PATH=$ROOT/usr/lib ./shared missing.jpg out.jpg 20 && ! test -e out.jpg");
}

/* mandoc reads the pages with an eye of its own; every option of its help stands on the command's page. */
Test(installed, manual_pages_are_sound_and_whole)
{
    EXPECT_SH("for page in $ROOT/usr/share/man/man1/*.1; do mandoc -Tlint -Wwarning $page || exit 1; done");
    EXPECT_SH(
        "for command in $($ROOT/usr/bin/underfoot help | sed -n 's/^  \\([a-z]*\\) .*/\\1/p'); do "
        "[ $command = help ] && continue; "
        "mandoc -Tascii -Owidth=200 $ROOT/usr/share/man/man1/underfoot-$command.1 | col -bx >page || exit 1; "
        "$ROOT/usr/bin/underfoot help $command | grep -oE '^  (-., )?--[a-z-]+' | grep -oE -- '--[a-z-]+' "
        ">options; "
        "test -s options || exit 1; "
        "while read -r option; do grep -qe \"$option\" page || { echo $command $option; exit 1; }; done "
        "<options; "
        "done");
}

Test(installed, shells_complete_commands_options_and_words)
{
    EXPECT_SH("bash -c '. $ROOT/usr/share/bash-completion/completions/underfoot; compopt() { :; }; "
              "ask() { COMP_WORDS=(\"$@\"); COMP_CWORD=$(($# - 1)); _underfoot; echo \"${COMPREPLY[*]}\"; }; "
              "test \"$(ask underfoot pla)\" = \"plan planet\" && "
              "test \"$(ask underfoot patch --fil)\" = --fill && "
              "test \"$(ask underfoot patch --fill s)\" = smooth && "
              "test \"$(ask underfoot help wr)\" = wrap && "
              "touch hall.jpg && test \"$(ask underfoot patch ha)\" = hall.jpg'");
    EXPECT_SH("fish -c 'source $ROOT/usr/share/fish/vendor_completions.d/underfoot.fish; "
              "complete -C \"underfoot patch --fil\"; complete -C \"underfoot patch --fill s\"; "
              "complete -C \"underfoot pla\"' | cut -f1 | tr '\\n' ' ' | "
              "grep -qx -- '--fill smooth plan planet '");
    EXPECT_SH("zsh -n $ROOT/usr/share/zsh/vendor-completions/_underfoot");
}

/* dpkg into a root of its own: what it brings, and that nothing stays when it goes. */
Test(installed, debian_packages_come_and_go)
{
    EXPECT_SH("here=$PWD && cd $TOP && sh src/packaging/deb.sh .build/release $VERSION 1 $here");
    EXPECT_SH("dpkg-deb -f underfoot_*.deb Depends | grep -q libjpeg62-turbo");
    EXPECT_SH(
        "mkdir -p base/var/lib/dpkg && touch base/var/lib/dpkg/status && "
        "dpkg --root=$PWD/base --force-depends --log=/dev/null -i ./*.deb >log 2>&1 || { cat log; exit 1; }");
    cr_expect(file_exists("base/usr/bin/underfoot"));
    EXPECT_SH("base/usr/bin/underfoot --version | grep -qx \"underfoot $VERSION\"");
    EXPECT_SH(
        "dpkg --root=$PWD/base --force-depends --log=/dev/null -P underfoot libunderfoot-dev libunderfoot1 "
        ">log 2>&1 || { cat log; exit 1; }");
    EXPECT_SH("test -z \"$(find base -path base/var -prune -o -not -type d -print)\"");
}
