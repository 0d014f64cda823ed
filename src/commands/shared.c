/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/shared.h"

#include <langinfo.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "commands/commands.h"

static const char *const time_units[] = {"ns", "us", "ms", "s", NULL};
static const char *const rate_units[] = {"deg/s", "rad/s", NULL};
static const char *const color_choices[] = {"auto", "always", "never", NULL};
const char *const window_choices[] = {"hann",  "rectangular", "hamming", "blackman", "blackman-harris",
                                      "hft95", NULL};
const char *const post_choices[] = {"md", "bbcode", "text", NULL};

#define AT(member) offsetof(struct log_args, member)
static const struct cli_option log_options[] = {
    {.name = "columns",
     .kind = OPTION_TEXT,
     .offset = AT(options.columns),
     .argument = "SPEC",
     .help = "which column is what: time=NAME,x=NAME,y=NAME,z=NAME, also throttle and motor1 to motor8; "
             "a number counts columns from 1",
     .fallback = "by their names"},
    {.name = "time-unit",
     .kind = OPTION_CHOICE,
     .offset = AT(options.time_unit),
     .argument = "UNIT",
     .choices = time_units,
     .help = "unit of the time column: ns, us, ms or s",
     .fallback = "as written, or worked out"},
    {.name = "rate-unit",
     .kind = OPTION_CHOICE,
     .offset = AT(options.rate_unit),
     .argument = "UNIT",
     .choices = rate_units,
     .help = "unit of the rates: deg/s or rad/s",
     .fallback = "as written, or worked out"},
    {.name = "sample-rate",
     .kind = OPTION_NUMBER,
     .offset = AT(options.sample_rate_hz),
     .argument = "HZ",
     .unit = "Hz",
     .min = 1,
     .max = 1e6,
     .help = "rows a second, for a log without a time column"},
    {.name = "from",
     .kind = OPTION_NUMBER,
     .offset = AT(options.from_s),
     .argument = "S",
     .unit = "s",
     .min = 0,
     .max = 1e6,
     .help = "start here, in seconds from the log's first sample",
     .fallback = "where it takes off"},
    {.name = "to",
     .kind = OPTION_NUMBER,
     .offset = AT(options.to_s),
     .argument = "S",
     .unit = "s",
     .min = 0,
     .max = 1e6,
     .above = true,
     .help = "end here, likewise",
     .fallback = "where it lands"},
    {.name = "jobs",
     .kind = OPTION_NUMBER,
     .offset = AT(jobs),
     .argument = "N",
     .min = 1,
     .max = SR_JOBS_MAX,
     .help = "work on so many logs, or parts of a log, at once; the answer is the same for any number",
     .fallback = "as many as processors are online, at most 8"},
};
#undef AT

#define KEY(section_name, key_name)                                                                          \
    .kind = OPTION_KEY, .section = (section_name), .key = (key_name),                                        \
    .offset = offsetof(struct rig_args, keys)
static const struct cli_option rig_options[] = {
    {.name = "rig",
     .kind = OPTION_TEXT,
     .offset = offsetof(struct rig_args, file),
     .argument = "FILE",
     .help = "rig file; the options below are laid over it",
     .fallback = "an assumed camera, and said so"},
    {.name = "size", KEY("camera", "size"), .argument = "WxH", .help = "picture size in pixels"},
    {.name = "fps", KEY("camera", "fps"), .argument = "HZ", .help = "frames a second"},
    {.name = "readout-ms",
     KEY("camera", "readout_ms"),
     .argument = "MS",
     .help = "time from the first row to the last, at most one frame; see 'stillrow camera --flicker-hz'"},
    {.name = "exposure-ms",
     KEY("camera", "exposure_ms"),
     .argument = "MS",
     .help = "shutter time of one row, at most one frame"},
    {.name = "hfov-deg",
     KEY("camera", "hfov_deg"),
     .argument = "DEG",
     .help = "field of view across the picture; at most 170 for a rectilinear lens"},
    {.name = "lens",
     KEY("camera", "lens"),
     .argument = "KIND",
     .help = "rectilinear (straight lines stay straight) or equidistant (fisheye)"},
    {.name = "tilt-deg",
     KEY("camera", "tilt_deg"),
     .argument = "DEG",
     .help = "camera tilted up against the frame"},
    {.name = "axes",
     KEY("gyro", "axes"),
     .argument = "AXES",
     .help = "the log's axes: frd (forward, right, down) or flu (forward, left, up)"},
    {.name = "threshold",
     KEY("threshold", "px"),
     .argument = "PX",
     .help = "wobble that starts to show in footage",
     .fallback = "picture width / 1920"},
};
#undef KEY
_Static_assert(ROWS(rig_options) <= KEY_ROWS_MAX, "raise KEY_ROWS_MAX");

