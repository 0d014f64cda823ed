/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command line as one would type it again. */
#ifndef COMMANDS_REPEAT_H
#define COMMANDS_REPEAT_H

/*
 * "stillrow VERB ..." with what a shell would not take as it stands in quotes. Files
 * that exist lose their folders: they say where someone keeps files, and mean nothing
 * elsewhere. skip: options that are left out with their values, "--name" or "-x",
 * ended by NULL. argv before options_parse(), argv[0] is the verb. NULL if memory ran
 * out; free it.
 */
char *repeat_command(int argc, char **argv, const char *const *skip);

#endif
