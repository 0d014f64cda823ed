/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

#include "notes.h"

enum { BAR_CELLS = 12, PEAKS_SHOWN = 3 };

/* Pixels: hundredths, thousandths where there is little to see. */
static const char *px_text(double px, char *text, size_t size)
{
    if (!isfinite(px))
        snprintf(text, size, "-");
    else
        snprintf(text, size, "%.*f", px >= 99.5 ? 0 : px >= 9.95 ? 1 : px >= 0.0995 ? 2 : 3, px);
    return text;
}

static enum sr_ink verdict_ink(enum sr_verdict verdict)
{
    switch (verdict) {
    case SR_STEADY:
        return SR_INK_GOOD;
    case SR_MARGINAL:
    case SR_UNPROVEN:
        return SR_INK_WARN;
    case SR_WOBBLY:
        return SR_INK_BAD;
    }
    return SR_INK_PLAIN;
}

static const char *verdict_words(enum sr_verdict verdict)
{
    switch (verdict) {
    case SR_STEADY:
        return "footage stays clean";
    case SR_MARGINAL:
        return "too close to the threshold to call";
    case SR_WOBBLY:
        return "footage will wobble";
    case SR_UNPROVEN:
        return "not shown to wobble, but the log sees too little to clear it";
    }
    return "";
}

void sr_score_headline(FILE *out, const struct sr_style *style, const struct sr_score_report *report)
{
    const enum sr_verdict verdict = report->score->verdict;
    const char *name = sr_verdict_name(verdict);

    sr_print_safe(out, sr_log_title(report->log->name));
    fprintf(out, "  %s", sr_ink(style, verdict_ink(verdict)));
    for (; *name != '\0'; name++)
        fputc(toupper((unsigned char)*name), out);
    fprintf(out, "%s  %s\n", sr_ink(style, SR_INK_PLAIN), verdict_words(verdict));
}

static void print_numbers(FILE *out, const struct sr_score *score)
{
    char a[32], b[32], c[32];

    fprintf(out, "\n  wobble    %6s px  19 s in 20 stay below it (95 %% interval %s to %s)\n",
            px_text(score->wobble_px.value, a, sizeof a), px_text(score->wobble_px.low, b, sizeof b),
            px_text(score->wobble_px.high, c, sizeof c));
    fprintf(out, "  threshold %6s px  headroom %+.1f dB\n", px_text(score->threshold_px, a, sizeof a),
            score->headroom_db);
    fprintf(out, "  steady    %6.0f %%   of %.0f s in the air; median %s px, RMS %s px\n",
            100.0 * score->steady_share, score->airborne_s, px_text(score->median_px, a, sizeof a),
            px_text(score->rms_px, b, sizeof b));
    fprintf(out, "  smear     %6s px  blur within the exposure, beside the wobble\n",
            px_text(score->smear_px, a, sizeof a));
    fprintf(out, "  axes      roll %s, pitch %s, yaw %s px RMS\n",
            px_text(score->axis_px[SR_ROLL], a, sizeof a), px_text(score->axis_px[SR_PITCH], b, sizeof b),
            px_text(score->axis_px[SR_YAW], c, sizeof c));
}

/* What ends the sight of a log at sees_hz. */
static const char *why_not_seen(const struct sr_log *log, double sees_hz)
{
    if (sees_hz >= log->quality.nyquist_hz)
        return "ends at";
    return sees_hz == log->quality.bridged_hz ? "lacks too many rows above" : "looks filtered above";
}

static void print_bands(FILE *out, const struct sr_style *style, const struct sr_score_report *report)
{
    const struct sr_score *score = report->score;
    char range[48], value[32];

    fprintf(out, "\n  %sband            Hz    px RMS   share%s  0.1 x     threshold      10 x\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < SR_BAND_COUNT - 1; i++) {
        const struct sr_band_score *band = &score->bands[i];
        const enum sr_band name = band->band;
        sr_band_range(sr_band_low_hz(&report->rig->camera, name), sr_band_high_hz(&report->rig->camera, name),
                      range, sizeof range);
        fprintf(out, "  %-6s %12s  ", sr_band_name(name), range);
        if (!band->seen) {
            fprintf(out, "not seen: this log %s %.0f Hz\n", why_not_seen(report->log, score->sees_hz),
                    score->sees_hz);
            continue;
        }
        fprintf(out, "%7s  %4.0f %%  ", px_text(band->wobble_px, value, sizeof value), 100.0 * band->share);
        sr_print_bar(out, style, band->wobble_px, score->threshold_px, BAR_CELLS);
        fputc('\n', out);
    }
}

/* "order 2, motor 3", "follows the motors", "folded from 1210 Hz", "fixed"; a dash where it is not known. */
static void cause_text(const struct sr_peak *peak, char *text, size_t size)
{
    size_t used;

    switch (peak->cause) {
    case SR_CAUSE_UNDECIDED:
        snprintf(text, size, "-");
        break;
    case SR_CAUSE_ORDER:
        /* Followed on the throttle alone, a line has no number. */
        if (peak->order > 0.0)
            snprintf(text, size, "order %.3g", peak->order);
        else
            snprintf(text, size, "follows the motors");
        break;
    case SR_CAUSE_FOLDED:
        snprintf(text, size, "folded from %.0f Hz", peak->true_hz);
        break;
    case SR_CAUSE_FIXED:
    case SR_CAUSE_BROADBAND:
        snprintf(text, size, "%s", sr_cause_name(peak->cause));
        break;
    }
    used = strlen(text);
    if (peak->motor > 0 && used < size)
        snprintf(text + used, size - used, ", motor %d", peak->motor);
}

