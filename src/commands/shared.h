/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Options that several verbs share, and what they turn into. A verb puts
 * log_group(), rig_group() and output_group() among its own groups.
 */
#ifndef COMMANDS_SHARED_H
#define COMMANDS_SHARED_H

#include <stdbool.h>

#include "commands/options.h"
#include "stillrow/log.h"
#include "stillrow/plot.h"
#include "stillrow/present.h"
#include "stillrow/rig.h"
#include "stillrow/spectrum.h"

#define JOBS_MOST 64

/* How to read a log. */
struct log_args {
    const char *columns, *time_unit, *rate_unit;
    double sample_rate_hz, from_s, to_s;
    double jobs; /* whole or not; 0: not given */
};

/* The rig: texts as written, NULL where not given. */
struct rig_args {
    const char *file;
    const char *size, *fps, *readout_ms, *exposure_ms, *hfov_deg, *lens, *tilt_deg;
    const char *axes, *threshold;
};

/* How to answer. */
struct output_args {
    bool json;
    const char *color;
};

void log_args_init(struct log_args *args);
struct option_group log_group(struct log_args *args);
struct option_group rig_group(struct rig_args *args);
struct option_group output_group(struct output_args *args);

/* Names of the spectrum windows, ended by NULL, for a --window option. */
extern const char *const window_choices[];

/* The reader's options for a rig: what the log's columns do not say is in the rig. */
void log_options_from(struct sr_log_options *options, const struct log_args *args, const struct sr_rig *rig);

/*
 * The rig in force: the rig file first, then every option over it, whatever the
 * order on the command line. false: said on stderr, EXIT_USAGE.
 */
bool rig_from(struct sr_rig *rig, const struct rig_args *args);

/* The kind of picture that a file name asks for by its ending: png, svg, pdf. false: none of them. */
bool picture_format(const char *path, enum sr_plot_format *format);

/* Colour and character set for stdout: --color, NO_COLOR, the terminal, the locale. */
void style_from(struct sr_style *style, const struct output_args *args);

#endif
