/*
 * The files of a command: what can be refused is refused before any pixel is read, because a large panorama
 * takes its time.
 */
#ifndef UF_CLI_FILES_H
#define UF_CLI_FILES_H

#include "cli/command.h"

/* True when both names lead to the same file, by device and inode. */
bool cli_same_file(const char *a, const char *b);

/*
 * Can `line`'s output be written? Its name must say a format, it must not be there without --overwrite, and
 * its folder must be. --quality and --depth must suit the format. CLI_DONE, or what to exit with.
 */
int cli_check_output(const CliLine *line, UfFormat *format);
/* Of that what the line alone tells: the output's name, and what suits its format. */
int cli_check_format(const CliLine *line, UfFormat *format);
/* The same for a file that the command names itself: is the place free, or may it be replaced? */
int cli_check_place(const CliLine *line, const char *path);
/* An input that is read besides the panorama must not be the output, --overwrite or not. */
int cli_check_not_output(const CliLine *line, const char *input);

/* From --overwrite, --quality and --depth. */
UfWriteOptions cli_write_options(const CliLine *line);
/* --max-memory, or three quarters of the machine's. */
size_t cli_memory_limit(const CliLine *line);
UfReadOptions cli_read_options(const CliLine *line);
/* --sampling, or what the command does without it. */
UfSampling cli_sampling(const CliLine *line, UfSampling usual);
/* --threads; 0 for all cores. */
int cli_threads(const CliLine *line);

/* Reads the first operand and says so, within --max-memory. */
UfStatus cli_read_panorama(const CliLine *line, UfPicture **out, UfReport *report);
/* Writes the output and says so, by the options above. */
UfStatus cli_write_output(const CliLine *line, const UfPicture *picture, UfReport *report);

/*
 * What every command does that makes one file: looks whether the line is in order and the output can be
 * written, and calls `make` with the output's format and a report. Returns what to exit with.
 */
typedef int CliMake(const CliLine *line, UfFormat format, UfReport *report);
int cli_make_output(const CliLine *line, CliMake *make);

/* Reads the header of the first operand, and refuses what is no 2:1 panorama. CLI_DONE or CLI_FAILED. */
int cli_probe_panorama(const CliLine *line, UfPictureInfo *info, UfReport *report);

#endif
