/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow score: how much the footage of each flight wobbles. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "commands/batch.h"
#include "commands/commands.h"
#include "commands/flight.h"
#include "commands/record.h"

struct score_args {
    bool gate, quiet;
    double footage_offset_s;
    const char *window;
    struct record_args record;
};

#define AT(member) offsetof(struct score_args, member)
static const struct cli_option score_options[] = {
    {.name = "gate",
     .kind = OPTION_FLAG,
     .offset = AT(gate),
     .help = "exit status 3 unless every flight is steady"},
    {.name = "footage-offset",
     .kind = OPTION_NUMBER,
     .offset = AT(footage_offset_s),
     .argument = "S",
     .unit = "s",
     .min = -86400,
     .max = 86400,
     .help = "where the log's first sample is in the footage: the worst moments are given in footage time",
     .fallback = "times of the log"},
    {.name = "window",
     .kind = OPTION_CHOICE,
     .offset = AT(window),
     .argument = "NAME",
     .choices = window_choices,
     .help = "window of the spectra: hann, rectangular, hamming, blackman, blackman-harris or hft95",
     .fallback = "hann"},
    {.name = "quiet",
     .letter = 'q',
     .kind = OPTION_FLAG,
     .offset = AT(quiet),
     .help = "no report: messages and the exit status only"},
};
#undef AT

static const char about[] =
    "Reads each log (CSV; '-' is standard input), looks at the airborne part through the camera's rolling "
    "shutter, and tells how many pixels the picture wobbles, in which bands, at which lines, and when.";
static const char after[] =
    "Verdicts: steady, marginal, wobbly; unproven when a log is too slow to clear the\n"
    "flight.\n"
    "Exit status: 0 done; 1 a log failed, the others were still scored; 2 the command\n"
    "line or the rig file is wrong; 3 with --gate, a flight is not steady (when a log\n"
    "failed as well, it is 1).\n";

/* A batch on its way, and what is kept of it for the table at its end. */
struct scores {
    const struct flight_plan *plan;
    const struct score_args *args;
    const struct output_args *output;
    struct sr_score_line *lines;
    size_t count, failed, not_steady;
    bool usage; /* the command line was wrong */
};

static void keep_line(struct scores *batch, const struct flight *flight)
{
    struct sr_score_line *line = &batch->lines[batch->count++];
    const struct sr_score *score = &flight->score;

    snprintf(line->name, sizeof line->name, "%s", flight->log.name);
    line->verdict = score->verdict;
    line->wobble_px = score->wobble_px.value;
    line->threshold_px = score->threshold_px;
    line->headroom_db = score->headroom_db;
    line->steady_share = score->steady_share;
    if (score->verdict != SR_STEADY)
        batch->not_steady++;
}

static enum sr_status report(const struct flight *flight, const struct flight_plan *plan,
                             const struct score_args *args, const struct output_args *output, bool first,
                             struct sr_error *err)
{
    const struct sr_score_report r = {.log = &flight->log,
                                      .rig = &plan->rig,
                                      .slices = &flight->slices,
                                      .score = &flight->score,
                                      .footage_offset_s = args->footage_offset_s,
                                      .mount_note = flight->mount_note};
    struct sr_style style;

    if (args->quiet)
        return SR_OK;
    if (output->json)
        return sr_score_json(stdout, &r, err);
    style_from(&style, output);
    if (!first)
        putchar('\n');
    sr_score_text(stdout, &style, &r);
    return SR_OK;
}

/* One log of the batch. false: there is no point in going on. */
static bool say_score(void *context, const struct flight *flight, struct sr_error *err)
{
    struct scores *batch = context;
    const struct score_args *args = batch->args;

    if (flight == NULL) {
        complain_error(err);
        batch->failed++;
        /* An option that no log can satisfy would only be said again for each. */
        batch->usage = err->status == SR_ERR_ARGUMENT;
        return !batch->usage;
    }
    if (report(flight, batch->plan, args, batch->output, batch->count == 0, err) != SR_OK ||
        record_flight(&args->record, flight, batch->plan, batch->output, args->quiet, err) != SR_OK) {
        complain_error(err);
        batch->failed++;
    }
    keep_line(batch, flight);
    return output_flush();
}

static int score_all(size_t count, char **paths, const struct flight_plan *plan,
                     const struct score_args *args, const struct output_args *output)
{
    struct scores batch = {
        .plan = plan, .args = args, .output = output, .lines = calloc(count, sizeof *batch.lines)};
    struct sr_style style;

    if (batch.lines == NULL || !batch_score(paths, count, plan, say_score, &batch)) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        free(batch.lines);
        return EXIT_FAILED;
    }
    if (count > 1 && batch.count > 0 && !batch.usage && !output->json && !args->quiet) {
        style_from(&style, output);
        sr_score_table(stdout, &style, batch.lines, batch.count, batch.failed);
    }
    free(batch.lines);
    if (batch.usage)
        return EXIT_USAGE;
    if (batch.failed > 0)
        return EXIT_FAILED;
    return args->gate && batch.not_steady > 0 ? EXIT_GATE : EXIT_DONE;
}

int command_score(int argc, char **argv)
{
    struct score_args args = {.footage_offset_s = NAN};
    struct log_args log;
    struct rig_args rig = {0};
    struct output_args output = {0};
    struct flight_plan plan;
    size_t n_logs = 0;

    log_args_init(&log);
    record_args_init(&args.record);
    const struct option_group groups[] = {
        {"The score", score_options, sizeof score_options / sizeof score_options[0], &args},
        log_group(&log),
        rig_group(&rig),
        record_group(&args.record, false),
        output_group(&output),
    };
    const struct command_line line = {.verb = "score",
                                      .operands = "LOG...",
                                      .about = about,
                                      .after = after,
                                      .groups = groups,
                                      .n_groups = sizeof groups / sizeof groups[0]};

    switch (options_parse(&line, argc, argv, &n_logs)) {
    case OPTIONS_DONE:
        return EXIT_DONE;
    case OPTIONS_WRONG:
        return EXIT_USAGE;
    case OPTIONS_RUN:
        break;
    }
    if (n_logs == 0) {
        complain("score: no log given");
        return usage_hint("score");
    }
    if (!record_check(&args.record))
        return usage_hint("score");
    if (!flight_plan_make(&plan, &log, &rig, args.window))
        return EXIT_USAGE;
    return score_all(n_logs, argv + 1, &plan, &args, &output);
}
