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
 * Fill w[0..n-1] with the periodic (DFT-even) window: the sum of a_j cos(2 pi j i / n).
 * n >= 1; a single sample is 1. An unknown window is all zero.
 * Sources: Harris, Proc. IEEE 66(1), 1978; HFT95: Heinzel, Ruediger and Schilling 2002,
 * appendix. HFT95 peaks at 4.68, as it is published: its coherent gain is 1.
 */
void sr_window_fill(enum sr_window window, double *w, size_t n);

/* Equivalent noise bandwidth [bins] of w[n]: n sum(w^2) / (sum w)^2; not finite if sum w is 0. Harris 1978.
 */
double sr_window_enbw_bins(const double *w, size_t n);

/* Coherent gain of w[n]: mean(w). Harris 1978. */
double sr_window_coherent_gain(const double *w, size_t n);

/* A Welch estimator for one segment length: plan and window, reused for many records. */
struct sr_welch;

/*
 * Make an estimator.
 * segment: samples a segment, >= 8. hop: samples between segment starts, 1..segment.
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY. Threads may make, use and free different ones at
 * once; making the first in a process takes over a millisecond (FFTW gets ready). A caller who
 * uses FFTW's planner himself must keep it apart from these calls. The planner itself ends the
 * program if it runs out of memory.
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
 * One-sided density of x[count] sampled at rate_hz into psd[bins]:
 * psd[k] = 2 |sum w x e^(-2 pi i k n / N)|^2 / (rate_hz sum w^2), averaged over the
 * segments (Welch 1967); without the 2 at DC and at an even segment's Nyquist.
 * Samples after the last whole segment are not used. The bin width is rate_hz / segment.
 * Errors: SR_ERR_ARGUMENT (rate_hz not > 0), SR_ERR_SHORT (count < segment).
 */
enum sr_status sr_welch_psd(struct sr_welch *welch, const double *x, size_t count, double rate_hz,
                            double *psd, struct sr_error *err);

/*
 * Effective degrees of freedom of a density averaged over `segments` segments of
 * window w[n] at `hop` samples, the correlation of overlapping segments counted:
 * nu = 2 K / (1 + 2 sum_j (1 - j/K) rho_j), rho_j = (sum w w_shifted / sum w^2)^2.
 * Welch 1967; Percival and Walden 1993, sec. 6.17. At DC and Nyquist it is half that.
 * 0 if there is no segment, no sample or no hop.
 */
double sr_welch_dof(const double *w, size_t n, size_t hop, size_t segments);

/* The same for an estimator's own window and hop. */
double sr_welch_own_dof(const struct sr_welch *welch, size_t segments);

/*
 * Factors that turn an estimate of `dof` degrees of freedom into the ends of its
 * interval of the given level (0 < level < 1): *low = nu / chi2(1 - a/2), *high =
 * nu / chi2(a/2), chi2(p) the quantile that a chi-square stays below with probability p,
 * a = 1 - level. dof > 0. Errors: SR_ERR_ARGUMENT.
 */
enum sr_status sr_chi2_interval(double dof, double level, double *low, double *high, struct sr_error *err);

/* A spectral line. The bins of two lines never overlap, so their energies add up. */
struct sr_line {
    double hz;        /* [Hz] interpolated; centre of its energy if it is wider than the window's main lobe */
    double amplitude; /* RMS of the line [u], floor removed */
    double height;    /* density at its top [u^2/Hz] */
    double floor;     /* running-median floor there [u^2/Hz] */
    size_t bin;       /* its highest bin */
    size_t low_bin;   /* first bin counted to the line */
    size_t high_bin;  /* last bin counted to the line */
};

struct sr_line_options {
    double min_ratio_db; /* [dB, >= 0] top over floor a line needs at least; default 10. Few degrees of
                            freedom may ask for more, see sr_lines_find */
    double low_hz;       /* [Hz, >= 0] lines below are left out; default 0 */
    double floor_hz;     /* [Hz, > 0] width of the running median; default 120. Humps up to some 60 % of it
                            stand out as lines, wider ones belong to the floor */
    size_t max_lines;    /* [>= 1] default 24; the strongest are kept */
    double cell_bins;    /* [bins, >= 0] lines nearer than this are one; 0: 2 ENBW of the window */
};
void sr_line_options_init(struct sr_line_options *options);

