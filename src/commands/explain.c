/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow explain: why a flight wobbles, and what to try. */
#include <math.h>
#include <stdio.h>

#include "commands/batch.h"
#include "commands/commands.h"
#include "commands/flight.h"
#include "commands/record.h"
#include "stillrow/explain_report.h"

struct explain_args {
    double footage_offset_s;
    struct flight_args flight;
    struct record_args record;
};

#define AT(member) offsetof(struct explain_args, member)
static const struct cli_option explain_options[] = {
    FOOTAGE_OFFSET_ROW(AT(footage_offset_s), ""),
    WINDOW_ROW(AT(flight.window), ", as for score"),
};
static const struct option_group explain_group = OPTION_GROUP("The explanation", explain_options);
static const struct option_use uses[] = {
    {&explain_group, 0},         LOG_GROUP(struct explain_args),    RIG_GROUP(struct explain_args),
    {&record_group, AT(record)}, OUTPUT_GROUP(struct explain_args),
};
#undef AT

static const struct command_line line = {
    .verb = "explain",
    .operands = "LOG...",
    .about = "Says where the wobble of each flight comes from: lines that follow the motors (orders), lines "
             "that do not (resonances), lines folded from above what the log shows, and the rest; whether "
             "something changed in the flight; and what to try, each with the wobble to expect.",
    .after = "Propellers hurt: take the props off before you touch a motor or run one on the bench.\n"
             "Exit status: 0 done; 1 a log failed; 2 the command line or the rig file is wrong.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

/* A batch on its way. */
struct explaining {
    const struct flight_plan *plan;
    const struct explain_args *args;
};

/* Another mount hardness among the trials, in its place: best first. */
static enum sr_status add_mount(struct sr_trial *trials, size_t *count, const struct flight *flight,
                                const struct flight_plan *plan, struct sr_error *err)
{
    struct sr_trial trial;
    bool worth;
    enum sr_status status = sr_mount_trial(&trial, &worth, &flight->slices, &flight->score, &plan->rig, err);

    if (status != SR_OK || !worth || *count == SR_TRIALS_MAX)
        return status;
    size_t at = (*count)++;
    for (; at > 0 && trials[at - 1].gain_db < trial.gain_db; at--)
        trials[at] = trials[at - 1];
    trials[at] = trial;
    return SR_OK;
}

static enum sr_status explain_flight(const struct flight *flight, const struct explaining *batch, bool first,
                                     struct sr_error *err)
{
    const struct sr_rig *rig = &batch->plan->rig;
    const struct output_args *output = &batch->args->flight.output;
    struct sr_change change;
    struct sr_trial trials[SR_TRIALS_MAX];
    size_t n_trials = 0;
    struct sr_style style;

    enum sr_status status =
        sr_change_find(&change, &flight->score, &flight->slices, &flight->view, &flight->causes, err);
    if (status == SR_OK)
        status = sr_trials_make(trials, &n_trials, &flight->score, &flight->causes, &flight->slices,
                                &flight->view, rig, err);
    if (status == SR_OK)
        status = add_mount(trials, &n_trials, flight, batch->plan, err);
    if (status != SR_OK)
        return status;
    const struct sr_explain_report report = {.score =
                                                 flight_report(flight, rig, batch->args->footage_offset_s),
                                             .causes = &flight->causes,
                                             .change = &change,
                                             .trials = trials,
                                             .n_trials = n_trials};
    if (output->json)
        return sr_explain_json(stdout, &report, err);
    text_begin(&style, output, first);
    sr_explain_text(stdout, &style, &report);
    return SR_OK;
}

static enum sr_status say_causes(void *context, const struct flight *flight, bool first, struct sr_error *err)
{
    const struct explaining *batch = context;
    const struct explain_args *args = batch->args;
    struct record_args record = args->record;

    record.rig_told = !first;
    enum sr_status status = explain_flight(flight, batch, first, err);
    if (status == SR_OK)
        status = record_flight(&record, flight, batch->plan, &args->flight.output, false, err);
    return status;
}

int command_explain(int argc, char **argv)
{
    struct explain_args args = {.footage_offset_s = NAN};
    struct flight_plan plan;
    struct explaining batch = {.plan = &plan, .args = &args};
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
    return batch_run(argv + 1, n_logs, &plan, say_causes, &batch, NULL);
}
