/*
 * A tour starts /proc/self/exe, which under valgrind is valgrind: preloaded, this starts the program of the
 * environment's UF_MEMCHECK_PROGRAM instead, so that a tour's steps are watched, too.
 */
#define _GNU_SOURCE
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int execv(const char *path, char *const arguments[])
{
    const char *program = getenv("UF_MEMCHECK_PROGRAM");
    if (program != NULL && strcmp(path, "/proc/self/exe") == 0)
        path = program;
    return execve(path, arguments, environ);
}