static void print_peaks(FILE *out, const struct sr_style *style, const struct sr_score *score)
{
    char rate[32], px[32], waves[32], cause[64];
    bool known = false;

    if (score->n_peaks == 0) {
        fprintf(out, "\n  No single line carries the wobble: it is spread over all frequencies.\n");
        return;
    }
    for (size_t i = 0; i < score->n_peaks && i < PEAKS_SHOWN; i++)
        known = known || score->peaks[i].cause != SR_CAUSE_UNDECIDED;
    fprintf(out, "\n  %sstrongest lines  Hz   deg/s      px   share   waves  crawl Hz%s%s\n",
            sr_ink(style, SR_INK_STRONG), known ? "  cause" : "", sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < score->n_peaks && i < PEAKS_SHOWN; i++) {
        const struct sr_peak *peak = &score->peaks[i];
        cause_text(peak, cause, sizeof cause);
        fprintf(out, "  %17.1f %7s %7s  %4.0f %%  %6s  %8.1f%s%s\n", peak->hz,
                sr_format_value(peak->rate_dps, rate, sizeof rate), px_text(peak->wobble_px, px, sizeof px),
                100.0 * peak->share, sr_format_value(peak->waves, waves, sizeof waves), peak->crawl_hz,
                known ? "  " : "", known ? cause : "");
    }
}

/* What it is made of, where one line stands out; ends the line. */
static void print_moment_line(FILE *out, const struct sr_moment *moment, const char *before)
{
    if (moment->hz > 0.0)
        fprintf(out, "%smostly at %.0f Hz", before, moment->hz);
    if (moment->hz > 0.0 && moment->cause != SR_CAUSE_UNDECIDED)
        fprintf(out, " (%s)", sr_cause_name(moment->cause));
    fputc('\n', out);
}

/* A moment is a mean over its seconds; no second wobbles more than this. */
static double worst_second_px(const struct sr_score *score)
{
    double most = score->worst[0].wobble_px;
    for (size_t i = 0; i < score->slices; i++)
        most = fmax(most, score->slice_px[i]);
    return most;
}

static void print_worst(FILE *out, const struct sr_style *style, const struct sr_score_report *report)
{
    const struct sr_score *score = report->score;
    const struct sr_moment *first = &score->worst[0];
    const bool footage = !isnan(report->footage_offset_s);
    const double offset_s = footage ? report->footage_offset_s : 0.0;
    char from[32], to[32], px[32];

    if (score->n_worst == 0)
        return;
    if (!sr_moments_stand_out(score)) {
        fprintf(out, "\n  %sworst moments%s\n    none stands out: ", sr_ink(style, SR_INK_STRONG),
                sr_ink(style, SR_INK_PLAIN));
        fprintf(out, "%s%s px at worst",
                first->wobble_px > score->threshold_px ? "it wobbles throughout, " : "",
                px_text(worst_second_px(score), px, sizeof px));
        print_moment_line(out, first, ", ");
        return;
    }
    fprintf(out, "\n  %sworst moments%s (%s)\n", sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN),
            footage ? "time in the footage" : "time from the start of the log");
    for (size_t i = 0; i < score->n_worst; i++) {
        const struct sr_moment *moment = &score->worst[i];
        /* Past the first, only what shows in footage is worth a jump to it. */
        if (i > 0 && moment->wobble_px < score->threshold_px)
            continue;
        sr_format_clock(moment->from_s + offset_s, from, sizeof from);
        sr_format_clock(moment->to_s + offset_s, to, sizeof to);
        fprintf(out, "  %8s to %-8s %6s px", from, to, px_text(moment->wobble_px, px, sizeof px));
        print_moment_line(out, moment, "  ");
    }
}

void sr_score_text(FILE *out, const struct sr_style *style, const struct sr_score_report *report)
{
    sr_score_headline(out, style, report);
    print_numbers(out, report->score);
    print_bands(out, style, report);
    print_peaks(out, style, report->score);
    print_worst(out, style, report);
    sr_report_notes(out, style, report);
}

void sr_score_table(FILE *out, const struct sr_style *style, const struct sr_score_line *lines, size_t count,
                    size_t failed)
{
    char px[32], threshold[32];

    fprintf(out, "\n%sverdict   wobble px  threshold px  headroom dB   steady  log%s\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < count; i++) {
        const struct sr_score_line *line = &lines[i];
        fprintf(out, "%s%-8s%s  %9s  %12s  %+11.1f  %5.0f %%  ", sr_ink(style, verdict_ink(line->verdict)),
                sr_verdict_name(line->verdict), sr_ink(style, SR_INK_PLAIN),
                px_text(line->wobble_px, px, sizeof px),
                px_text(line->threshold_px, threshold, sizeof threshold), line->headroom_db,
                100.0 * line->steady_share);
        sr_print_safe(out, sr_log_title(line->name));
        fputc('\n', out);
    }
    if (failed > 0)
        fprintf(out, "%zu of %zu logs could not be scored.\n", failed, count + failed);
}
