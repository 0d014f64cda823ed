/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Private to the room: a gnuplot script in the making. Texts from outside enter
 * it by sr_script_text() alone, which makes them a string that gnuplot draws
 * and never runs.
 */
#ifndef PRESENT_PLOT_SCRIPT_H
#define PRESENT_PLOT_SCRIPT_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/status.h"

/* Grows as needed. Out of memory is remembered and reported once, by sr_script_check(). */
struct sr_script {
    char *data; /* [length], and a terminator after it; NULL while empty */
    size_t length, room;
    bool failed;
};

/* Append what printf would write, at most 1023 bytes. Numbers come out with a point in every locale. */
void sr_script_add(struct sr_script *script, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Define the variables that texts need: pages and sheets do it when they are opened. */
void sr_script_begin(struct sr_script *script);

/*
 * Append a text as a gnuplot string expression: cleaned (sr_words_clean), in single
 * quotes, between which gnuplot knows no escapes. Quotes, backticks and at signs of
 * its own are put in by variables ('it' . apostrophe . 's'), so that no string ever
 * holds what ends it, runs a command or expands a macro. Markup is turned off where
 * the string is used (noenhanced).
 */
void sr_script_text(struct sr_script *script, const char *text);

/* Append a number for a data block with five significant digits; NaN for what is not finite. */
void sr_script_number(struct sr_script *script, double value);

/* SR_ERR_MEMORY if anything could not be appended. */
enum sr_status sr_script_check(const struct sr_script *script, struct sr_error *err);
void sr_script_release(struct sr_script *script);

#endif
