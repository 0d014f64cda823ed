/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/shared.h"

#include <langinfo.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "commands/commands.h"

static const char *const time_units[] = {"ns", "us", "ms", "s", NULL};
static const char *const rate_units[] = {"deg/s", "rad/s", NULL};
static const char *const lenses[] = {"rectilinear", "equidistant", NULL};
static const char *const axes_names[] = {"frd", "flu", NULL};
static const char *const color_choices[] = {"auto", "always", "never", NULL};
const char *const window_choices[] = {"hann",  "rectangular", "hamming", "blackman", "blackman-harris",
                                      "hft95", NULL};

#define AT(member) offsetof(struct log_args, member)
static const struct cli_option log_options[] = {
    {.name = "columns",
     .kind = OPTION_TEXT,
     .offset = AT(columns),
     .argument = "SPEC",
     .help = "which column is what: time=NAME,x=NAME,y=NAME,z=NAME, also throttle and motor1 to motor8; "
             "a number counts columns from 1",
     .fallback = "by their names"},
    {.name = "time-unit",
     .kind = OPTION_CHOICE,
     .offset = AT(time_unit),
     .argument = "UNIT",
     .choices = time_units,
     .help = "unit of the time column: ns, us, ms or s",
     .fallback = "as written, or worked out"},
    {.name = "rate-unit",
     .kind = OPTION_CHOICE,
     .offset = AT(rate_unit),
     .argument = "UNIT",
     .choices = rate_units,
     .help = "unit of the rates: deg/s or rad/s",
     .fallback = "as written, or worked out"},
    {.name = "sample-rate",
     .kind = OPTION_NUMBER,
     .offset = AT(sample_rate_hz),
     .argument = "HZ",
     .unit = "Hz",
     .min = 1,
     .max = 1e6,
     .help = "rows a second, for a log without a time column"},
    {.name = "from",
     .kind = OPTION_NUMBER,
     .offset = AT(from_s),
     .argument = "S",
     .unit = "s",
     .min = 0,
     .max = 1e6,
     .help = "start here, in seconds from the log's first sample",
     .fallback = "where it takes off"},
    {.name = "to",
     .kind = OPTION_NUMBER,
     .offset = AT(to_s),
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
     .max = JOBS_MOST,
     .help = "work on so many logs, or parts of a log, at once; the answer is the same for any number",
     .fallback = "as many as processors are online, at most 8"},
};
#undef AT

#define AT(member) offsetof(struct rig_args, member)
static const struct cli_option rig_options[] = {
    {.name = "rig",
     .kind = OPTION_TEXT,
     .offset = AT(file),
     .argument = "FILE",
     .help = "rig file; the options below are laid over it",
     .fallback = "an assumed camera, and said so"},
    {.name = "size",
     .kind = OPTION_TEXT,
     .offset = AT(size),
     .argument = "WxH",
     .help = "picture size in pixels",
     .fallback = "1920x1080"},
    {.name = "fps",
     .kind = OPTION_DIGITS,
     .offset = AT(fps),
     .argument = "HZ",
     .unit = "Hz",
     .min = 1,
     .max = 10000,
     .help = "frames a second",
     .fallback = "60"},
    {.name = "readout-ms",
     .kind = OPTION_DIGITS,
     .offset = AT(readout_ms),
     .argument = "MS",
     .unit = "ms",
     .min = 0,
     .max = 1000,
     .above = true,
     .help = "time from the first row to the last, at most one frame; see 'stillrow camera --flicker-hz'",
     .fallback = "16"},
    {.name = "exposure-ms",
     .kind = OPTION_DIGITS,
     .offset = AT(exposure_ms),
     .argument = "MS",
     .unit = "ms",
     .min = 0,
     .max = 1000,
     .help = "shutter time of one row, at most one frame",
     .fallback = "1"},
    {.name = "hfov-deg",
     .kind = OPTION_DIGITS,
     .offset = AT(hfov_deg),
     .argument = "DEG",
     .unit = "deg",
     .min = 1,
     .max = 360,
     .help = "field of view across the picture; at most 170 for a rectilinear lens",
     .fallback = "95"},
    {.name = "lens",
     .kind = OPTION_CHOICE,
     .offset = AT(lens),
     .argument = "KIND",
     .choices = lenses,
     .help = "rectilinear (straight lines stay straight) or equidistant (fisheye)",
     .fallback = "rectilinear"},
    {.name = "tilt-deg",
     .kind = OPTION_DIGITS,
     .offset = AT(tilt_deg),
     .argument = "DEG",
     .unit = "deg",
     .min = -90,
     .max = 90,
     .help = "camera tilted up against the frame",
     .fallback = "20"},
    {.name = "axes",
     .kind = OPTION_CHOICE,
     .offset = AT(axes),
     .argument = "AXES",
     .choices = axes_names,
     .help = "the log's axes: frd (forward, right, down) or flu (forward, left, up)",
     .fallback = "frd"},
    {.name = "threshold",
     .kind = OPTION_DIGITS,
     .offset = AT(threshold),
     .argument = "PX",
     .unit = "px RMS",
     .min = 0,
     .max = 1000,
     .above = true,
     .help = "wobble that starts to show in footage",
     .fallback = "picture width / 1920"},
};
#undef AT

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

