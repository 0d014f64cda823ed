/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow plot: a flight as a picture, and the lines to paste beside it. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "commands/batch.h"
#include "commands/commands.h"
#include "commands/flight.h"
#include "commands/repeat.h"
#include "stillrow/plot.h"
#include "stillrow/post.h"

struct plot_args {
    const char *kinds, *format, *output, *title, *script, *post;
    bool dark, text;
    struct picture_size size;
    double max_hz, footage_offset_s;
    struct flight_args flight;
};

static const char *const formats[] = {"png", "svg", "pdf", "text", NULL};

#define AT(member) offsetof(struct plot_args, member)
static const struct cli_option plot_options[] = {
    {.name = "kind",
     .kind = OPTION_TEXT,
     .offset = AT(kinds),
     .argument = "KIND,KIND...",
     .help = "spectrum, timeline, waterfall, orders (needs motor speeds), or all",
     .fallback = "spectrum"},
    {.name = "output",
     .letter = 'o',
     .kind = OPTION_TEXT,
     .offset = AT(output),
     .argument = "FILE",
     .help = "picture to write, of one log and one kind; '-' is standard output",
     .fallback = "LOG-KIND.png here; text goes to standard output"},
    {.name = "format",
     .kind = OPTION_CHOICE,
     .offset = AT(format),
     .argument = "NAME",
     .choices = formats,
     .help = "png, svg, pdf or text",
     .fallback = "by the ending of --output, else png"},
    {.name = "text",
     .kind = OPTION_FLAG,
     .offset = AT(text),
     .help = "the same as --format text: drawn in the terminal"},
    DARK_ROW(AT(dark)),
    PICTURE_SIZE_ROWS(AT(size)),
    {.name = "title",
     .kind = OPTION_TEXT,
     .offset = AT(title),
     .argument = "TEXT",
     .help = "title of the picture and the post",
     .fallback = "name of the build, else of the log"},
    {.name = "max-hz",
     .kind = OPTION_NUMBER,
     .offset = AT(max_hz),
     .argument = "HZ",
     .unit = "Hz",
     .min = 0,
     .above = true,
     .max = 1e6,
     .help = "draw frequencies up to here",
     .fallback = "all that the log shows"},
    FOOTAGE_OFFSET_ROW(AT(footage_offset_s), ": times are drawn in footage time"),
    {.name = "script",
     .kind = OPTION_TEXT,
     .offset = AT(script),
     .argument = "FILE",
     .help = "keep the gnuplot script, with its data, of one log and one kind"},
    {.name = "post",
     .kind = OPTION_CHOICE,
     .offset = AT(post),
     .argument = "MARKUP",
     .choices = post_choices,
     .help = "also print the lines to paste beside the picture: md, bbcode or text"},
    WINDOW_ROW(AT(flight.window), ", as for score"),
};
#undef AT
static const struct option_group plot_group = OPTION_GROUP("The picture", plot_options);
static const struct option_use uses[] = {
    {&plot_group, 0}, LOG_GROUP(struct plot_args), RIG_GROUP(struct plot_args)};

