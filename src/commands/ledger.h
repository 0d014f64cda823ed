/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of 'stillrow ledger', and what they share. */
#ifndef COMMANDS_LEDGER_H
#define COMMANDS_LEDGER_H

#include <stdbool.h>
#include <stddef.h>

#include "commands/options.h"
#include "stillrow/status.h"

int ledger_add(int argc, char **argv);
int ledger_list(int argc, char **argv);
int ledger_rate(int argc, char **argv);
int ledger_merge(int argc, char **argv);
int ledger_check(int argc, char **argv);
int ledger_rank(int argc, char **argv);

/* How a part starts: as options_take() does, with at least `least` and at most `most` operands. */
bool ledger_options(const struct command_line *line, void *args, int argc, char **argv, size_t least,
                    size_t most, size_t *n, int *status);

/* Say what failed; EXIT_FAILED. */
int ledger_failed(const struct sr_error *err);

#endif
