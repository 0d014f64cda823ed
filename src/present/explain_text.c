/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/explain_report.h"

#include <math.h>
#include <string.h>

#include "notes.h"

enum { EVIDENCE_COLUMN = 6, TRIALS_SHOWN = 8 };

static const char *speed_words(const struct sr_causes *causes)
{
    switch (causes->source) {
    case SR_SPEED_MOTORS:
        return causes->electrical && !(causes->pole_pairs > 0)
                   ? "electrical motor speeds (give pole_pairs in the rig for true orders)"
                   : "motor speeds";
    case SR_SPEED_THROTTLE:
        return "throttle, a stand-in for motor speed: log motor speeds to know the orders";
    case SR_SPEED_NONE:
        break;
    }
    return "nothing: this log has no motor speed or throttle to go by, so no cause can be told";
}

static void print_against(FILE *out, const struct sr_causes *causes)
{
    char text[SR_NOTE_MAX];

    const double percent = 100 * causes->speed_spread;
    if (causes->source != SR_SPEED_NONE && isfinite(percent))
        snprintf(text, sizeof text, "told against %s; the speed changed by %.*f %% in this flight",
                 speed_words(causes), percent < 9.95 ? 1 : 0, percent);
    else
        snprintf(text, sizeof text, "told against %s", speed_words(causes));
    fputs("  ", out);
    sr_print_wrapped(out, text, 2, 2, SR_TEXT_WIDTH);
}

/* "ORDER 1, motor 3", "FIXED", "FOLDED from 1210 Hz". */
static void print_cause(FILE *out, const struct sr_style *style, const struct sr_peak *peak)
{
    fprintf(out, "  %s%s", sr_ink(style, SR_INK_STRONG), sr_cause_name(peak->cause));
    if (peak->cause == SR_CAUSE_ORDER && peak->order > 0)
        fprintf(out, " %.3g", peak->order);
    if (peak->motor > 0)
        fprintf(out, ", motor %d", peak->motor);
    if (peak->cause == SR_CAUSE_FOLDED)
        fprintf(out, " from %.0f Hz", peak->true_hz);
    fprintf(out, "%s\n", sr_ink(style, SR_INK_PLAIN));
}

static void print_peaks(FILE *out, const struct sr_style *style, const struct sr_score *score)
{
    char px[32], rate[32];

    for (size_t i = 0; i < score->n_peaks; i++) {
        const struct sr_peak *peak = &score->peaks[i];
        fprintf(out, "  %5.1f Hz %7s px %4.0f %% %7s deg/s ", peak->hz,
                sr_format_value(peak->wobble_px, px, sizeof px), 100 * peak->share,
                sr_format_value(peak->rate_dps, rate, sizeof rate));
        print_cause(out, style, peak);
        fprintf(out, "%*s", EVIDENCE_COLUMN, "");
        sr_print_wrapped(out, peak->evidence, EVIDENCE_COLUMN, EVIDENCE_COLUMN, SR_TEXT_WIDTH);
    }
    fprintf(out, "  the rest         %4.0f %%                broadband: prop wash, bearings, noise\n",
            100 * score->rest_share);
}

static void print_change(FILE *out, const struct sr_style *style, const struct sr_explain_report *report)
{
    const struct sr_change *change = report->change;
    double offset_s = isnan(report->score.footage_offset_s) ? 0 : report->score.footage_offset_s;
    char at[32], before[32], after[32], text[SR_NOTE_MAX];

    if (!change->found)
        return;
    sr_format_clock(change->at_s + offset_s, at, sizeof at);
    snprintf(text, sizeof text, "At %s the wobble changed from %s to %s px (%+.1f dB)", at,
             sr_format_value(change->before_px, before, sizeof before),
             sr_format_value(change->after_px, after, sizeof after), change->ratio_db);
    if (change->hz > 0)
        snprintf(text + strlen(text), sizeof text - strlen(text), ", most of it at %.0f Hz", change->hz);
    if (change->motor > 0)
        snprintf(text + strlen(text), sizeof text - strlen(text), ", motor %d", change->motor);
    if (change->after_px > change->before_px)
        snprintf(
            text + strlen(text), sizeof text - strlen(text),
            ". Something was hit or came loose there: look at that moment, then at the craft, props off");
    fprintf(out, "\n  %sa change within the flight%s\n  ", sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, text, 2, 2, SR_TEXT_WIDTH);
}

