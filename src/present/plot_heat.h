/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: wobble as colour, for the pictures that need two axes for the rest. */
#ifndef PRESENT_PLOT_HEAT_H
#define PRESENT_PLOT_HEAT_H

#include "present/plot_page.h"

/* A grid of [px RMS] per resolution cell; NAN where there is nothing. */
struct sr_heat {
    size_t columns, rows;
    double *px;             /* [rows][columns] */
    double low_px, high_px; /* ends of the colours, on a log scale */
};

/* Allocate, all NAN. Errors: SR_ERR_MEMORY. */
enum sr_status sr_heat_new(struct sr_heat *heat, size_t columns, size_t rows, struct sr_error *err);
void sr_heat_release(struct sr_heat *heat);

/* Colours from a hundredth of the threshold up to it, or to the highest cell. */
void sr_heat_range(struct sr_heat *heat, double threshold_px);

/* Palette, data block "$heat" of log10 px, color range. */
void sr_heat_add(const struct sr_heat *heat, struct sr_script *script);

/* What shows where there are no cells: dark on either paper, and none of the colours, so that white marks
 * stand out. */
void sr_heat_ground(struct sr_page *page);

/* The color scale in the key row from x on, with the threshold marked. */
void sr_heat_key(const struct sr_heat *heat, struct sr_page *page, double x);

#endif
