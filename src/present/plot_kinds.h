/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: the kinds of pictures. Each appends its whole script. */
#ifndef PRESENT_PLOT_KINDS_H
#define PRESENT_PLOT_KINDS_H

#include "present/plot_script.h"
#include "stillrow/plot.h"

/* Errors: SR_ERR_MEMORY, SR_ERR_DATA (nothing to draw: the text says what is missing). */
enum sr_status sr_plot_spectrum(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err);
enum sr_status sr_plot_timeline(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err);
enum sr_status sr_plot_waterfall(struct sr_script *script, const struct sr_plot_flight *flight,
                                 const struct sr_plot_options *options, struct sr_error *err);
enum sr_status sr_plot_orders(struct sr_script *script, const struct sr_plot_flight *flight,
                              const struct sr_plot_options *options, struct sr_error *err);
/* The same four for a terminal: characters only. */
enum sr_status sr_plot_in_text(struct sr_script *script, const struct sr_plot_flight *flight,
                               const struct sr_plot_options *options, struct sr_error *err);

/* Whether flight and options can be drawn at all. Errors: SR_ERR_ARGUMENT. */
enum sr_status sr_plot_check(const struct sr_plot_flight *flight, const struct sr_plot_options *options,
                             struct sr_error *err);

/* Run a whole script, check what comes out and deliver it as the options say. Errors: as sr_plot_flight(). */
enum sr_status sr_plot_run(const struct sr_script *script, const struct sr_plot_options *options,
                           struct sr_error *err);

/*
 * The rate spectrum of a flight: for each bin, [deg/s RMS] of what lies in one resolution cell (window's
 * noise bandwidth), all axes together, mean over slices, so that a line's top reads its RMS amplitude.
 * rate[bins].
 */
void sr_plot_rates(const struct sr_slices *slices, double *rate, double *scratch);

/* The same of the strongest second at each bin: a line that moves with the motors keeps its height there. */
void sr_plot_worst_rates(const struct sr_slices *slices, double *rate);

/* The highest second of a moment; slices->count where none lies within. */
size_t sr_plot_worst_second(const struct sr_plot_flight *flight, const struct sr_moment *moment);

/* "0:10, 2.04 px" of that second, when it begins and how high its bar is, into text[size]; shift [s] is
 * added. */
char *sr_plot_moment_text(const struct sr_plot_flight *flight, const struct sr_moment *moment, double shift_s,
                          char *text, size_t size);

/* How many of the worst moments are worth a word: those above the threshold, and where there is none, or all
 * seconds are alike, the highest alone. */
size_t sr_plot_moments(const struct sr_plot_flight *flight);

/* Moment i of those; the whole flight where none is above the threshold or they are all alike. */
struct sr_moment sr_plot_moment(const struct sr_plot_flight *flight, size_t i);

/* Mean motor speed of a slice [rpm], NAN if none was logged. */
double sr_slice_rpm(const struct sr_slice *slice);

/* Of slice i; electrical speeds are brought to the motor's own where the lines gave the pole pairs away. */
double sr_plot_rpm(const struct sr_plot_flight *flight, size_t i);

/* The range of mean speeds over slices, widened to at least 6 %; false: none was logged. */
bool sr_plot_speeds(const struct sr_plot_flight *flight, double *low_rpm, double *high_rpm);
#define SR_NO_SPEEDS                                                                                         \
    "no motor speeds in this log: orders are drawn against them (spectrum, timeline and waterfall need "     \
    "none)"

/*
 * Allowance at bin k [deg/s RMS]: as sr_camera_least_allowance_dps(), from the view's own gains, which may
 * hold a mount as well. NAN below the first bin that counts as wobble; 1e9 where the camera does not respond.
 */
double sr_plot_allowance(const struct sr_plot_flight *flight, size_t k);

/* Wobble of slice i per resolution cell at bin k [px RMS], all axes. */
double sr_slice_cell_px(const struct sr_plot_flight *flight, size_t i, size_t k);

#endif
