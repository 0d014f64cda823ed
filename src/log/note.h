/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SR_LOG_NOTE_H
#define SR_LOG_NOTE_H

#include <stdbool.h>

#include "stillrow/log.h"

/* Add one sentence to log->notes. False: out of memory. */
bool sr_log_note(struct sr_log *log, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A column in a message: its name in quotes, or "in column 5" where it has none. */
struct sr_column_words {
    char text[sizeof((struct sr_column_use *)0)->name + 16];
};
struct sr_column_words sr_column_words(const struct sr_column_use *use);

#endif
