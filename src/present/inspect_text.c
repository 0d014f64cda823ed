/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <inttypes.h>

#include "notes.h"

const char *sr_airborne_how_text(enum sr_airborne_how how)
{
    switch (how) {
    case SR_AIRBORNE_ASKED:
        return "as asked";
    case SR_AIRBORNE_THROTTLE:
        return "throttle above idle";
    case SR_AIRBORNE_SPEED:
        return "motor speed above idle";
    case SR_AIRBORNE_SHAKE:
        return "shakes more than the quiet ends";
    case SR_AIRBORNE_WHOLE:
        return "nothing tells ground from air, so all of it";
    }
    return "";
}

static void print_column(FILE *out, const char *role, const struct sr_column_use *use)
{
    if (use->index < 0)
        return;
    fprintf(out, "  %-12s column %d", role, use->index + 1);
    if (use->name[0] != '\0') {
        fputs(" '", out);
        sr_print_safe(out, use->name);
        fputc('\'', out);
    }
    if (use->unit[0] != '\0') {
        fputs(", in ", out);
        sr_print_safe(out, use->unit);
        fputs(use->assumed_unit ? " (assumed: no unit is written)" : "", out);
    }
    fputc('\n', out);
}

static const char *delimiter_name(char delimiter)
{
    switch (delimiter) {
    case '\t':
        return "tabs";
    case ';':
        return "semicolons";
    default:
        return "commas";
    }
}

static void print_columns(FILE *out, const struct sr_columns *c)
{
    static const char *const rates[3] = {"rate x", "rate y", "rate z"};
    static const char *const accels[3] = {"accel x", "accel y", "accel z"};
    char role[32];

    fprintf(out, "  %-12s %zu columns between %s%s", "table", c->n_columns, delimiter_name(c->delimiter),
            c->decimal_comma ? ", decimal commas" : "");
    if (c->header_line > 0)
        fprintf(out, ", header on line %zu\n", c->header_line);
    else
        fputs(", no header\n", out);
    print_column(out, "time", &c->time);
    if (c->time.index < 0)
        fprintf(out, "  %-12s counted from rows\n", "time");
    for (int i = 0; i < 3; i++)
        print_column(out, rates[i], &c->rate[i]);
    print_column(out, "throttle", &c->throttle);
    if (c->throttle_from_outputs)
        fprintf(out, "  %-12s mean of %zu motor outputs\n", "throttle", c->n_outputs);
    for (size_t i = 0; i < c->n_motors; i++) {
        snprintf(role, sizeof role, "motor %zu", i + 1);
        print_column(out, role, &c->motor[i]);
    }
    if (c->electrical_rpm)
        fprintf(out, "  %-12s electrical, divided by the pole pairs of the rig\n", "motor speed");
    for (int i = 0; i < 3; i++)
        print_column(out, accels[i], &c->accel[i]);
}

static void print_clock(FILE *out, const struct sr_log *log)
{
    const struct sr_quality *q = &log->quality;

    fprintf(out, "  %-12s %.1f s, %" PRIu64 " rows at %.6g Hz\n", "length", q->duration_s, q->rows,
            q->rate_hz);
    if (q->jitter_us < 0.01)
        fprintf(out, "  %-12s no jitter to speak of", "clock");
    else
        fprintf(out, "  %-12s jitter %.3g us", "clock", q->jitter_us);
    fprintf(out, "%s%s\n", q->resampled ? ", resampled to an even step" : "",
            q->coarse_stamps ? ", stamps too coarse: time counted from rows" : "");
    if (log->n_runs > 1 || q->gaps > 0)
        fprintf(out, "  %-12s %zu, about %" PRIu64 " rows lost; %zu unbroken runs\n", "gaps", q->gaps,
                q->lost_rows, log->n_runs);
    else if (q->lost_rows > 0)
        fprintf(out, "  %-12s %" PRIu64 ", interpolated\n", "lost rows", q->lost_rows);
    if (q->bad_rows > 0)
        fprintf(out, "  %-12s %" PRIu64 ", the first on line %zu\n", "bad rows", q->bad_rows,
                q->first_bad_line);
    if (q->backward_rows > 0)
        fprintf(out, "  %-12s %" PRIu64 " rows whose time repeats or goes back\n", "dropped",
                q->backward_rows);
    if (q->clipped > 0)
        fprintf(out, "  %-12s %" PRIu64 " samples at the sensor's limit of %.4g deg/s\n", "clipped",
                q->clipped, q->clip_dps);
    if (q->low_pass_hz > 0.0)
        fprintf(out, "  %-12s looks low-pass filtered at about %.0f Hz (%.0f to %.0f)\n", "filter",
                q->low_pass_hz, q->low_pass_low_hz, q->low_pass_high_hz);
}

static void print_airborne(FILE *out, const struct sr_log *log)
{
    char from[32], to[32];

    fprintf(out, "  %-12s by: %s\n", "airborne", sr_airborne_how_text(log->airborne_how));
    for (size_t i = 0; i < log->n_airborne; i++) {
        const struct sr_span *span = &log->airborne[i];
        sr_format_clock(span->from_s, from, sizeof from);
        sr_format_clock(span->to_s, to, sizeof to);
        fprintf(out, "  %-12s %s to %s (%.1f s)\n", "", from, to, span->to_s - span->from_s);
    }
}

static void print_sight(FILE *out, const struct sr_inspect_report *report)
{
    fprintf(out, "  %-12s up to %.0f Hz, the %s band: ", "sight", report->sees_hz,
            sr_band_name(report->highest_band));
    if (report->sees_hz < report->clear_hz)
        fprintf(out, "too little to clear a flight (%.0f Hz)\n", report->clear_hz);
    else
        fputs("enough to clear a flight\n", out);
}

void sr_inspect_text(FILE *out, const struct sr_style *style, const struct sr_inspect_report *report)
{
    static const char axis[3] = {'x', 'y', 'z'};
    char mean[32], sd[32], peak[32];

    fputs(sr_ink(style, SR_INK_STRONG), out);
    sr_print_safe(out, sr_log_title(report->log->name));
    fprintf(out, "%s\n", sr_ink(style, SR_INK_PLAIN));
    print_columns(out, &report->log->columns);
    print_clock(out, report->log);
    for (int i = 0; i < 3; i++)
        fprintf(out, "  %-12s mean %s, standard deviation %s, peak %s deg/s\n",
                (const char[]){'g', 'y', 'r', 'o', ' ', axis[i], '\0'},
                sr_format_value(report->axis[i].mean_dps, mean, sizeof mean),
                sr_format_value(report->axis[i].sd_dps, sd, sizeof sd),
                sr_format_value(report->axis[i].peak_dps, peak, sizeof peak));
    print_airborne(out, report->log);
    print_sight(out, report);
    sr_notes_text(out, style, report->log, report->rig);
}
