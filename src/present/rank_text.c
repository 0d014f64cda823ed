/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "notes.h"
#include "stillrow/ledger_report.h"

enum { CHOICES_SHOWN = 4 };

static const char *plural(size_t count)
{
    return count == 1 ? "" : "s";
}

static void print_note(FILE *out, const struct sr_style *style, const char *text)
{
    fprintf(out, "  %snote:%s ", sr_ink(style, SR_INK_DIM), sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, text, 8, 8, SR_TEXT_WIDTH);
}

/* "10 to 20 C" */
static void band_text(const struct sr_rank_setup *setup, char *text, size_t size)
{
    if (isfinite(setup->from_c))
        snprintf(text, size, "%.0f to %.0f C", setup->from_c, setup->to_c);
    else
        snprintf(text, size, "no temperature given");
}

static void print_combo(FILE *out, const struct sr_rank_setup *setup)
{
    sr_print_safe(out, setup->motor[0] != '\0' ? setup->motor : "motor not given");
    fputs(", ", out);
    sr_print_safe(out, setup->prop[0] != '\0' ? setup->prop : "prop not given");
}

/* Tenths, never "-0.0". */
static double tenths(double db)
{
    return fabs(db) < 0.05 ? 0.0 : db;
}

static void print_cell(FILE *out, const struct sr_style *style, const struct sr_rank_cell *cell, bool best)
{
    char range[48] = "";

    if (isfinite(cell->level_db.low))
        snprintf(range, sizeof range, "%+.1f to %+.1f", tenths(cell->level_db.low),
                 tenths(cell->level_db.high));
    fprintf(out, "  %s%s %3.0f A %+7.1f dB  %-16s %3zu flight%s of %zu build%s%s%s\n",
            best ? sr_ink(style, SR_INK_STRONG) : "", best ? "*" : " ", cell->shore_a,
            tenths(cell->level_db.value), range, cell->flights, plural(cell->flights), cell->builds,
            plural(cell->builds), cell->enough ? "" : ": too few", best ? sr_ink(style, SR_INK_PLAIN) : "");
}

static void print_best(FILE *out, const struct sr_style *style, const struct sr_rank_setup *setup)
{
    if (setup->best == SR_RANK_NONE) {
        fprintf(out, "    too few flights: it takes %d of one hardness\n", SR_RANK_FLIGHTS_MIN);
        return;
    }
    double shore_a = setup->cells[setup->best].shore_a;
    if (setup->second == SR_RANK_NONE) {
        fprintf(out, "    nothing to set %.0f A against: no other hardness has %d flights\n", shore_a,
                SR_RANK_FLIGHTS_MIN);
        return;
    }
    fprintf(out, "    %s%.0f A is best%s%s, %.1f dB before %.0f A (p = %.2g)%s\n",
            sr_ink(style, setup->clear ? SR_INK_GOOD : SR_INK_WARN), shore_a,
            setup->clear ? ", clearly" : ", not clearly", sr_ink(style, SR_INK_PLAIN), setup->margin_db,
            setup->cells[setup->second].shore_a, setup->p_value, setup->apart ? "; no build flew both" : "");
}

static void print_setups(FILE *out, const struct sr_style *style, const struct sr_rank *rank)
{
    char band[48];

    for (size_t s = 0; s < rank->n_setups; s++) {
        const struct sr_rank_setup *setup = &rank->setups[s];
        band_text(setup, band, sizeof band);
        fprintf(out, "\n%s", sr_ink(style, SR_INK_STRONG));
        print_combo(out, setup);
        fprintf(out, ", %s%s\n", band, sr_ink(style, SR_INK_PLAIN));
        for (size_t c = 0; c < setup->n_cells; c++)
            print_cell(out, style, &setup->cells[c], c == setup->best);
        print_best(out, style, setup);
    }
}

static void hardness_text(const struct sr_rank_choice *choice, char *text, size_t size)
{
    if (choice->count == 1)
        snprintf(text, size, "%.0f A", choice->shore_a[0]);
    else
        snprintf(text, size, "%.0f and %.0f A", choice->shore_a[0], choice->shore_a[1]);
}

static void print_choice(FILE *out, const struct sr_style *style, const struct sr_rank *rank,
                         const struct sr_rank_choice *choice, bool first)
{
    char name[48], share[48] = "-", regret[32] = "-", band[48];

    hardness_text(choice, name, sizeof name);
    if (choice->under + choice->over > 0)
        snprintf(share, sizeof share, "%.0f %% (%.0f to %.0f)", 100 * choice->share.value,
                 100 * choice->share.low, 100 * choice->share.high);
    if (isfinite(choice->worst_regret_db))
        snprintf(regret, sizeof regret, "%.1f dB", fabs(choice->worst_regret_db));
    fprintf(out, "  %s%s %-13s %5zu %5zu %8zu  %-18s %9s%s", first ? sr_ink(style, SR_INK_STRONG) : "",
            first ? "*" : " ", name, choice->under, choice->over, choice->unknown, share, regret,
            first ? sr_ink(style, SR_INK_PLAIN) : "");
    if (choice->worst_regret_db > 0 && choice->worst_setup != SR_RANK_NONE) {
        band_text(&rank->setups[choice->worst_setup], band, sizeof band);
        fputs("  ", out);
        print_combo(out, &rank->setups[choice->worst_setup]);
        fprintf(out, ", %s", band);
    }
    fputc('\n', out);
}