#define COUNT(table) (sizeof(table) / sizeof((table)[0]))

void log_args_init(struct log_args *args)
{
    *args = (struct log_args){.from_s = NAN, .to_s = NAN};
}

struct option_group log_group(struct log_args *args)
{
    return (struct option_group){"Reading the log", log_options, COUNT(log_options), args};
}

struct option_group rig_group(struct rig_args *args)
{
    return (struct option_group){"The rig", rig_options, COUNT(rig_options), args};
}

struct option_group output_group(struct output_args *args)
{
    return (struct option_group){"The answer", output_options, COUNT(output_options), args};
}

void log_options_from(struct sr_log_options *options, const struct log_args *args, const struct sr_rig *rig)
{
    sr_log_options_init(options);
    options->columns = args->columns;
    options->time_unit = args->time_unit;
    options->rate_unit = args->rate_unit;
    options->sample_rate_hz = args->sample_rate_hz;
    options->jobs = (size_t)args->jobs;
    options->from_s = args->from_s;
    options->to_s = args->to_s;
    options->pole_pairs = rig->pole_pairs;
    options->speed_scale = rig->speed_scale;
    options->idle_throttle = rig->idle_throttle;
}

/* The rig's messages name the key of the file: on the command line it is the option. */
static void complain_key(const char *option, const char *key, const char *text)
{
    const size_t length = strlen(key);

    if (strncmp(text, key, length) == 0 && strncmp(text + length, ": ", 2) == 0)
        text += length + 2;
    complain("--%s: %s", option, text);
}

bool rig_from(struct sr_rig *rig, const struct rig_args *args)
{
    const struct {
        const char *option, *section, *key, *value;
    } keys[] = {
        {"size", "camera", "size", args->size},
        {"fps", "camera", "fps", args->fps},
        {"readout-ms", "camera", "readout_ms", args->readout_ms},
        {"exposure-ms", "camera", "exposure_ms", args->exposure_ms},
        {"hfov-deg", "camera", "hfov_deg", args->hfov_deg},
        {"lens", "camera", "lens", args->lens},
        {"tilt-deg", "camera", "tilt_deg", args->tilt_deg},
        {"axes", "gyro", "axes", args->axes},
        {"threshold", "threshold", "px", args->threshold},
    };
    struct sr_error err = {0};

    sr_rig_init(rig);
    if (args->file != NULL && sr_rig_read(rig, args->file, &err) != SR_OK) {
        complain_error(&err);
        return false;
    }
    for (size_t i = 0; i < COUNT(keys); i++) {
        if (keys[i].value == NULL)
            continue;
        if (sr_rig_set(rig, keys[i].section, keys[i].key, keys[i].value, &err) != SR_OK) {
            complain_key(keys[i].option, keys[i].key, err.text);
            return false;
        }
    }
    if (sr_rig_finish(rig, &err) != SR_OK) {
        complain_error(&err);
        return false;
    }
    return true;
}

bool picture_format(const char *path, enum sr_plot_format *format)
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
