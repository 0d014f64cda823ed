/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pictures by gnuplot, through a pipe and never through a shell. Belongs to the
 * present room: results in, picture out, nothing is computed here but scales.
 * Titles, names and texts are data; whatever they hold, they are drawn as text.
 */
#ifndef STILLROW_PLOT_H
#define STILLROW_PLOT_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/explain.h"
#include "stillrow/rig.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

enum sr_plot_kind { SR_PLOT_SPECTRUM = 0, SR_PLOT_TIMELINE, SR_PLOT_WATERFALL, SR_PLOT_ORDERS };
#define SR_PLOT_KINDS 4

/* "spectrum" "timeline" "waterfall" "orders". */
const char *sr_plot_kind_name(enum sr_plot_kind kind);
bool sr_plot_kind_find(const char *name, enum sr_plot_kind *kind); /* false and untouched if there is none */

enum sr_plot_format { SR_PLOT_PNG = 0, SR_PLOT_SVG, SR_PLOT_PDF, SR_PLOT_TEXT };
const char *sr_plot_format_ending(enum sr_plot_format format); /* "png" "svg" "pdf" "txt" */

#define SR_PLOT_WIDTH_PX  1200
#define SR_PLOT_HEIGHT_PX 675
#define SR_PLOT_LEAST_PX  240 /* [px] bounds of width and height */
#define SR_PLOT_MOST_PX   8000

struct sr_plot_options {
    enum sr_plot_kind kind;
    enum sr_plot_format format;
    const char *output;  /* file to write, beside its target and then renamed; "-": standard output, as does
                            NULL  for text */
    const char *script;  /* keep the gnuplot script with its data here, or NULL */
    const char *gnuplot; /* program to run; NULL: "gnuplot" by PATH */
    const char *title;   /* NULL: build or log name and verdict */
    bool dark;
    double width_px;             /* [px] SR_PLOT_WIDTH_PX; text and strokes scale with the page */
    double height_px;            /* [px] SR_PLOT_HEIGHT_PX */
    int text_columns, text_rows; /* of a text plot, at least 40 x 12; 0: 79 x 24 */
    double max_hz;               /* [Hz] 0: Nyquist */
    double timeout_s;            /* [s] gnuplot is stopped after this; 0: 60 */
    double footage_offset_s;     /* [s] added to times drawn */
};
void sr_plot_options_init(struct sr_plot_options *options);

/* What a picture of one flight may draw. causes and change may be NULL. */
struct sr_plot_flight {
    const char *log_name;
    const struct sr_rig *rig;
    const struct sr_slices *slices;
    const struct sr_view *view;
    const struct sr_score *score;
    const struct sr_causes *causes;
    const struct sr_change *change;
};

/*
 * Draw one picture of a flight.
 * Errors: SR_ERR_PLOT (no gnuplot, it failed, hung or died: the text says which and what to do),
 * SR_ERR_WRITE, SR_ERR_DATA (orders without motor speeds), SR_ERR_ARGUMENT, SR_ERR_MEMORY. A half-drawn file
 * is never left; one that was there before is kept on failure.
 */
enum sr_status sr_plot_flight(const struct sr_plot_flight *flight, const struct sr_plot_options *options,
                              struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