static const struct command_line line = {
    .verb = "plot",
    .operands = "LOG...",
    .about = "Draws each flight with gnuplot: the spectrum with what the camera allows, the timeline of its "
             "wobble, the waterfall of both, and the orders of the motors. Existing pictures are replaced.",
    .after = "The command in a post leaves folders out: they mean nothing elsewhere.\n"
             "  stillrow plot --rig heron.ini --kind spectrum,timeline --post md flight.csv\n"
             "Exit status: 0 done; 1 a log failed, or gnuplot is missing or failed; 2 usage.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

/* What is drawn of each log. */
struct drawing {
    const struct plot_args *args;
    struct flight_plan plan;
    enum sr_plot_kind kinds[SR_PLOT_KINDS];
    size_t n_kinds;
    bool all; /* of all kinds those that a log allows */
    enum sr_plot_format format;
    const char *command; /* to repeat it */
};

/* "spectrum,orders" or "all"; twice the same is drawn once. */
static bool read_kinds(struct drawing *drawing, const char *text)
{
    drawing->n_kinds = 0;
    drawing->all = text != NULL && strcmp(text, "all") == 0;
    for (int k = 0; k < SR_PLOT_KINDS && drawing->all; k++)
        drawing->kinds[drawing->n_kinds++] = (enum sr_plot_kind)k;
    if (text == NULL)
        drawing->kinds[drawing->n_kinds++] = SR_PLOT_SPECTRUM;
    for (const char *from = text; from != NULL && !drawing->all;) {
        char name[16];
        enum sr_plot_kind kind;
        size_t n = strcspn(from, ",");
        snprintf(name, sizeof name, "%.*s", (int)(n < sizeof name ? n : sizeof name - 1), from);
        if (n >= sizeof name || !sr_plot_kind_find(name, &kind)) {
            complain("--kind: '%.*s' is none of: spectrum, timeline, waterfall, orders; or all", (int)n,
                     from);
            return false;
        }
        bool had = false;
        for (size_t i = 0; i < drawing->n_kinds; i++)
            had = had || drawing->kinds[i] == kind;
        if (!had)
            drawing->kinds[drawing->n_kinds++] = kind;
        from = from[n] == ',' ? from + n + 1 : NULL;
    }
    return true;
}

static bool is_stdout(const char *path)
{
    return path != NULL && strcmp(path, "-") == 0;
}

/* Asked for, else by the ending of the file's name. */
static bool set_format(struct drawing *drawing)
{
    const struct plot_args *args = drawing->args;
    const char *dot = args->output != NULL && !is_stdout(args->output) ? strrchr(args->output, '.') : NULL;

    drawing->format = SR_PLOT_PNG;
    if (args->text && args->format != NULL && strcmp(args->format, "text") != 0) {
        complain("plot: --text and --format %s do not go together", args->format);
        return false;
    }
    for (int f = 0; formats[f] != NULL; f++) {
        const char *ending = sr_plot_format_ending((enum sr_plot_format)f);
        if (args->format != NULL ? strcmp(args->format, formats[f]) == 0
                                 : dot != NULL && strcasecmp(dot + 1, ending) == 0)
            drawing->format = (enum sr_plot_format)f;
    }
    if (args->text)
        drawing->format = SR_PLOT_TEXT;
    return true;
}

static bool same_file(const char *a, const char *b)
{
    struct stat at_a, at_b;

    if (strcmp(a, b) == 0)
        return true;
    return stat(a, &at_a) == 0 && stat(b, &at_b) == 0 && at_a.st_dev == at_b.st_dev &&
           at_a.st_ino == at_b.st_ino;
}

/* A file that is read must not be written over. */
static bool spares_inputs(const char *option, const char *path, size_t n_logs, char **logs, const char *rig)
{
    if (path == NULL || is_stdout(path))
        return true;
    for (size_t i = 0; i < n_logs; i++)
        if (strcmp(logs[i], "-") != 0 && same_file(path, logs[i])) {
            complain("--%s: '%s' is the log itself", option, path);
            return false;
        }
    if (rig != NULL && same_file(path, rig)) {
        complain("--%s: '%s' is the rig file", option, path);
        return false;
    }
    return true;
}

/* A PNG named .jpg would puzzle whoever gets it. */
static bool ending_fits(const struct plot_args *args)
{
    const char *dot = args->output != NULL ? strrchr(args->output, '.') : NULL;

    if (dot == NULL || strchr(dot, '/') != NULL || args->format != NULL || args->text)
        return true;
    for (int f = 0; formats[f] != NULL; f++)
        if (strcasecmp(dot + 1, sr_plot_format_ending((enum sr_plot_format)f)) == 0)
            return true;
    complain("--output: '%s' does not end in .png, .svg, .pdf or .txt; say which with --format",
             args->output);
    return false;
}

static bool check_args(const struct drawing *drawing, size_t n_logs, char **logs, const char *rig)
{
    const struct plot_args *args = drawing->args;
    bool many = n_logs > 1 || drawing->n_kinds > 1;

    if (many && (args->output != NULL || args->script != NULL))
        complain("plot: --%s goes with one log and one kind at a time",
                 args->output != NULL ? "output" : "script");
    else if (is_stdout(args->output) && args->post != NULL && drawing->format != SR_PLOT_TEXT)
        complain("plot: a picture and a post do not both go to standard output");
    else if (is_stdout(args->output) && drawing->format != SR_PLOT_TEXT && isatty(STDOUT_FILENO))
        complain("plot: a picture is not for a terminal; give --output FILE, or --text");
    else if (args->output != NULL && args->script != NULL && !is_stdout(args->output) &&
             same_file(args->output, args->script))
        complain("plot: --output and --script are the same file");
    else
        return spares_inputs("output", args->output, n_logs, logs, rig) &&
               spares_inputs("script", args->script, n_logs, logs, rig) && ending_fits(args);
    return false;
}

/* LOG-KIND.png in the working directory: the log's name without folder and ending. */
static void default_name(const char *log, enum sr_plot_kind kind, enum sr_plot_format format, char *name,
                         size_t size)
{
    const char *slash = strrchr(log, '/'), *base = slash != NULL ? slash + 1 : log;
    const char *dot = strrchr(base, '.');
    int length = (int)(dot != NULL && dot != base ? (size_t)(dot - base) : strlen(base));

    if (strcmp(log, "-") == 0)
        snprintf(name, size, "stdin-%s.%s", sr_plot_kind_name(kind), sr_plot_format_ending(format));
    else
        snprintf(name, size, "%.*s-%s.%s", length, base, sr_plot_kind_name(kind),
                 sr_plot_format_ending(format));
}

/* Pictures that would fall on an input, or on one another, are refused before anything is read. */
static bool names_are_free(const struct drawing *drawing, size_t n_logs, char **logs, const char *rig)
{
    char name[512], other[512];

    if (drawing->args->output != NULL || drawing->format == SR_PLOT_TEXT)
        return true;
    for (size_t i = 0; i < n_logs; i++) {
        for (size_t k = 0; k < drawing->n_kinds; k++) {
            default_name(logs[i], drawing->kinds[k], drawing->format, name, sizeof name);
            if (!spares_inputs("output", name, n_logs, logs, rig))
                return false;
        }
        for (size_t j = 0; j < i; j++) {
            default_name(logs[i], drawing->kinds[0], drawing->format, name, sizeof name);
            default_name(logs[j], drawing->kinds[0], drawing->format, other, sizeof other);
            if (strcmp(name, other) == 0) {
                complain(
                    "plot: %s and %s would both be drawn into %s; draw them one at a time, with --output",
                    logs[j], logs[i], name);
                return false;
            }
        }
    }
    return true;
}

static enum sr_status draw_kind(const struct drawing *drawing, const struct sr_plot_flight *flight,
                                enum sr_plot_kind kind, struct sr_error *err)
{
    const struct plot_args *args = drawing->args;
    struct sr_plot_options options;
    char name[512];

    sr_plot_options_init(&options);
    options.kind = kind;
    options.format = drawing->format;
    options.script = args->script;
    options.title = args->title;
    options.dark = args->dark;
    picture_size(&options, &args->size);
    options.max_hz = args->max_hz;
    options.footage_offset_s = args->footage_offset_s;
    options.output = args->output;
    if (args->output == NULL && drawing->format != SR_PLOT_TEXT) {
        default_name(flight->log_name, kind, drawing->format, name, sizeof name);
        options.output = name;
    }
    enum sr_status status = sr_plot_flight(flight, &options, err);
    if (status == SR_OK && options.output != NULL && !is_stdout(options.output))
        complain("wrote %s", options.output);
    return status;
}

/* The best of all trials, another mount hardness among them. *count: 0 if there is nothing to try. */
static enum sr_status best_trial(struct sr_trial *trials, size_t *count, const struct flight *flight,
                                 const struct sr_rig *rig, struct sr_error *err)
{
    struct sr_trial mount;
    bool worth = false;

    enum sr_status status = sr_trials_make(trials, count, &flight->score, &flight->causes, &flight->slices,
                                           &flight->view, rig, err);
    if (status == SR_OK)
        status = sr_mount_trial(&mount, &worth, &flight->slices, &flight->score, rig, err);
    if (status != SR_OK || !worth || (*count > 0 && trials[0].gain_db >= mount.gain_db))
        return status;
    trials[0] = mount;
    *count = 1;
    return SR_OK;
}

static enum sr_status write_post(const struct drawing *drawing, const struct flight *flight,
                                 const struct sr_plot_flight *drawn, struct sr_error *err)
{
    struct sr_trial trials[SR_TRIALS_MAX];
    enum sr_post_format format = SR_POST_TEXT;
    struct sr_post post = {.flight = drawn,
                           .title = drawing->args->title,
                           .trials = trials,
                           .command = drawing->command,
                           .footage_offset_s = drawing->args->footage_offset_s,
                           .mount_note = flight->mount_note};

    enum sr_status status = best_trial(trials, &post.n_trials, flight, &drawing->plan.rig, err);
    if (status != SR_OK)
        return status;
    sr_post_format_find(drawing->args->post, &format);
    return sr_post_write(stdout, format, &post, err);
}

static enum sr_status draw_kinds(const struct drawing *drawing, const struct sr_plot_flight *drawn,
                                 struct sr_error *err)
{
    const bool to_stdout = drawing->format == SR_PLOT_TEXT && drawing->args->output == NULL;
    enum sr_status status = SR_OK;

    for (size_t k = 0; k < drawing->n_kinds && status == SR_OK; k++) {
        status = draw_kind(drawing, drawn, drawing->kinds[k], err);
        if (status == SR_ERR_DATA && drawing->all) {
            complain("%s: left out: %s", drawn->log_name, err->text);
            status = SR_OK;
        }
        if (status == SR_OK && to_stdout && (k + 1 < drawing->n_kinds || drawing->args->post != NULL))
            putchar('\n');
    }
    return status;
}

static enum sr_status draw_flight(void *context, const struct flight *flight, bool first,
                                  struct sr_error *err)
{
    const struct drawing *drawing = context;
    struct sr_change change;
    const struct sr_plot_flight drawn = {.log_name = flight->log.name,
                                         .rig = &drawing->plan.rig,
                                         .slices = &flight->slices,
                                         .view = &flight->view,
                                         .score = &flight->score,
                                         .causes = &flight->causes,
                                         .change = &change};

    if (!first && (drawing->format == SR_PLOT_TEXT || drawing->args->post != NULL))
        putchar('\n');
    enum sr_status status =
        sr_change_find(&change, &flight->score, &flight->slices, &flight->view, &flight->causes, err);
    if (status == SR_OK)
        status = draw_kinds(drawing, &drawn, err);
    if (status == SR_OK && drawing->args->post != NULL)
        status = write_post(drawing, flight, &drawn, err);
    return status;
}

/* "plot spectrum LOG": a kind where a log should be. */
static bool kind_as_log(size_t n_logs, char **logs)
{
    for (size_t i = 0; i < n_logs; i++) {
        enum sr_plot_kind kind;
        if ((sr_plot_kind_find(logs[i], &kind) || strcmp(logs[i], "all") == 0) &&
            access(logs[i], F_OK) != 0) {
            complain("plot: there is no log '%s'; for that kind of picture give --kind %s", logs[i], logs[i]);
            return true;
        }
    }
    return false;
}

static int draw_all(struct drawing *drawing, size_t n_logs, char **logs)
{
    const struct plot_args *args = drawing->args;
    const char *rig = args->flight.rig.file;

    if (kind_as_log(n_logs, logs))
        return usage_hint(line.verb);
    if (!read_kinds(drawing, args->kinds) || !set_format(drawing) ||
        !check_args(drawing, n_logs, logs, rig) || !names_are_free(drawing, n_logs, logs, rig) ||
        !flight_plan_make(&drawing->plan, &args->flight))
        return EXIT_USAGE;
    return batch_run(logs, n_logs, &drawing->plan, draw_flight, drawing, NULL);
}

int command_plot(int argc, char **argv)
{
    static const char *const not_repeated[] = {"--post", "--output", "-o", "--script", "--jobs", NULL};
    struct plot_args args = {0};
    char *command = repeat_command(argc, argv, not_repeated); /* before its words are moved about */
    struct drawing drawing = {.args = &args, .command = command};
    size_t n_logs = 0;
    int status;

    flight_args_init(&args.flight);
    if (options_take_logs(&line, &args, argc, argv, &n_logs, &status))
        status = draw_all(&drawing, n_logs, argv + 1);
    free(command);
    return status;
}
