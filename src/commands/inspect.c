/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow inspect: what was understood of a log. */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdio.h>

#include "commands/batch.h"
#include "commands/commands.h"
#include "commands/flight.h"

struct inspect_args {
    struct flight_args flight;
};

static const struct option_use uses[] = {
    LOG_GROUP(struct inspect_args),
    RIG_GROUP(struct inspect_args),
    OUTPUT_GROUP(struct inspect_args),
};

static const struct command_line line = {
    .verb = "inspect",
    .operands = "LOG...",
    .about = "Tells what was understood of each log (CSV; '-' is standard input): which column became what, "
             "in which unit, what had to be assumed, how steady its clock is, what is missing, and which "
             "part was flown.",
    .after = "Exit status: 0 done; 1 a log cannot be read, the others were still inspected; 2 the\n"
             "command line or the rig file is wrong.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

/* A batch on its way. */
struct inspecting {
    struct flight_plan plan;
    struct inspect_args args;
};

static struct sr_axis_stats axis_stats(const double *x, size_t count)
{
    struct sr_axis_stats stats;
    double low, high;

    stats.mean_dps = gsl_stats_mean(x, 1, count);
    stats.sd_dps = gsl_stats_sd_m(x, 1, count, stats.mean_dps);
    gsl_stats_minmax(&low, &high, x, 1, count);
    stats.peak_dps = fmax(fabs(low), fabs(high));
    return stats;
}

/* A band counts as reached once something of it lies below what the log sees. */
static enum sr_band highest_band(const struct sr_camera *camera, double sees_hz)
{
    enum sr_band band = SR_BAND_GRAIN;

    while (band > SR_BAND_LEAN && sr_band_low_hz(camera, band) >= sees_hz)
        band = (enum sr_band)(band - 1);
    return band;
}

static struct sr_inspect_report make_report(const struct sr_log *log, const struct sr_rig *rig)
{
    struct sr_inspect_report report = {.log = log, .rig = rig};

    for (int axis = 0; axis < 3; axis++)
        report.axis[axis] = axis_stats(log->gyro_dps[axis], log->count);
    report.sees_hz = sr_log_sees_hz(log);
    report.highest_band = highest_band(&rig->camera, report.sees_hz);
    report.clear_hz = sr_band_high_hz(&rig->camera, SR_BAND_WAVE);
    return report;
}

static enum sr_status say_log(void *context, const struct flight *flight, bool first, struct sr_error *err)
{
    const struct inspecting *batch = context;
    const struct output_args *output = &batch->args.flight.output;
    const struct sr_inspect_report report = make_report(&flight->log, &batch->plan.rig);
    struct sr_style style;

    if (output->json)
        return sr_inspect_json(stdout, &report, err);
    text_begin(&style, output, first);
    sr_inspect_text(stdout, &style, &report);
    return SR_OK;
}

int command_inspect(int argc, char **argv)
{
    struct inspecting batch;
    size_t n_logs = 0;
    int status;

    flight_args_init(&batch.args.flight);
    if (!options_take_logs(&line, &batch.args, argc, argv, &n_logs, &status))
        return status;
    if (!flight_plan_make(&batch.plan, &batch.args.flight))
        return EXIT_USAGE;
    batch.plan.only_read = true;
    return batch_run(argv + 1, n_logs, &batch.plan, say_log, &batch, NULL);
}
