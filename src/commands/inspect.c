/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow inspect: what was understood of a log. */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdio.h>

#include "commands/commands.h"
#include "commands/flight.h"

static const char about[] =
    "Tells what was understood of each log (CSV; '-' is standard input): which column became what, in which "
    "unit, what had to be assumed, how steady its clock is, what is missing, and which part was flown.";
static const char after[] =
    "Exit status: 0 done; 1 a log cannot be read, the others were still inspected; 2 the\n"
    "command line or the rig file is wrong.\n";

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
    report.sees_hz = log->quality.nyquist_hz;
    if (log->quality.low_pass_hz > 0.0)
        report.sees_hz = fmin(report.sees_hz, log->quality.low_pass_hz);
    report.highest_band = highest_band(&rig->camera, report.sees_hz);
    report.clear_hz = sr_band_high_hz(&rig->camera, SR_BAND_WAVE);
    return report;
}

/* *status is raised on failure. false: there is no point in going on. */
static bool inspect_one(const char *path, const struct flight_plan *plan, const struct output_args *output,
                        bool first, int *status)
{
    struct sr_log log;
    struct sr_error err = {0};
    struct sr_style style;

    if (flight_read(&log, path, plan, &err) != SR_OK) {
        complain_error(&err);
        *status = err.status == SR_ERR_ARGUMENT ? EXIT_USAGE : EXIT_FAILED;
        return *status != EXIT_USAGE;
    }
    const struct sr_inspect_report report = make_report(&log, &plan->rig);
    if (output->json) {
        if (sr_inspect_json(stdout, &report, &err) != SR_OK) {
            complain_error(&err);
            *status = EXIT_FAILED;
        }
    } else {
        style_from(&style, output);
        if (!first)
            putchar('\n');
        sr_inspect_text(stdout, &style, &report);
    }
    sr_log_release(&log);
    return output_flush();
}

int command_inspect(int argc, char **argv)
{
    struct log_args log;
    struct rig_args rig = {0};
    struct output_args output = {0};
    struct flight_plan plan;
    size_t n_logs = 0;

    log_args_init(&log);
    const struct option_group groups[] = {log_group(&log), rig_group(&rig), output_group(&output)};
    const struct command_line line = {.verb = "inspect",
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
        complain("inspect: no log given");
        return usage_hint("inspect");
    }
    if (!flight_plan_make(&plan, &log, &rig, NULL))
        return EXIT_USAGE;

    int status = EXIT_DONE;
    for (size_t i = 0; i < n_logs; i++)
        if (!inspect_one(argv[1 + i], &plan, &output, i == 0, &status))
            break;
    return status;
}
