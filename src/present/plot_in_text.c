/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The four pictures for a terminal: one character a cell, colours and curves
 * become characters. Lines are lettered in the plot and named below it.
 */
#include "present/plot_kinds.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "present/plot_in_text.h"
#include "present/plot_words.h"

void sr_sheet_text(struct sr_sheet *sheet, int column, int row, const char *text)
{
    char fitted[1024];

    sr_words_clean(text, (size_t)(sheet->columns - column), fitted, sizeof fitted);
    sr_script_add(sheet->script, "set label ");
    sr_script_text(sheet->script, fitted);
    sr_script_add(sheet->script, " at character %d, %d left noenhanced front\n", column,
                  sheet->rows - 1 - row);
}

struct sr_cell sr_sheet_cell(int i, int n)
{
    struct sr_cell cell = {i == 0 ? 0 : (i + 0.5) / n, (i + 1.0) / n, fmin(1, (i + 1.5) / n)};
    return cell;
}

/* Name and verdict. */
static void head(struct sr_sheet *sheet)
{
    const struct sr_plot_flight *flight = sheet->flight;
    const char *name = sheet->options->title;
    char text[300], verdict[160];

    if (name == NULL || name[0] == '\0')
        name = flight->rig->build.name[0] != '\0' ? flight->rig->build.name : sr_words_base(flight->log_name);
    sr_sheet_text(sheet, 0, 0, name);
    snprintf(text, sizeof text, "%s: %s", sr_verdict_name(flight->score->verdict),
             sr_words_verdict(flight->score, verdict, sizeof verdict));
    sr_sheet_text(sheet, 0, 1, text);
}

void sr_sheet_open(struct sr_sheet *sheet, struct sr_script *script, const struct sr_plot_flight *flight,
                   const struct sr_plot_options *options, int legend_rows)
{
    sheet->script = script;
    sheet->flight = flight;
    sheet->options = options;
    sheet->columns = options->text_columns > 0 ? options->text_columns : 79;
    sheet->rows = options->text_rows > 0 ? options->text_rows : 24;
    sheet->left = 7;
    sheet->legend_row = sheet->rows - legend_rows - 1;
    sheet->across = sheet->columns - sheet->left - 3;
    sheet->up = sheet->rows - 3 - legend_rows - 4;
    sr_script_begin(script);
    sr_script_add(script,
                  "reset\nset encoding utf8\nset terminal dumb noenhanced mono size %d, %d\nset lmargin "
                  "%d\nset rmargin 2\n"
                  "set tmargin 3\nset bmargin %d\nunset key\nset border 3\nset tics scale 0 nomirror\n",
                  sheet->columns, sheet->rows, sheet->left, legend_rows + 3);
    head(sheet);
}

/* Item i of the legend: two columns, as many rows as there are. */
static void legend_item(struct sr_sheet *sheet, int i, int rows, bool lettered, const char *text)
{
    int half = sheet->columns / 2;
    char item[200], fitted[200];

    if (lettered)
        snprintf(item, sizeof item, "%c %s", 'A' + i, text);
    else
        snprintf(item, sizeof item, "%s", text);
    sr_words_clean(item, (size_t)(half - 1), fitted, sizeof fitted);
    sr_sheet_text(sheet, i / rows * half, sheet->legend_row + i % rows, fitted);
}

void sr_sheet_letter(struct sr_sheet *sheet, int i, double x, double y)
{
    sr_script_add(sheet->script,
                  "set label '%c' at first %.9g, %.9g center noenhanced front offset character 0, 1\n",
                  'A' + i, x, y);
}

int sr_sheet_lines(struct sr_sheet *sheet, int rows, bool lettered)
{
    const struct sr_score *score = sheet->flight->score;
    size_t most = (size_t)rows * 2, n = score->n_peaks < most ? score->n_peaks : most;
    char text[128], px[32], more[48];

    for (size_t i = 0; i < n; i++) {
        const struct sr_peak *peak = &score->peaks[i];
        sr_words_line(peak, sheet->flight->causes, sheet->flight->rig, text, sizeof text);
        size_t used = strlen(text);
        snprintf(text + used, sizeof text - used, ", %s", sr_words_px(peak->wobble_px, px, sizeof px));
        legend_item(sheet, (int)i, rows, lettered, text);
    }
    if (score->n_peaks > n) {
        snprintf(more, sizeof more, "+%zu more", score->n_peaks - n);
        sr_sheet_text(sheet, sheet->columns - (int)strlen(more), 2, more);
    }
    return (int)n;
}

/* One tick label a place; gnuplot runs them through printf, so numbers only. */
void sr_sheet_tick(struct sr_sheet *sheet, char axis, const char *label, double at)
{
    sr_script_add(sheet->script, "set %ctics add ('%s' %.9g)\n", axis, label, at);
}

void sr_sheet_log_tics(struct sr_sheet *sheet, char axis, double low, double high, bool as_log10)
{
    static const double in_decade[] = {1, 2, 5};
    int from = (int)floor(log10(low)), to = (int)ceil(log10(high));
    bool all = high / low < 300;
    char label[32];

    sr_script_add(sheet->script, "set %ctics ()\n", axis);
    for (int e = from; e <= to; e++)
        for (int i = 0; i < (all || axis == 'x' ? 3 : 1); i++) {
            double v = in_decade[i] * pow(10, e);
            if (v < low * (1 - 1e-9) || v > high * (1 + 1e-9))
                continue;
            snprintf(label, sizeof label, v < 10000 ? "%.6g" : "%.6gk", v < 10000 ? v : v / 1000);
            sr_sheet_tick(sheet, axis, label, as_log10 ? log10(v) : v);
        }
}

void sr_sheet_tics(struct sr_sheet *sheet, char axis, double low, double high, double step)
{
    long from = (long)ceil(low / step - 1e-9), to = (long)floor(high / step + 1e-9);
    char label[32];

    sr_script_add(sheet->script, "set %ctics ()\n", axis);
    for (long k = from; k <= to; k++) {
        snprintf(label, sizeof label, "%.6g", (double)k * step);
        sr_sheet_tick(sheet, axis, label, (double)k * step);
    }
}

void sr_sheet_clock_tics(struct sr_sheet *sheet, double low, double high)
{
    static const double steps[] = {1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600};
    double step = 3600, shift = sheet->options->footage_offset_s;
    char label[32];

    for (size_t i = sizeof steps / sizeof steps[0]; i-- > 0;)
        if ((high - low) / steps[i] <= 7)
            step = steps[i];
    while ((high - low) / step > 7)
        step *= 2;
    sr_script_add(sheet->script, "set xtics ()\n");
    long from = (long)ceil((low + shift) / step - 1e-9), to = (long)floor((high + shift) / step + 1e-9);
    for (long k = from; k <= to; k++)
        sr_sheet_tick(sheet, 'x', sr_words_clock((double)k * step, false, label, sizeof label),
                      (double)k * step - shift);
}

enum sr_status sr_plot_in_text(struct sr_script *script, const struct sr_plot_flight *flight,
                               const struct sr_plot_options *options, struct sr_error *err)
{
    switch (options->kind) {
    case SR_PLOT_SPECTRUM:
        return sr_text_spectrum(script, flight, options, err);
    case SR_PLOT_TIMELINE:
        return sr_text_timeline(script, flight, options, err);
    case SR_PLOT_WATERFALL:
        return sr_text_waterfall(script, flight, options, err);
    case SR_PLOT_ORDERS:
        return sr_text_orders(script, flight, options, err);
    }
    return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "no such kind of plot");
}
