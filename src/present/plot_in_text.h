/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: a sheet of characters, and the four pictures on it. */
#ifndef PRESENT_PLOT_IN_TEXT_H
#define PRESENT_PLOT_IN_TEXT_H

#include <stdbool.h>

#include "present/plot_script.h"
#include "stillrow/plot.h"

struct sr_sheet {
    struct sr_script *script;
    const struct sr_plot_flight *flight;
    const struct sr_plot_options *options;
    int columns, rows; /* of the whole sheet */
    int left;          /* columns before the y axis */
    int across, up;    /* cells of the plot, without the axes */
    int legend_row;    /* first row under the axis, counted from the top */
};

/* Terminal, margins, name and verdict. legend_rows: kept free at the bottom. */
void sr_sheet_open(struct sr_sheet *sheet, struct sr_script *script, const struct sr_plot_flight *flight,
                   const struct sr_plot_options *options, int legend_rows);

/*
 * Cell i of n along an axis, as shares of it. A character stands for a cell that is centred on it; the axis
 * takes the place of the first, so that the lowest cell is half as wide again.
 */
struct sr_cell {
    double low, middle, high;
};
struct sr_cell sr_sheet_cell(int i, int n);

/* A text from a column and a row (from the top) on, cut at the sheet's edge. */
void sr_sheet_text(struct sr_sheet *sheet, int column, int row, const char *text);

/* Letter i just above a point of the plot. */
void sr_sheet_letter(struct sr_sheet *sheet, int i, double x, double y);

/* Name the strongest lines in `rows` rows of the legend, two a row; returns how many. "+3 more" if some are
 * left. */
int sr_sheet_lines(struct sr_sheet *sheet, int rows, bool lettered);

/* Ticks; as_log10: the axis carries log10 of the value. */
void sr_sheet_tick(struct sr_sheet *sheet, char axis, const char *label, double at);
void sr_sheet_log_tics(struct sr_sheet *sheet, char axis, double low, double high, bool as_log10);
void sr_sheet_tics(struct sr_sheet *sheet, char axis, double low, double high, double step);
void sr_sheet_clock_tics(struct sr_sheet *sheet, double low, double high);

enum sr_status sr_text_spectrum(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err);
enum sr_status sr_text_timeline(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err);
enum sr_status sr_text_waterfall(struct sr_script *script, const struct sr_plot_flight *flight,
                                 const struct sr_plot_options *options, struct sr_error *err);
enum sr_status sr_text_orders(struct sr_script *script, const struct sr_plot_flight *flight,
                              const struct sr_plot_options *options, struct sr_error *err);

#endif
