/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spectrum and timeline for a terminal: a column of the sheet is a column of characters. */
#include "present/plot_in_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_kinds.h"
#include "present/plot_page.h"
#include "present/plot_words.h"

enum { LEGEND_ROWS = 3 };

/* Highest rates, and least allowance, of the bins of one column. */
static void column_values(const struct sr_plot_flight *flight, const double *rate, const double *worst,
                          double low_hz, double high_hz, double *most, double *worst_most, double *allowed)
{
    const struct sr_slices *slices = flight->slices;
    size_t first = (size_t)ceil(low_hz / slices->bin_hz), last = (size_t)floor(high_hz / slices->bin_hz);

    if (last < first)
        first = last = (size_t)round((low_hz + high_hz) / 2 / slices->bin_hz);
    *most = *worst_most = 0;
    *allowed = INFINITY;
    for (size_t k = first; k <= last && k < slices->bins; k++) {
        *most = fmax(*most, rate[k]);
        *worst_most = fmax(*worst_most, worst[k]);
        *allowed = fmin(*allowed, sr_plot_allowance(flight, k)); /* passes over NAN */
    }
}

struct curve {
    double *rate;    /* [across] mean over the flight */
    double *worst;   /* [across] the strongest second */
    double *allowed; /* [across] */
    double low_hz, high_hz, low_dps, high_dps;
};

static void fill_curve(struct curve *curve, const struct sr_sheet *sheet, const double *rate,
                       const double *worst)
{
    double top = 0, quiet = INFINITY, ratio = curve->high_hz / curve->low_hz;

    for (int c = 0; c < sheet->across; c++) {
        struct sr_cell cell = sr_sheet_cell(c, sheet->across);
        column_values(sheet->flight, rate, worst, curve->low_hz * pow(ratio, cell.low),
                      curve->low_hz * pow(ratio, cell.high), &curve->rate[c], &curve->worst[c],
                      &curve->allowed[c]);
        top = fmax(top, curve->worst[c]);
        if (isfinite(curve->allowed[c]) && curve->allowed[c] < 1e6)
            top = fmax(top, fmin(curve->allowed[c], top > 0 ? top * 100 : curve->allowed[c]));
        quiet = fmin(quiet, curve->rate[c]);
    }
    if (!(top > 0))
        top = 1;
    curve->low_dps = fmin(fmax(quiet * 0.7, top * 1e-4), top / 30);
    curve->high_dps = top * 2;
}

static void write_curve(struct sr_sheet *sheet, const struct curve *curve, int lines)
{
    struct sr_script *script = sheet->script;
    double ratio = curve->high_hz / curve->low_hz;

    for (int i = 0; i < lines; i++) {
        double hz = sheet->flight->score->peaks[i].hz;
        if (hz < curve->low_hz || hz > curve->high_hz)
            continue;
        double at = round(log(hz / curve->low_hz) / log(ratio) * sheet->across) - 1;
        int c = (int)fmin(fmax(at, 0), sheet->across - 1);
        sr_sheet_letter(sheet, i, hz, fmax(curve->worst[c], curve->low_dps));
    }
    sr_script_add(script,
                  "# Hz; mean over the flight, allowance, strongest second in deg/s RMS\n$spectrum << EOD\n");
    for (int c = 0; c < sheet->across; c++) {
        sr_script_number(script, curve->low_hz * pow(ratio, sr_sheet_cell(c, sheet->across).middle));
        sr_script_add(script, " ");
        sr_script_number(script, fmax(curve->rate[c], 1e-9));
        sr_script_add(script, " ");
        sr_script_number(script, curve->allowed[c]);
        sr_script_add(script, " ");
        sr_script_number(script, fmax(curve->worst[c], 1e-9));
        sr_script_add(script, "\n");
    }
    sr_script_add(script,
                  "EOD\nset logscale xy\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n",
                  curve->low_hz, curve->high_hz, curve->low_dps, curve->high_dps);
    sr_sheet_log_tics(sheet, 'x', curve->low_hz, curve->high_hz, false);
    sr_sheet_log_tics(sheet, 'y', curve->low_dps, curve->high_dps, false);
    sr_script_add(
        script,
        "plot $spectrum using 1:4 with points pointtype '.' notitle, $spectrum using 1:2 with impulses "
        "linetype 1 notitle, $spectrum using 1:3 with points pointtype '-' notitle\n");
}

enum sr_status sr_text_spectrum(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err)
{
    const struct sr_slices *slices = flight->slices;
    struct sr_sheet sheet;
    struct curve curve = {.high_hz = slices->bin_hz * (double)(slices->bins - 1)};
    enum sr_status status = SR_OK;

