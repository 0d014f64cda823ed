/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Options that several verbs share, and what they turn into. A verb has the struct of
 * each in its own, and puts log_group, rig_group and output_group among its groups.
 *
 * A new option for reading logs or for the rig is one row in shared.c (a rig's needs no
 * more than the name of its key); an option of a few verbs is a row below.
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

/* How to read a log. */
struct log_args {
    struct sr_log_options options; /* but for jobs, and what the rig says */
    double jobs;                   /* whole or not; 0: not given */
};

/* The rig: a file and what is laid over it. */
struct rig_args {
    const char *file;
    struct key_texts keys;
};

/* How to answer. */
struct output_args {
    bool json;
    const char *color;
};

/* What the verbs that work on flights have in common. */
struct flight_args {
    struct log_args log;
    struct rig_args rig;
    struct output_args output;
    const char *window; /* of the spectra; NULL: hann */
};

void flight_args_init(struct flight_args *args);

extern const struct option_group log_group, rig_group, output_group;

/* The groups of a verb whose struct `type` has a flight_args `flight`. */
#define LOG_GROUP(type)                                                                                      \
    {                                                                                                        \
        &log_group, offsetof(type, flight.log)                                                               \
    }
#define RIG_GROUP(type)                                                                                      \
    {                                                                                                        \
        &rig_group, offsetof(type, flight.rig)                                                               \
    }
#define OUTPUT_GROUP(type)                                                                                   \
    {                                                                                                        \
        &output_group, offsetof(type, flight.output)                                                         \
    }

extern const char *const window_choices[], *const post_choices[]; /* ended by NULL */

/* Rows of a verb's own table. at: offset of the target; more: what it is to the verb, or "". */
#define WINDOW_ROW(at, more)                                                                                 \
    {                                                                                                        \
        .name = "window", .kind = OPTION_CHOICE, .offset = (at), .argument = "NAME",                         \
        .choices = window_choices, .help = "window of the spectra" more, .fallback = "hann"                  \
    }
#define FOOTAGE_OFFSET_ROW(at, more)                                                                         \
    {                                                                                                        \
        .name = "footage-offset", .kind = OPTION_NUMBER, .offset = (at), .argument = "S", .unit = "s",       \
        .min = -86400, .max = 86400, .help = "where the log's first sample is in the footage" more,          \
        .fallback = "times of the log"                                                                       \
    }
#define DARK_ROW(at)                                                                                         \
    {                                                                                                        \
        .name = "dark", .kind = OPTION_FLAG, .offset = (at), .help = "draw on a dark page"                   \
    }
#define QUIET_ROW(at, say)                                                                                   \
    {                                                                                                        \
        .name = "quiet", .letter = 'q', .kind = OPTION_FLAG, .offset = (at), .help = say                     \
    }

/* The size of a picture [px]; 0: not given. */
struct picture_size {
    double width_px, height_px;
};
#define PICTURE_SIZE_ROWS(at)                                                                                \
    {.name = "width",                                                                                        \
     .kind = OPTION_NUMBER,                                                                                  \
     .offset = (at) + offsetof(struct picture_size, width_px),                                               \
     .argument = "PX",                                                                                       \
     .unit = "px",                                                                                           \
     .min = SR_PLOT_LEAST_PX,                                                                                \
     .max = SR_PLOT_MOST_PX,                                                                                 \
     .help = "width of the picture; text scales with it",                                                    \
     .fallback = "1200"},                                                                                    \
    {                                                                                                        \
        .name = "height", .kind = OPTION_NUMBER, .offset = (at) + offsetof(struct picture_size, height_px),  \
        .argument = "PX", .unit = "px", .min = SR_PLOT_LEAST_PX, .max = SR_PLOT_MOST_PX,                     \
        .help = "height of the picture", .fallback = "9/16 of the width"                                     \
    }

/* Into options; what was not given as --help says. */
void picture_size(struct sr_plot_options *options, const struct picture_size *size);

/* The picture of a verb that draws one beside its answer: rows at a struct picture_args. */
struct picture_args {
    const char *plot, *script;
    bool dark;
    struct picture_size size;
};
#define PICTURE_ROWS(at, say)                                                                                \
    {.name = "plot",                                                                                         \
     .kind = OPTION_TEXT,                                                                                    \
     .offset = (at) + offsetof(struct picture_args, plot),                                                   \
     .argument = "FILE",                                                                                     \
     .help = say},                                                                                           \
        {.name = "script",                                                                                   \
         .kind = OPTION_TEXT,                                                                                \
         .offset = (at) + offsetof(struct picture_args, script),                                             \
         .argument = "FILE",                                                                                 \
         .help = "keep the gnuplot script of --plot"},                                                       \
        DARK_ROW((at) + offsetof(struct picture_args, dark)),                                                \
        PICTURE_SIZE_ROWS((at) + offsetof(struct picture_args, size))

/* Whether they make sense; false: said on stderr. */
bool picture_check(const struct picture_args *args, const char *verb);

/* Into options, with the defaults for all else; --plot was given, and checked. */
void picture_options(struct sr_plot_options *options, const struct picture_args *args);

/* Lay a group's rows of OPTION_KEY over the rig. false: said on stderr. */
bool rig_lay_over(struct sr_rig *rig, const struct option_group *group, const struct key_texts *texts);

/*
 * The rig in force: the rig file first, then every option over it, whatever the
 * order on the command line. false: said on stderr, EXIT_USAGE.
 */
bool rig_from(struct sr_rig *rig, const struct rig_args *args);

/* Colour and character set for stdout: --color, NO_COLOR, the terminal, the locale. */
void style_from(struct sr_style *style, const struct output_args *args);

/* The same for a report in text, after the empty line that keeps it from the one before. */
void text_begin(struct sr_style *style, const struct output_args *args, bool first);

#endif
