/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow threshold: where wobble starts to show, from rated footage. */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "commands/commands.h"
#include "commands/ledger.h"
#include "commands/shared.h"
#include "stillrow/ledger_report.h"

struct threshold_args {
    const char *write;
    struct output_args output;
};

static const struct cli_option threshold_options[] = {
    {.name = "write",
     .kind = OPTION_TEXT,
     .offset = offsetof(struct threshold_args, write),
     .argument = "RIG",
     .help = "set it in this rig file, for the width of the rig's picture; every other line stays"},
};

static const struct option_group threshold_group = OPTION_GROUP("The threshold", threshold_options);
static const struct option_use uses[] = {
    {&threshold_group, 0},
    {&output_group, offsetof(struct threshold_args, output)},
};

static const struct command_line line = {
    .verb = "threshold",
    .operands = "LEDGER",
    .about = "Finds the wobble at which half of the footage shows it, from the flights of a ledger that were "
             "rated clean, slight or bad, with its 95 % interval. Where clean and wobbly flights do not "
             "overlap there is a bracket instead.",
    .after = "Rate footage with 'stillrow ledger rate', or while scoring: score --ledger FILE --rating bad.\n"
             "Exit status: 0 done; 1 too few flights are rated, or no relation is shown; 2 the command\n"
             "line or the rig file is wrong.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

/* Picture width that a rig file has, or a new one will have. */
static bool rig_width(const char *path, double *width_px)
{
    const struct rig_args args = {.file = access(path, F_OK) == 0 || errno != ENOENT ? path : NULL};
    struct sr_rig rig;

    if (!rig_from(&rig, &args))
        return false;
    *width_px = rig.camera.width_px;
    return true;
}

static int report_threshold(const struct sr_threshold_report *report, const struct output_args *output)
{
    struct sr_style style;
    struct sr_error err = {0};

    if (output->json)
        return sr_threshold_json(stdout, report, &err) == SR_OK ? EXIT_DONE : ledger_failed(&err);
    style_from(&style, output);
    sr_threshold_text(stdout, &style, report);
    return EXIT_DONE;
}

int command_threshold(int argc, char **argv)
{
    struct threshold_args args = {0};
    struct sr_ledger ledger;
    struct sr_threshold threshold;
    struct sr_error err = {0};
    size_t n = 0;
    int exit_status;

    struct sr_threshold_report report = {.threshold = &threshold, .width_px = 1920};
    if (!ledger_options(&line, &args, argc, argv, 1, 1, &n, &exit_status))
        return exit_status;
    if (args.write != NULL && !rig_width(args.write, &report.width_px))
        return EXIT_USAGE;
    if (sr_ledger_read(&ledger, argv[1], &err) != SR_OK)
        return ledger_failed(&err);
    enum sr_status status = sr_threshold_find(&threshold, &ledger, &err);
    sr_ledger_release(&ledger);
    if (status != SR_OK) {
        snprintf(err.file, sizeof err.file, "%s", argv[1]);
        return ledger_failed(&err);
    }
    report.made = args.write != NULL && access(args.write, F_OK) != 0;
    report.path = argv[1];
    report.written = args.write;
    report.written_px = threshold.px.value * report.width_px / 1920;
    if (args.write != NULL && sr_rig_write_threshold(args.write, report.written_px, &err) != SR_OK)
        return ledger_failed(&err);
    return report_threshold(&report, &args.output);
}