static void print_choices(FILE *out, const struct sr_style *style, const struct sr_rank *rank,
                          const char *what, const struct sr_rank_choice *choices, size_t n, bool settled)
{
    if (n == 0)
        return;
    fprintf(out, "\n  %s%-15s under  over  unknown  under, share       regret at worst%s\n",
            sr_ink(style, SR_INK_STRONG), what, sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < n && i < CHOICES_SHOWN; i++)
        print_choice(out, style, rank, &choices[i], i == 0);
    if (n > CHOICES_SHOWN)
        fprintf(out, "    and %zu more\n", n - CHOICES_SHOWN);
    size_t tied = 1;
    while (tied < n && choices[tied].under == choices[0].under)
        tied++;
    if (tied > 1)
        fprintf(out, "    %zu keep as many setups under the threshold; the order among them goes by regret\n",
                tied);
    if (n > 1 && !settled)
        fprintf(out, "    not settled: flights that are missing could change the first place\n");
}

static void print_left_out(FILE *out, const struct sr_style *style, const struct sr_rank *rank)
{
    char text[400];
    size_t left_out = rank->unreadable + rank->unproven + rank->no_hardness + rank->no_mount + rank->no_level;

    if (rank->doubled > 0) {
        snprintf(text, sizeof text,
                 "%zu row%s of flights that stand there already, counted once; 'ledger check' says where",
                 rank->doubled, plural(rank->doubled));
        print_note(out, style, text);
    }
    if (rank->mount_unknown > 0) {
        snprintf(text, sizeof text,
                 "%zu of the flights ranked do%s not say whether the mount is in their wobble (mount_in is "
                 "empty): "
                 "if the gyro was on the frame and no resonance given, the hardness had no part in it; write "
                 "logged, modelled or no there",
                 rank->mount_unknown, rank->mount_unknown == 1 ? "es" : "");
        print_note(out, style, text);
    }
    if (left_out == 0)
        return;
    snprintf(text, sizeof text, "%zu row%s left out", left_out, plural(left_out));
    sr_count_words(text, sizeof text, rank->unreadable, "cannot be read");
    sr_count_words(text, sizeof text, rank->unproven, "unproven (a log too slow to see all wobble)");
    sr_count_words(text, sizeof text, rank->no_hardness, "without a hardness");
    sr_count_words(text, sizeof text, rank->no_mount,
                   "whose wobble has no mount in it (gyro on the frame, no resonance given)");
    sr_count_words(text, sizeof text, rank->no_level, "without a wobble or a threshold");
    print_note(out, style, text);
}

static void known_text(const struct sr_kappa_report *k, char *text, size_t size)
{
    const struct sr_interval *kappa = &k->kappa.kappa;
    bool shown = kappa->low > 0 || kappa->high < 0;
    double sign = kappa->value < 0 ? -100 : 100, one = sign * kappa->low, other = sign * kappa->high;

    snprintf(text, size,
             "%s gets %s by %.2f %% a kelvin (95 %% interval %.2f to %.2f; kappa = %.4f%s): %zu measured "
             "resonances of "
             "%zu mount%s, %.3g to %.3g C",
             k->material, kappa->value < 0 ? "stiffer" : "softer", sign * kappa->value, fmin(one, other),
             fmax(one, other), kappa->value, shown ? "" : ", and no change is shown", k->kappa.measured,
             k->kappa.mounts, plural(k->kappa.mounts), k->kappa.from_c, k->kappa.to_c);
}

static void print_kappas(FILE *out, const struct sr_style *style, const struct sr_rank_report *report)
{
    char text[600];

    for (size_t i = 0; i < report->n_kappas; i++) {
        const struct sr_kappa_report *k = &report->kappas[i];
        if (k->known)
            known_text(k, text, sizeof text);
        else
            snprintf(text, sizeof text, "%s: %s", k->material, k->reason);
        print_note(out, style, text);
    }
}

void sr_rank_text(FILE *out, const struct sr_style *style, const struct sr_rank_report *report)
{
    const struct sr_rank *rank = report->rank;

    sr_print_safe(out, report->path);
    fprintf(out, "  %zu flight%s in %zu setup%s of motor, prop and 10 C of temperature\n", rank->flights,
            plural(rank->flights), rank->n_setups, plural(rank->n_setups));
    fputs("  dB: 20 log10(wobble / threshold), mean with 95 % interval; below 0 footage stays clean\n", out);
    if (!report->brief)
        print_setups(out, style, rank);
    if (rank->n_counted == 0) {
        fprintf(out, "\n  too few flights to choose for all: no setup has %d of one hardness\n",
                SR_RANK_FLIGHTS_MIN);
    } else {
        fprintf(out, "\n%swhat to ship%s, over the %zu setup%s with %d flights or more of some hardness\n",
                sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN), rank->n_counted,
                plural(rank->n_counted), SR_RANK_FLIGHTS_MIN);
        if (rank->n_compared < rank->n_counted)
            fprintf(out,
                    "  (only %zu of them flew two hardnesses so often: too few flights in the others to "
                    "compare)\n",
                    rank->n_compared);
        print_choices(out, style, rank, "one", rank->single, rank->n_single, rank->single_settled);
        print_choices(out, style, rank, "two, in a box", rank->pair, rank->n_pair, rank->pair_settled);
    }
    fputc('\n', out);
    print_left_out(out, style, rank);
    print_kappas(out, style, report);
}
