/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Private to the room: gnuplot as a child process, script in, picture out.
 *
 * The program is started by its name and PATH, never by a shell. It reads the
 * script on its standard input and draws on its standard output, so that no file
 * name is ever part of a script (gnuplot would run one that starts with '|').
 */
#ifndef PRESENT_GNUPLOT_PIPE_H
#define PRESENT_GNUPLOT_PIPE_H

#include <stddef.h>

#include "stillrow/status.h"

#define SR_GNUPLOT_TIMEOUT_S 60.0                /* [s] */
#define SR_PICTURE_MAX       ((size_t)256 << 20) /* [bytes] no picture of ours comes near */

struct sr_bytes {
    char *data; /* [length], and a terminator after it */
    size_t length;
};

/*
 * Run `program` (NULL: "gnuplot") on script[length] and collect what it writes into *picture, to be freed by
 * the caller. timeout_s: > 0 [s], it is killed after that. SIGPIPE never reaches the caller.
 * Errors: SR_ERR_PLOT (not installed, failed, killed, hung, drew nothing: the text says which, with the first
 * line of its complaint), SR_ERR_MEMORY; *picture untouched.
 */
enum sr_status sr_gnuplot_run(const char *program, const char *script, size_t length, double timeout_s,
                              struct sr_bytes *picture, struct sr_error *err);

#endif
