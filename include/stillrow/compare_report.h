/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A comparison as text, JSON, or a few lines for a post. Belongs to the present room. */
#ifndef STILLROW_COMPARE_REPORT_H
#define STILLROW_COMPARE_REPORT_H

#include <stdbool.h>
#include <stdio.h>

#include "stillrow/compare.h"
#include "stillrow/plot.h"
#include "stillrow/post.h"
#include "stillrow/present.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Two groups and what came out. Nothing is owned. */
struct sr_compare_report {
    const struct sr_rig *rig;
    const struct sr_compare_group *a, *b;
    const struct sr_comparison *comparison;
    bool per_axis; /* the axes too, not the bands alone */
};

/* A place in a ranking of more than two groups. */
struct sr_compare_rank {
    const char *name;
    size_t flights;
    double mean_px; /* [px RMS] geometric mean over flights of their 95th percentile, unmatched */
    size_t beats;   /* groups it is shown to be quieter than */
    size_t beaten;  /* groups shown to be quieter than it */
};

void sr_compare_text(FILE *out, const struct sr_style *style, const struct sr_compare_report *report);
void sr_compare_ranking_text(FILE *out, const struct sr_style *style, const struct sr_compare_rank *ranks,
                             size_t count);

/* One line of JSON, schema "stillrow.compare/1" (docs/json.md). Errors: SR_ERR_MEMORY, SR_ERR_WRITE. */
enum sr_status sr_compare_json(FILE *out, const struct sr_compare_report *report, struct sr_error *err);
/* The same for a ranking, schema "stillrow.ranking/1". */
enum sr_status sr_compare_ranking_json(FILE *out, const struct sr_compare_rank *ranks, size_t count,
                                       struct sr_error *err);

/*
 * Both spectra with their intervals, the allowance, and the ratio below. options->kind is not looked at.
 * Errors: as sr_plot_flight(); SR_ERR_ARGUMENT for a text plot.
 */
enum sr_status sr_plot_compare(const struct sr_compare_report *report,
                               const struct sr_compare_spectra *spectra,
                               const struct sr_plot_options *options, struct sr_error *err);

/* The few lines to paste beside it. Write errors stay in the stream's error flag. */
void sr_compare_post(FILE *out, enum sr_post_format format, const struct sr_compare_report *report);

/* One sentence: "A is quieter: B wobbles 4.2 dB more (95 % interval 2.1 to 6.3)". */
void sr_compare_sentence(const struct sr_compare_report *report, char *text, size_t size);

/* "order 1 (134 Hz)", "120 Hz", "120 to 131 Hz" into text[size]; returns text. */
const char *sr_compare_line_name(const struct sr_compare_line *line, char *text, size_t size);

#ifdef __cplusplus
}
#endif
#endif
