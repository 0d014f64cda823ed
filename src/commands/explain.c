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
    const char *window;
    struct record_args record;
};

#define AT(member) offsetof(struct explain_args, member)
static const struct cli_option explain_options[] = {
    {.name = "footage-offset",
     .kind = OPTION_NUMBER,
     .offset = AT(footage_offset_s),
     .argument = "S",
     .unit = "s",
     .min = -86400,
     .max = 86400,
     .help = "where the log's first sample is in the footage",
     .fallback = "times of the log"},
    {.name = "window",
     .kind = OPTION_CHOICE,
     .offset = AT(window),
     .argument = "NAME",
     .choices = window_choices,
     .help = "window of the spectra, as for score",
     .fallback = "hann"},
};
#undef AT

static const char about[] = "Says where the wobble of each flight comes from: lines that follow the motors "
                            "(orders), lines that do not "
                            "(resonances), lines folded from above what the log shows, and the rest; whether "
                            "something changed in the "
                            "flight; and what to try, each with the wobble to expect.";
static const char after[] =
    "Propellers hurt: take the props off before you touch a motor or run one on the bench.\n"
    "Exit status: 0 done; 1 a log failed; 2 the command line or the rig file is wrong.\n";

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

static enum sr_status explain_flight(const struct flight *flight, const struct flight_plan *plan,
                                     const struct explain_args *args, const struct output_args *output,
                                     bool first, struct sr_error *err)
{
    struct sr_change change;
    struct sr_trial trials[SR_TRIALS_MAX];
    size_t n_trials = 0;
    struct sr_style style;

    enum sr_status status =
        sr_change_find(&change, &flight->score, &flight->slices, &flight->view, &flight->causes, err);
    if (status == SR_OK)
        status = sr_trials_make(trials, &n_trials, &flight->score, &flight->causes, &flight->slices,
                                &flight->view, &plan->rig, err);
    if (status == SR_OK)
        status = add_mount(trials, &n_trials, flight, plan, err);
    if (status != SR_OK)
        return status;
    const struct sr_explain_report report = {.score = {.log = &flight->log,
                                                       .rig = &plan->rig,
                                                       .slices = &flight->slices,
                                                       .score = &flight->score,
                                                       .footage_offset_s = args->footage_offset_s,
                                                       .mount_note = flight->mount_note},
                                             .causes = &flight->causes,
                                             .change = &change,
                                             .trials = trials,
                                             .n_trials = n_trials};
    if (output->json)
        return sr_explain_json(stdout, &report, err);
    style_from(&style, output);
    if (!first)
        putchar('\n');
    sr_explain_text(stdout, &style, &report);
    return SR_OK;
}

/* A batch on its way. */
struct explained {
    const struct flight_plan *plan;
    const struct explain_args *args;
    const struct output_args *output;
    size_t count, failed;
    bool usage; /* the command line was wrong */
};

/* One log of the batch. false: there is no point in going on. */
static bool say_causes(void *context, const struct flight *flight, struct sr_error *err)
{
    struct explained *batch = context;
    const bool first = batch->count == batch->failed;
    enum sr_status status = flight != NULL ? SR_OK : err->status;

    batch->count++;
    if (status == SR_ERR_ARGUMENT) {
        complain_error(err);
        batch->usage = true;
        return false;
    }
    if (status == SR_OK)
        status = explain_flight(flight, batch->plan, batch->args, batch->output, first, err);
    if (status == SR_OK)
        status = record_flight(&batch->args->record, flight, batch->plan, batch->output, false, err);
    if (status != SR_OK) {
        complain_error(err);
        batch->failed++;
    }
    return output_flush();
}

static int explain_all(size_t count, char **paths, const struct flight_plan *plan,
                       const struct explain_args *args, const struct output_args *output)
{
    struct explained batch = {.plan = plan, .args = args, .output = output};

    if (!batch_score(paths, count, plan, say_causes, &batch)) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        return EXIT_FAILED;
    }
    if (batch.usage)
        return EXIT_USAGE;
    return batch.failed > 0 ? EXIT_FAILED : EXIT_DONE;
}

int command_explain(int argc, char **argv)
{
    struct explain_args args = {.footage_offset_s = NAN};
    struct log_args log;
    struct rig_args rig = {0};
    struct output_args output = {0};
    struct flight_plan plan;
    size_t n_logs = 0;

    log_args_init(&log);
    record_args_init(&args.record);
    const struct option_group groups[] = {
        {"The explanation", explain_options, sizeof explain_options / sizeof explain_options[0], &args},
        log_group(&log),
        rig_group(&rig),
        record_group(&args.record, false),
        output_group(&output),
    };
    const struct command_line line = {.verb = "explain",
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
        complain("explain: no log given");
        return usage_hint("explain");
    }
    if (!record_check(&args.record))
        return usage_hint("explain");
    if (!flight_plan_make(&plan, &log, &rig, args.window))
        return EXIT_USAGE;
    return explain_all(n_logs, argv + 1, &plan, &args, &output);
}