    sr_sheet_open(&sheet, script, flight, options, LEGEND_ROWS);
    sr_sheet_text(&sheet, 0, 2, "* mean, deg/s RMS, . worst second; - allowance of one line");
    if (options->max_hz > 0)
        curve.high_hz = fmin(curve.high_hz, options->max_hz);
    curve.low_hz = fmax(fmin(sr_band_low_hz(&flight->view->camera, SR_BAND_BEND) / 2.5, 25), slices->bin_hz);
    curve.low_hz = fmin(curve.low_hz, curve.high_hz / 4);
    double *rate = calloc(slices->bins * 2, sizeof *rate);
    curve.rate = calloc((size_t)sheet.across, sizeof *curve.rate);
    curve.worst = calloc((size_t)sheet.across, sizeof *curve.worst);
    curve.allowed = calloc((size_t)sheet.across, sizeof *curve.allowed);
    if (rate == NULL || curve.rate == NULL || curve.worst == NULL || curve.allowed == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a text plot");
    } else {
        sr_plot_rates(slices, rate, rate + slices->bins);
        sr_plot_worst_rates(slices, rate + slices->bins);
        fill_curve(&curve, &sheet, rate, rate + slices->bins);
        write_curve(&sheet, &curve, sr_sheet_lines(&sheet, LEGEND_ROWS, true));
    }
    free(curve.allowed);
    free(curve.worst);
    free(curve.rate);
    free(rate);
    return status;
}

/* The worst moments, one a legend place. */
static void name_moments(struct sr_sheet *sheet, int rows)
{
    const struct sr_change *change = sheet->flight->change;
    double shift = sheet->options->footage_offset_s;
    char text[160], clock[24], moment[64];
    int row = sheet->legend_row;
    size_t n = sr_plot_moments(sheet->flight);

    for (size_t i = 0; i < n && (int)i < (rows - 1) * 2; i++) {
        const struct sr_moment at = sr_plot_moment(sheet->flight, i);
        sr_plot_moment_text(sheet->flight, &at, shift, moment, sizeof moment);
        snprintf(text, sizeof text, "%s %s", i == 0 ? "worst:" : "      ", moment);
        sr_sheet_text(sheet, (int)i % 2 * (sheet->columns / 2), row + (int)i / 2, text);
    }
    if (change == NULL || !change->found)
        return;
    snprintf(text, sizeof text, "%s at %s: %+.1f dB", change->ratio_db > 0 ? "knock" : "change",
             sr_words_clock(change->at_s + shift, false, clock, sizeof clock), change->ratio_db);
    sr_sheet_text(sheet, 0, row + rows - 1, text);
}

enum sr_status sr_text_timeline(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err)
{
    const struct sr_slices *slices = flight->slices;
    double from = slices->slice[0].from_s, to = slices->slice[slices->count - 1].to_s;
    double threshold = flight->score->threshold_px, most = threshold;
    struct sr_sheet sheet;

    (void)err;
    sr_sheet_open(&sheet, script, flight, options, LEGEND_ROWS);
    sr_sheet_text(&sheet, 0, 2, "wobble each second, px: * steady, # too much, - threshold");
    name_moments(&sheet, LEGEND_ROWS);
    sr_script_add(script, "# column, highest wobble in px RMS\n$seconds << EOD\n");
    for (int c = 0; c < sheet.across; c++) {
        struct sr_cell cell = sr_sheet_cell(c, sheet.across);
        double low = from + (to - from) * cell.low, high = from + (to - from) * cell.high, px = NAN;
        for (size_t i = 0; i < slices->count; i++)
            if (slices->slice[i].from_s < high && slices->slice[i].to_s > low)
                px = fmax(px, flight->score->slice_px[i]); /* passes over NAN */
        most = fmax(most, px);
        if (isnan(px))
            continue;
        sr_script_add(script, "%.9g %.5g\n", from + (to - from) * cell.middle, px);
    }
    sr_script_add(script, "EOD\nset xrange [%.9g:%.9g] noextend\nset yrange [0:%.9g] noextend\n", from, to,
                  most * 1.1);
    sr_sheet_clock_tics(&sheet, from, to);
    sr_sheet_tics(&sheet, 'y', 0, most * 1.1, sr_axis_step(0, most, 4));
    sr_script_add(script,
                  "plot $seconds using 1:($2 > %.9g ? NaN : $2) with impulses linetype 1 notitle, $seconds "
                  "using 1:($2 > "
                  "%.9g ? $2 : NaN) with impulses linetype 2 notitle, $seconds using 1:(%.9g) with points "
                  "pointtype '-' "
                  "notitle\n",
                  threshold, threshold, threshold);
    return SR_OK;
}