static void print_trial(FILE *out, const struct sr_style *style, const struct sr_trial *trial)
{
    char px[32], smear[32];

    fprintf(out, "  %s%7s px%s %+6.1f dB  ", sr_ink(style, trial->clears ? SR_INK_GOOD : SR_INK_PLAIN),
            sr_format_value(trial->wobble_px, px, sizeof px), sr_ink(style, SR_INK_PLAIN), -trial->gain_db);
    sr_print_wrapped(out, trial->what, 24, 24, SR_TEXT_WIDTH);
    if (trial->kind == SR_TRIAL_MODE) /* a longer exposure's caution tells of smear */
        fprintf(out, "%24ssmear %s px\n", "", sr_format_value(trial->smear_px, smear, sizeof smear));
    if (trial->caution[0] != '\0') {
        fprintf(out, "%24s%s", "", sr_ink(style, SR_INK_WARN));
        sr_print_wrapped(out, trial->caution, 24, 24, SR_TEXT_WIDTH);
        fputs(sr_ink(style, SR_INK_PLAIN), out);
    }
}

/* What the list of trials is for: on a steady flight it must not read as a request to change something. */
static void print_trials_head(FILE *out, const struct sr_style *style, const struct sr_explain_report *report)
{
    const struct sr_score *score = report->score.score;
    const char *strong = sr_ink(style, SR_INK_STRONG), *plain = sr_ink(style, SR_INK_PLAIN);
    const struct sr_quality *quality = &report->score.log->quality;
    char threshold[32], text[SR_NOTE_MAX];

    sr_format_value(score->threshold_px, threshold, sizeof threshold);
    switch (score->verdict) {
    case SR_STEADY:
        fprintf(out, "\n  %s%s%s\n", strong,
                report->change->found && report->change->after_px > report->change->before_px
                    ? "the footage needs no change, but look at what was hit"
                    : "nothing needs to change",
                plain);
        if (report->n_trials > 0)
            fprintf(out, "  for reference, the wobble with each of these (threshold %s px)\n", threshold);
        return;
    case SR_UNPROVEN:
        fprintf(out, "\n  %swhat to try first%s\n  ", strong, plain);
        sr_log_first_words(score, &report->score.rig->camera, quality->nyquist_hz, quality->bridged_hz, text,
                           sizeof text);
        sr_print_wrapped(out, text, 2, 2, SR_TEXT_WIDTH);
        if (report->n_trials > 0)
            fprintf(out, "  for reference, what each of these makes of the part seen (threshold %s px)\n",
                    threshold);
        return;
    case SR_MARGINAL:
    case SR_WOBBLY:
        if (report->n_trials > 0)
            fprintf(out, "\n  %swhat to try%s, with the wobble to expect (threshold %s px)\n", strong, plain,
                    threshold);
        return;
    }
}

static void print_trials(FILE *out, const struct sr_style *style, const struct sr_explain_report *report)
{
    print_trials_head(out, style, report);
    if (report->n_trials > 0)
        fprintf(out, "      wobble    change\n");
    for (size_t i = 0; i < report->n_trials && i < TRIALS_SHOWN; i++)
        print_trial(out, style, &report->trials[i]);
}

void sr_explain_text(FILE *out, const struct sr_style *style, const struct sr_explain_report *report)
{
    const struct sr_score *score = report->score.score;
    char px[32], threshold[32];

    sr_score_headline(out, style, &report->score);
    fprintf(out, "\n  wobble %s px against a threshold of %s px: headroom %+.1f dB\n",
            sr_format_value(score->wobble_px.value, px, sizeof px),
            sr_format_value(score->threshold_px, threshold, sizeof threshold), score->headroom_db);
    fprintf(out, "\n  %sof the wobble energy, this much is%s\n", sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    print_peaks(out, style, score);
    print_against(out, report->causes);
    print_change(out, style, report);
    print_trials(out, style, report);
    sr_report_notes(out, style, &report->score);
}
