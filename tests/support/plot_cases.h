/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Flights to be drawn: everything a picture can show, set by hand. Motor speeds
 * climb over the flight, lines sit where they are told to, and nothing is worked out.
 */
#ifndef SUPPORT_PLOT_CASES_H
#define SUPPORT_PLOT_CASES_H

#include "stillrow/plot.h"
#include "support/fake_flights.h"

struct plot_case {
    struct fake fake;
    struct sr_rig rig;
    struct sr_causes causes;
    struct sr_change change;
    double track_hz[12][40];
    double track_px[12][40];
    struct sr_plot_flight flight; /* points at the above */
};

#define PLOT_CASE_SLICES 40

/* Make a flight of 40 s with n_lines <= 12 lines, of all causes in turn. Never fails: it asserts. */
void plot_case_make(struct plot_case *c, size_t n_lines);
void plot_case_release(struct plot_case *c);

#endif
