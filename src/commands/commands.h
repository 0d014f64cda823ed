/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The verbs. Each lives in a file of its own, takes its part of the command line
 * (argv[0] is the verb) and returns an exit status. To add one: write its file,
 * declare it here, and give it a row in the table of src/main.c.
 */
#ifndef COMMANDS_H
#define COMMANDS_H

#include <stdbool.h>

#include "stillrow/status.h"

/* Exit statuses. When several apply the first of: USAGE, FAILED, GATE. */
enum exit_status {
    EXIT_DONE = 0,
    EXIT_FAILED = 1, /* a log failed (the others were still done), or output could not be written */
    EXIT_USAGE = 2,  /* the command line or the rig file is wrong; nothing was done */
    EXIT_GATE = 3    /* --gate, and a flight is not steady */
};

int command_score(int argc, char **argv);
int command_inspect(int argc, char **argv);
int command_camera(int argc, char **argv);
int command_explain(int argc, char **argv);
int command_compare(int argc, char **argv);
int command_mounts(int argc, char **argv);
int command_ledger(int argc, char **argv);
int command_threshold(int argc, char **argv);
int command_plot(int argc, char **argv);

/* "stillrow: …" on stderr, after what stdout still holds. The format has no newline. */
void complain(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* "stillrow: FILE:LINE: problem", as much of it as the error knows. */
void complain_error(const struct sr_error *err);

/* "Try 'stillrow VERB --help'." on stderr; returns EXIT_USAGE. verb: NULL for none. */
int usage_hint(const char *verb);

/* Flush stdout: false once anything could not be written (then there is no point in going on). */
bool output_flush(void);

/*
 * Close stdout at the end of the program: `status`, or EXIT_FAILED with a message
 * when the output did not reach its place. A closed pipe is no news to its reader: no message.
 */
int output_close(int status);

/* The word of `words` (ended by NULL) that a typing slip most likely meant, or NULL. */
const char *nearest_word(const char *word, const char *const *words);

#endif
