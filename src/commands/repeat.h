/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command line as one would type it again. */
#ifndef COMMANDS_REPEAT_H
#define COMMANDS_REPEAT_H

/*
 * "stillrow VERB …" with what a shell would not take as it stands in quotes. Folders are left out: they say
 * where someone keeps files, and mean nothing elsewhere. skip: an option (without its dashes) that is left
 * out with its value, or NULL. argv before options_parse(), argv[0] is the verb. NULL if memory ran out; free
 * it.
 */
char *repeat_command(int argc, char **argv, const char *skip);

#endif
