/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Waterfall and orders for a terminal: wobble as darker and darker characters. */
#include "present/plot_in_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_kinds.h"
#include "present/plot_page.h"
#include "present/plot_words.h"

enum { LEGEND_ROWS = 2, LEVELS = 4 };

/* From these shares of the threshold on; one line at the last alone reaches it. */
static const double level_from[LEVELS] = {0.03, 0.1, 0.3, 1};
static const char level_char[LEVELS] = {'.', ':', 'o', '#'};

/* Some of a flight's slices. */
struct picks {
    size_t *slice; /* [count], room for all */
    size_t count;
};

static enum sr_status picks_new(struct picks *picks, const struct sr_slices *slices, struct sr_error *err)
{
    picks->count = 0;
    picks->slice = calloc(slices->count, sizeof *picks->slice);
    return picks->slice != NULL ? SR_OK : sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a text plot");
}

/* A cell's strongest bin, of the mean power over the slices picked; NAN for none. */
static double cell_px(const struct sr_plot_flight *flight, const struct picks *picks, double low_hz,
                      double high_hz)
{
    const struct sr_slices *slices = flight->slices;
    size_t first = (size_t)ceil(low_hz / slices->bin_hz), last = (size_t)floor(high_hz / slices->bin_hz);
    double most = NAN;

    if (last < first)
        first = last = (size_t)round((low_hz + high_hz) / 2 / slices->bin_hz);
    for (size_t k = first; k <= last && k < slices->bins; k++) {
        double power = 0;
        for (size_t i = 0; i < picks->count; i++)
            power += pow(sr_slice_cell_px(flight, picks->slice[i], k), 2);
        if (picks->count > 0)
            most = fmax(most, power / (double)picks->count); /* passes over NAN */
    }
    return sqrt(most);
}

static void write_cell(struct sr_sheet *sheet, double x, double y, double px)
{
    double share = px / sheet->flight->score->threshold_px;
    int level = -1;

    for (int l = 0; l < LEVELS; l++)
        if (share >= level_from[l])
            level = l;
    if (level >= 0)
        sr_script_add(sheet->script, "%.9g %.9g %d\n", x, y, level);
}

static void write_plot(struct sr_sheet *sheet)
{
    sr_script_add(sheet->script, "plot ");
    for (int l = 0; l < LEVELS; l++)
        sr_script_add(sheet->script,
                      "%s$cells using 1:($3 == %d ? $2 : NaN) with points pointtype '%c' notitle",
                      l > 0 ? ", " : "", l, level_char[l]);
    sr_script_add(sheet->script, "\n");
}

static void write_key(struct sr_sheet *sheet, const char *axes)
{
    const struct sr_score *score = sheet->flight->score;
    char text[160], low[24], high[24];

    snprintf(text, sizeof text, "%s; wobble: . from %s to # from %s (threshold)", axes,
             sr_words_px(level_from[0] * score->threshold_px, low, sizeof low),
             sr_words_px(score->threshold_px, high, sizeof high));
    sr_sheet_text(sheet, 0, 2, text);
}