#define AT(member) offsetof(struct output_args, member)
static const struct cli_option output_options[] = {
    {.name = "json", .kind = OPTION_FLAG, .offset = AT(json), .help = "JSON Lines, one object a log"},
    {.name = "color",
     .kind = OPTION_CHOICE,
     .offset = AT(color),
     .argument = "WHEN",
     .choices = color_choices,
     .help = "auto (on a terminal, and never while NO_COLOR is set), always, never",
     .fallback = "auto"},
};
#undef AT

const struct option_group log_group = OPTION_GROUP("Reading the log", log_options);
const struct option_group rig_group = OPTION_GROUP("The rig", rig_options);
const struct option_group output_group = OPTION_GROUP("The answer", output_options);

void flight_args_init(struct flight_args *args)
{
    *args = (struct flight_args){0};
    sr_log_options_init(&args->log.options);
}

/* The rig's messages name the key of the file: on the command line it is the option. */
static void complain_key(const char *option, const char *key, const char *text)
{
    const size_t length = strlen(key);

    if (strncmp(text, key, length) == 0 && strncmp(text + length, ": ", 2) == 0)
        text += length + 2;
    complain("--%s: %s", option, text);
}

bool rig_lay_over(struct sr_rig *rig, const struct option_group *group, const struct key_texts *texts)
{
    struct sr_error err = {0};

    for (size_t i = 0; i < group->count; i++) {
        const struct cli_option *row = &group->options[i];
        if (row->kind != OPTION_KEY || texts->text[i] == NULL)
            continue;
        if (sr_rig_set(rig, row->section, row->key, texts->text[i], &err) != SR_OK) {
            complain_key(row->name, row->key, err.text);
            return false;
        }
    }
    return true;
}

bool rig_from(struct sr_rig *rig, const struct rig_args *args)
{
    struct sr_error err = {0};

    sr_rig_init(rig);
    if (args->file != NULL && sr_rig_read(rig, args->file, &err) != SR_OK) {
        complain_error(&err);
        return false;
    }
    if (!rig_lay_over(rig, &rig_group, &args->keys))
        return false;
    if (sr_rig_finish(rig, &err) != SR_OK) {
        complain_error(&err);
        return false;
    }
    return true;
}

static bool picture_format(const char *path, enum sr_plot_format *format)
{
    const char *dot = strrchr(path, '.');

    for (int f = 0; dot != NULL && f < SR_PLOT_TEXT; f++) {
        if (strcasecmp(dot + 1, sr_plot_format_ending((enum sr_plot_format)f)) == 0) {
            *format = (enum sr_plot_format)f;
            return true;
        }
    }
    return false;
}

bool picture_check(const struct picture_args *args, const char *verb)
{
    enum sr_plot_format format;

    if (args->plot != NULL && !picture_format(args->plot, &format))
        complain("--plot: '%s' does not end in .png, .svg or .pdf", args->plot);
    else if (args->plot == NULL && args->script != NULL)
        complain("%s: --script keeps the script of --plot FILE, which is not given", verb);
    else if (args->plot == NULL && (args->size.width_px > 0 || args->size.height_px > 0))
        complain("%s: --width and --height are of the picture of --plot FILE, which is not given", verb);
    else
        return true;
    return false;
}

void picture_size(struct sr_plot_options *options, const struct picture_size *size)
{
    options->width_px = size->width_px > 0 ? size->width_px : SR_PLOT_WIDTH_PX;
    options->height_px =
        size->height_px > 0 ? size->height_px : fmax(round(options->width_px * 9 / 16), SR_PLOT_LEAST_PX);
}

void picture_options(struct sr_plot_options *options, const struct picture_args *args)
{
    sr_plot_options_init(options);
    picture_format(args->plot, &options->format);
    options->output = args->plot;
    options->script = args->script;
    options->dark = args->dark;
    picture_size(options, &args->size);
}

void style_from(struct sr_style *style, const struct output_args *args)
{
    const char *no_color = getenv("NO_COLOR"), *term = getenv("TERM");
    bool terminal = isatty(STDOUT_FILENO) == 1;
    bool refused = (no_color != NULL && no_color[0] != '\0') || term == NULL || strcmp(term, "dumb") == 0;

    style->utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    style->color = terminal && !refused;
    if (args->color != NULL && strcmp(args->color, "auto") != 0)
        style->color = strcmp(args->color, "always") == 0;
}

void text_begin(struct sr_style *style, const struct output_args *args, bool first)
{
    style_from(style, args);
    if (!first)
        putchar('\n');
}
