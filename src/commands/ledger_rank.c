/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow ledger rank: which hardness for which setup, and which one or two to ship. */
#include <stdio.h>
#include <string.h>

#include "commands/commands.h"
#include "commands/ledger.h"
#include "commands/shared.h"
#include "stillrow/ledger_report.h"

struct rank_args {
    bool brief;
    struct output_args output;
};

static const struct cli_option rank_options[] = {
    {.name = "brief",
     .kind = OPTION_FLAG,
     .offset = offsetof(struct rank_args, brief),
     .help = "what to ship only, without each setup"},
};

static const struct option_group rank_group = OPTION_GROUP("The ranking", rank_options);
static const struct option_use uses[] = {
    {&rank_group, 0},
    {&output_group, offsetof(struct rank_args, output)},
};

static const struct command_line line = {
    .verb = "ledger rank",
    .operands = "LEDGER",
    .about = "Ranks the mount hardnesses that were flown, by wobble against the threshold: within each setup "
             "(motor, prop, 10 C of temperature), and over all of them, for the one or the two hardnesses "
             "that keep most setups under the threshold. What is not known is said: setups without flights "
             "of a choice, and too few flights.",
    .after = "Resonances that were measured at several temperatures give the rubber's kappa;\n"
             "'stillrow mounts --ledger LEDGER' uses it.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

enum { MATERIALS = SR_MATERIAL_TPU + 1 };

/* Kappa of each material, as far as anything was measured of it. */
struct kappas {
    struct sr_kappa_report reports[MATERIALS];
    struct sr_error why[MATERIALS];
    size_t count;
};

/* Whether any row has a measured resonance of the material. */
static bool any_measured(const struct sr_ledger *ledger, enum sr_material material)
{
    for (size_t i = 0; i < ledger->n_rows; i++)
        if (ledger->rows[i].readable && ledger->rows[i].resonance_hz > 0 &&
            strcmp(ledger->rows[i].material, sr_material_name(material)) == 0)
            return true;
    return false;
}

static enum sr_status find_kappas(struct kappas *kappas, const struct sr_ledger *ledger, struct sr_error *err)
{
    kappas->count = 0;
    for (int m = SR_MATERIAL_NATURAL_RUBBER; m < MATERIALS; m++) {
        const enum sr_material material = (enum sr_material)m;
        if (!any_measured(ledger, material))
            continue;
        struct sr_kappa_report *report = &kappas->reports[kappas->count];
        struct sr_error *why = &kappas->why[kappas->count++];
        enum sr_status status = sr_ledger_kappa(&report->kappa, ledger, material, why);
        if (status != SR_OK && status != SR_ERR_DATA) {
            *err = *why;
            return status;
        }
        report->material = sr_material_name(material);
        report->known = status == SR_OK;
        report->reason = why->text;
    }
    return SR_OK;
}

static enum sr_status report_rank(const char *path, const struct sr_ledger *ledger,
                                  const struct sr_rank *rank, const struct rank_args *args,
                                  struct sr_error *err)
{
    struct kappas kappas;
    struct sr_style style;

    enum sr_status status = find_kappas(&kappas, ledger, err);
    if (status != SR_OK)
        return status;
    const struct sr_rank_report report = {path, rank, kappas.reports, kappas.count, args->brief};
    if (args->output.json)
        return sr_rank_json(stdout, &report, err);
    style_from(&style, &args->output);
    sr_rank_text(stdout, &style, &report);
    return SR_OK;
}

int ledger_rank(int argc, char **argv)
{
    struct rank_args args = {0};
    struct sr_ledger ledger;
    struct sr_rank rank;
    struct sr_error err = {0};
    size_t n = 0;
    int exit_status;

    if (!ledger_options(&line, &args, argc, argv, 1, 1, &n, &exit_status))
        return exit_status;
    if (sr_ledger_read(&ledger, argv[1], &err) != SR_OK)
        return ledger_failed(&err);
    enum sr_status status = sr_rank_make(&rank, &ledger, &err);
    if (status == SR_OK) {
        status = report_rank(argv[1], &ledger, &rank, &args, &err);
        sr_rank_release(&rank);
    }
    sr_ledger_release(&ledger);
    return status == SR_OK ? EXIT_DONE : ledger_failed(&err);
}