enum sr_status sr_text_waterfall(struct sr_script *script, const struct sr_plot_flight *flight,
                                 const struct sr_plot_options *options, struct sr_error *err)
{
    const struct sr_slices *slices = flight->slices;
    double from = slices->slice[0].from_s, to = slices->slice[slices->count - 1].to_s;
    double low_hz = fmax((double)flight->view->first_bin, 1) * slices->bin_hz;
    double high_hz = slices->bin_hz * (double)(slices->bins - 1);
    struct sr_sheet sheet;
    struct picks picks;

    if (picks_new(&picks, slices, err) != SR_OK)
        return SR_ERR_MEMORY;
    if (options->max_hz > 0)
        high_hz = fmax(fmin(high_hz, options->max_hz), low_hz * 1.2);
    sr_sheet_open(&sheet, script, flight, options, LEGEND_ROWS);
    write_key(&sheet, "Hz against time");
    sr_sheet_lines(&sheet, LEGEND_ROWS, false);
    double ratio = high_hz / low_hz;
    sr_script_add(script, "# s, log10 Hz, level\n$cells << EOD\n");
    for (int c = 0; c < sheet.across; c++) {
        struct sr_cell column = sr_sheet_cell(c, sheet.across);
        double low = from + (to - from) * column.low, high = from + (to - from) * column.high;
        picks.count = 0;
        for (size_t i = 0; i < slices->count; i++)
            if (slices->slice[i].from_s < high && slices->slice[i].to_s > low)
                picks.slice[picks.count++] = i;
        for (int r = 0; r < sheet.up; r++) {
            struct sr_cell row = sr_sheet_cell(r, sheet.up);
            write_cell(&sheet, from + (to - from) * column.middle, log10(low_hz * pow(ratio, row.middle)),
                       cell_px(flight, &picks, low_hz * pow(ratio, row.low), low_hz * pow(ratio, row.high)));
        }
    }
    sr_script_add(script, "EOD\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n", from, to,
                  log10(low_hz), log10(high_hz));
    sr_sheet_clock_tics(&sheet, from, to);
    sr_sheet_log_tics(&sheet, 'y', low_hz, high_hz, true);
    write_plot(&sheet);
    free(picks.slice);
    return SR_OK;
}

enum sr_status sr_text_orders(struct sr_script *script, const struct sr_plot_flight *flight,
                              const struct sr_plot_options *options, struct sr_error *err)
{
    const struct sr_slices *slices = flight->slices;
    double low_rpm, high_rpm, low_hz = (double)flight->view->first_bin * slices->bin_hz;
    double high_hz = slices->bin_hz * (double)(slices->bins - 1);
    struct sr_sheet sheet;
    struct picks picks;

    if (!sr_plot_speeds(flight, &low_rpm, &high_rpm))
        return sr_fail(err, SR_ERR_DATA, NULL, 0, SR_NO_SPEEDS);
    if (picks_new(&picks, slices, err) != SR_OK)
        return SR_ERR_MEMORY;
    high_hz = fmin(high_hz, fmax(3, flight->rig->build.blades) * high_rpm / 60 * 1.12);
    if (options->max_hz > 0)
        high_hz = fmax(fmin(high_hz, options->max_hz), low_hz * 1.2);
    sr_sheet_open(&sheet, script, flight, options, LEGEND_ROWS);
    write_key(&sheet, "Hz against rpm");
    sr_sheet_lines(&sheet, LEGEND_ROWS, false);
    sr_script_add(script, "# rpm, Hz, level\n$cells << EOD\n");
    for (int c = 0; c < sheet.across; c++) {
        struct sr_cell column = sr_sheet_cell(c, sheet.across);
        double span = high_rpm - low_rpm, low = low_rpm + span * column.low,
               high = low_rpm + span * column.high;
        picks.count = 0;
        for (size_t i = 0; i < slices->count; i++)
            if (sr_plot_rpm(flight, i) >= low && sr_plot_rpm(flight, i) < high)
                picks.slice[picks.count++] = i;
        for (int r = 0; r < sheet.up; r++) {
            struct sr_cell row = sr_sheet_cell(r, sheet.up);
            double range = high_hz - low_hz;
            write_cell(&sheet, low_rpm + span * column.middle, low_hz + range * row.middle,
                       cell_px(flight, &picks, low_hz + range * row.low, low_hz + range * row.high));
        }
    }
    sr_script_add(script, "EOD\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n", low_rpm,
                  high_rpm, low_hz, high_hz);
    sr_sheet_tics(&sheet, 'x', low_rpm, high_rpm, sr_axis_step(low_rpm, high_rpm, 6));
    sr_sheet_tics(&sheet, 'y', low_hz, high_hz, sr_axis_step(0, high_hz, 5));
    write_plot(&sheet);
    free(picks.slice);
    return SR_OK;
}