/*
 * Running-median floor of psd[bins] over floor_hz, into floor[bins], corrected to
 * a mean level (median / mean of a chi-square of `dof` degrees of freedom).
 * It is found twice: the second median leaves out what stands 6 dB (more for few
 * degrees of freedom) above the first floor, a running 30 % quantile, and is taken of the
 * density over that floor. The window is symmetric about its bin, so a slope does not move
 * it; it spans at least 9 bins and shrinks towards both ends, at the low end to two thirds
 * of the frequency. Over the lowest 8 bins the slope
 * found above them is carried on, if it rises towards low frequencies. DC and Nyquist are not
 * looked at. Zeros at either end of psd are taken for bins left out, not for a quiet signal:
 * the floor there is 0.
 * bins >= 1, bin_hz > 0, floor_hz > 0, dof > 0; psd finite, not negative.
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY.
 */
enum sr_status sr_floor(const double *psd, size_t bins, double bin_hz, double floor_hz, double dof,
                        double *floor, struct sr_error *err);

/*
 * Lines of a density, strongest first.
 * A line is a local maximum
 *  - over the floor by min_ratio_db, and by what noise reaches in one density of a hundred:
 *    the F quantile at 0.003 / bins, of `dof` and the floor's own degrees of freedom. White
 *    noise shows a line in 1 % of one-second slices by the latter alone, and in 0.1 to 0.2 %
 *    by both at their defaults (measured);
 *  - with a dip of at least 6 dB (up to 10 for few degrees of freedom: F at 0.01 of dof
 *    and dof) between it and anything higher, else it is part of that;
 *  - farther than a cell from a higher line, and 6 dB over the leakage of higher lines;
 *  - with the half main lobe of the window (1 bin rectangular, 2 Hann and Hamming, 3
 *    Blackman, 4 Blackman-Harris, 5 HFT95) between it and both ends of what is not zero.
 * Frequency: Hann: exact from three bins; rectangular: exact from two (Rife and Vincent
 * 1970; Grandke 1983); HFT95: centre of energy; others: parabola on the log, whose bias
 * stays below 0.0161 bin (Hamming), 0.0067 (Blackman), 0.0033 (Blackman-Harris).
 * Amplitude: energy above the floor in the main lobe, and beyond it as far as the line
 * goes on (smeared by speed drift), divided by the share of a narrow line's energy that
 * these bins hold: true between bins for every window.
 * window: the one the density was made with. dof: of the density. psd as for sr_floor.
 * lines: room for options->max_lines. *count: how many were written.
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY.
 */
enum sr_status sr_lines_find(const double *psd, size_t bins, double bin_hz, enum sr_window window, double dof,
                             const struct sr_line_options *options, struct sr_line *lines, size_t *count,
                             struct sr_error *err);

/*
 * Cross-spectrum of two signals x and y, added up over as many records as wanted
 * (several runs, several axes). Only ratios are meant: nothing is scaled to a
 * density. Like sr_welch_psd(): windowed segments, linear detrend.
 */
struct sr_cross {
    size_t segment, hop;
    size_t bins;     /* segment / 2 + 1 */
    size_t segments; /* added so far */
    double *xx, *yy; /* [bins] sums of |X|^2 and |Y|^2 */
    double *re, *im; /* [bins] sum of conj(X) Y, so that y = h * x gives H = (re + i im) / xx */
    double *work;    /* [3 segment] window, and a pair of segments */
};

/* segment: samples, a power of 2, >= 8; hop: 1..segment. Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY. */
enum sr_status sr_cross_init(struct sr_cross *cross, enum sr_window window, size_t segment, size_t hop,
                             struct sr_error *err);
void sr_cross_release(struct sr_cross *cross);

/* Add the whole segments of x[count], y[count]; none if count < segment. Every value finite. */
void sr_cross_add(struct sr_cross *cross, const double *x, const double *y, size_t count);

/* Coherence of bin k: |S_xy|^2 / (S_xx S_yy), 0..1; 0 where either is silent. Bendat and Piersol 2010. */
double sr_cross_coherence(const struct sr_cross *cross, size_t k);

#ifdef __cplusplus
}
#endif
#endif
