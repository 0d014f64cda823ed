/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The few lines to paste beside a picture in a forum: what flew, the verdict with
 * its numbers, the cause of the worst line, what to try first, and the settings to
 * repeat it. Belongs to the present room.
 *
 * Texts that come from files are put on one line each and escaped, so that a name
 * can bring no markup of its own: Markdown by backslashes (CommonMark 0.30, section
 * 2.4); BBCode has no escapes, so its brackets become round ones; plain text as is.
 */
#ifndef STILLROW_POST_H
#define STILLROW_POST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "stillrow/explain.h"
#include "stillrow/plot.h"
#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum sr_post_format { SR_POST_TEXT = 0, SR_POST_MARKDOWN, SR_POST_BBCODE };

/* "text" "md" "bbcode". */
const char *sr_post_format_name(enum sr_post_format format);
bool sr_post_format_find(const char *name,
                         enum sr_post_format *format); /* false and untouched if there is none */

struct sr_post {
    const struct sr_plot_flight *flight; /* causes and change may be NULL in it */
    const char *title;                   /* NULL: build or log name */
    /* [n_trials], best first; NULL: none. The first is written where the verdict is marginal or wobbly: a
     * steady flight needs none, an unproven one is to be logged better first, and that is written instead. */
    const struct sr_trial *trials;
    size_t n_trials;
    const char *command;     /* command line that repeats it, as typed into a shell; NULL: left out */
    double footage_offset_s; /* [s] added to times, so that they are those of the picture beside it */
    const char
        *mount_note; /* how the mount entered the numbers, as sr_mount_apply() says it; NULL or "": nothing */
};

/*
 * Write the lines to `out`. Write errors stay in the stream's error flag, for the caller to check once.
 * Errors: SR_ERR_ARGUMENT (a flight without rig, slices or score, no such format).
 */
enum sr_status sr_post_write(FILE *out, enum sr_post_format format, const struct sr_post *post,
                             struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
