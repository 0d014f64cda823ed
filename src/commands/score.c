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
    struct flight_args flight;
    struct record_args record;
};

#define AT(member) offsetof(struct score_args, member)
static const struct cli_option score_options[] = {
    {.name = "gate",
     .kind = OPTION_FLAG,
     .offset = AT(gate),
     .help = "exit status 3 unless every flight is steady"},
    FOOTAGE_OFFSET_ROW(AT(footage_offset_s), ": the worst moments are given in footage time"),
    WINDOW_ROW(AT(flight.window), ": hann, rectangular, hamming, blackman, blackman-harris or hft95"),
    QUIET_ROW(AT(quiet), "no report: messages and the exit status only"),
};
static const struct option_group score_group = OPTION_GROUP("The score", score_options);
static const struct option_use uses[] = {
    {&score_group, 0},           LOG_GROUP(struct score_args),    RIG_GROUP(struct score_args),
    {&record_group, AT(record)}, OUTPUT_GROUP(struct score_args),
};
#undef AT

static const struct command_line line = {
    .verb = "score",
    .operands = "LOG...",
    .about = "Reads each log (CSV; '-' is standard input), looks at the airborne part through the camera's "
             "rolling shutter, and tells how many pixels the picture wobbles, in which bands, at which "
             "lines, and when.",
    .after = "Verdicts: steady, marginal, wobbly; unproven when a log is too slow to clear the\n"
             "flight.\n"
             "Exit status: 0 done; 1 a log failed, the others were still scored; 2 the command\n"
             "line or the rig file is wrong; 3 with --gate, a flight is not steady (when a log\n"
             "failed as well, it is 1).\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

/* A batch on its way, and what is kept of it for the table at its end. */
struct scores {
    const struct flight_plan *plan;
    const struct score_args *args;
    struct sr_score_line *lines;
    size_t count, failed, not_steady;
};

static void keep_line(struct scores *batch, const struct flight *flight)
{
    struct sr_score_line *kept = &batch->lines[batch->count++];
    const struct sr_score *score = &flight->score;

    snprintf(kept->name, sizeof kept->name, "%s", flight->log.name);
    kept->verdict = score->verdict;
    kept->wobble_px = score->wobble_px.value;
    kept->threshold_px = score->threshold_px;
    kept->headroom_db = score->headroom_db;
    kept->steady_share = score->steady_share;
    if (score->verdict != SR_STEADY)
        batch->not_steady++;
}

static enum sr_status report(const struct flight *flight, const struct scores *batch, bool first,
                             struct sr_error *err)
{
    const struct output_args *output = &batch->args->flight.output;
    const struct sr_score_report r = flight_report(flight, &batch->plan->rig, batch->args->footage_offset_s);
    struct sr_style style;

    if (batch->args->quiet)
        return SR_OK;
    if (output->json)
        return sr_score_json(stdout, &r, err);
    text_begin(&style, output, first);
    sr_score_text(stdout, &style, &r);
    return SR_OK;
}

static enum sr_status say_score(void *context, const struct flight *flight, bool first, struct sr_error *err)
{
    struct scores *batch = context;
    const struct score_args *args = batch->args;
    struct record_args record = args->record;

    record.rig_told = !first;
    keep_line(batch, flight);
    enum sr_status status = report(flight, batch, first, err);
    if (status == SR_OK)
        status = record_flight(&record, flight, batch->plan, &args->flight.output, args->quiet, err);
    return status;
}

static int score_all(size_t count, char **paths, const struct flight_plan *plan,
                     const struct score_args *args)
{
    struct scores batch = {.plan = plan, .args = args, .lines = calloc(count, sizeof *batch.lines)};
    struct sr_style style;

    if (batch.lines == NULL) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        return EXIT_FAILED;
    }
    const int status = batch_run(paths, count, plan, say_score, &batch, &batch.failed);
    if (count > 1 && batch.count > 0 && status != EXIT_USAGE && !args->flight.output.json && !args->quiet) {
        style_from(&style, &args->flight.output);
        sr_score_table(stdout, &style, batch.lines, batch.count, batch.failed);
    }
    free(batch.lines);
    return status == EXIT_DONE && args->gate && batch.not_steady > 0 ? EXIT_GATE : status;
}

int command_score(int argc, char **argv)
{
    struct score_args args = {.footage_offset_s = NAN};
    struct flight_plan plan;
    size_t n_logs = 0;
    int status;

    flight_args_init(&args.flight);
    record_args_init(&args.record);
    if (!options_take_logs(&line, &args, argc, argv, &n_logs, &status))
        return status;
    if (!record_check(&args.record))
        return usage_hint(line.verb);
    if (!flight_plan_make(&plan, &args.flight))
        return EXIT_USAGE;
    if (!record_ready(&args.record))
        return EXIT_FAILED;
    return score_all(n_logs, argv + 1, &plan, &args);
}
