/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Windowed spectra: windows, Welch's averaged periodogram, confidence, peaks.
 *
 * Densities are one-sided and Parseval-true: the sum of psd[k] * bin_hz over all
 * bins is the mean square of the (detrended, window-weighted) signal. The factor
 * 2 of a one-sided density is applied to every bin but DC and, for an even
 * segment, Nyquist. If the signal is in u, a density is in u^2/Hz.
 */
#ifndef STILLROW_SPECTRUM_H
#define STILLROW_SPECTRUM_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum sr_window {
    SR_WINDOW_HANN = 0,
    SR_WINDOW_RECTANGULAR,
    SR_WINDOW_HAMMING,         /* 0.54, 0.46 */
    SR_WINDOW_BLACKMAN,        /* 0.42, 0.50, 0.08 */
    SR_WINDOW_BLACKMAN_HARRIS, /* 4-term, -92 dB */
    SR_WINDOW_HFT95,           /* flat-top of Heinzel, Ruediger, Schilling 2002, for amplitudes */
    SR_WINDOW_COUNT
};

enum sr_detrend { SR_DETREND_NONE, SR_DETREND_MEAN, SR_DETREND_LINEAR };

/* "hann", "rectangular", "hamming", "blackman", "blackman-harris", "hft95"; never NULL. */
const char *sr_window_name(enum sr_window window);

/* The window of that name into *window; false and untouched if there is none. */
bool sr_window_find(const char *name, enum sr_window *window);

/*
 * Fill w[0..n-1] with the periodic (DFT-even) window. n >= 1.
 * Sources: Harris 1978; HFT95: Heinzel et al. 2002, appendix.
 */
void sr_window_fill(enum sr_window window, double *w, size_t n);

/* Equivalent noise bandwidth [bins] of w[n]: n sum(w^2) / (sum w)^2. Harris 1978, eq. 11. */
double sr_window_enbw_bins(const double *w, size_t n);

/* Coherent gain of w[n]: mean(w). Harris 1978. */
double sr_window_coherent_gain(const double *w, size_t n);

/* A Welch estimator for one segment length: plan and window, reused for many records. */
struct sr_welch;

/*
 * Make an estimator.
 * segment: samples a segment, >= 8. hop: samples between segment starts, 1..segment.
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY. Making one is not thread-safe (FFTW's
 * planner); using different ones in different threads is.
 */
enum sr_status sr_welch_new(struct sr_welch **welch, enum sr_window window, enum sr_detrend detrend,
                            size_t segment, size_t hop, struct sr_error *err);
void sr_welch_free(struct sr_welch *welch); /* NULL is fine */

/* Bins of a density: segment / 2 + 1. */
size_t sr_welch_bins(const struct sr_welch *welch);

/* Segments that fit a record of `count` samples: 0 if count < segment. */
size_t sr_welch_segments(const struct sr_welch *welch, size_t count);

/* Equivalent noise bandwidth of its window [bins]. */
double sr_welch_enbw_bins(const struct sr_welch *welch);

/*
 * One-sided density of x[count] sampled at rate_hz into psd[bins].
 * Errors: SR_ERR_ARGUMENT (rate_hz not > 0), SR_ERR_SHORT (count < segment).
 */
enum sr_status sr_welch_psd(struct sr_welch *welch, const double *x, size_t count, double rate_hz,
                            double *psd, struct sr_error *err);

/*
 * Effective degrees of freedom of a density averaged over `segments` segments of
 * window w[n] at `hop` samples, the correlation of overlapping segments counted:
 * nu = 2 K / (1 + 2 sum_j (1 - j/K) rho_j), rho_j = (sum w w_shifted / sum w^2)^2.
 * Welch 1967; Percival and Walden 1993, sec. 6.17. At DC and Nyquist it is half that.
 */
double sr_welch_dof(const double *w, size_t n, size_t hop, size_t segments);

/* The same for an estimator's own window and hop. */
double sr_welch_own_dof(const struct sr_welch *welch, size_t segments);

/*
 * Factors that turn an estimate of `dof` degrees of freedom into the ends of its
 * interval of the given level (0 < level < 1): *low = nu / chi2(1 - a/2), *high =
 * nu / chi2(a/2). Errors: SR_ERR_ARGUMENT.
 */
enum sr_status sr_chi2_interval(double dof, double level, double *low, double *high, struct sr_error *err);

/* A spectral line. */
struct sr_line {
    double hz;        /* [Hz] interpolated */
    double amplitude; /* RMS of the line [u], floor removed */
    double height;    /* density at its top [u^2/Hz] */
    double floor;     /* running-median floor there [u^2/Hz] */
    size_t bin;       /* its highest bin */
    size_t low_bin;   /* first bin counted to the line */
    size_t high_bin;  /* last bin counted to the line */
};

struct sr_line_options {
    double min_ratio_db; /* [dB] top over floor a line needs; default 10 */
    double low_hz;       /* [Hz] lines below are left out; default 0 */
    double floor_hz;     /* [Hz] width of the running median; default 60 */
    size_t max_lines;    /* default 24; the strongest are kept */
    double cell_bins;    /* [bins] lines nearer than this are one; 0: 2 ENBW of the window */
};
void sr_line_options_init(struct sr_line_options *options);

/*
 * Running-median floor of psd[bins] over floor_hz, into floor[bins], corrected to
 * a mean level (median / mean of a chi-square of `dof` degrees of freedom).
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY.
 */
enum sr_status sr_floor(const double *psd, size_t bins, double bin_hz, double floor_hz, double dof,
                        double *floor, struct sr_error *err);

/*
 * Lines of a density, strongest first: local maxima that stand out of the floor,
 * frequency interpolated (Hann: exact three-point, Grandke 1983; flat-top: centre
 * of energy; others: parabola on the log), amplitude from the energy in the main
 * lobe above the floor (true between bins for every window), merged within a cell.
 * window: the one the density was made with. dof: of the density.
 * lines: room for options->max_lines. *count: how many were found.
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY.
 */
enum sr_status sr_lines_find(const double *psd, size_t bins, double bin_hz, enum sr_window window, double dof,
                             const struct sr_line_options *options, struct sr_line *lines, size_t *count,
                             struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
