/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two groups of flights, compared at matched conditions, with an honest interval.
 */
#ifndef STILLROW_COMPARE_H
#define STILLROW_COMPARE_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/explain.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_COMPARE_BINS_MAX  64 /* bins of throttle or motor speed */
#define SR_COMPARE_LINES_MAX 12

/* One flight of a group. All are borrowed and must outlive the comparison. */
struct sr_compare_flight {
    const char *name;
    const struct sr_slices *slices;
    const struct sr_view *view;
    const struct sr_score *score; /* with causes where known; NULL: no lines are told of */
    /* Of that score, or NULL: then a line is looked for where its peak is, whatever the throttle. */
    const struct sr_causes *causes;
};

struct sr_compare_group {
    const char *name; /* "A", or what the group has in common */
    const struct sr_compare_flight *flights;
    size_t count;
};

enum sr_match { SR_MATCH_NONE = 0, SR_MATCH_THROTTLE, SR_MATCH_SPEED };
enum sr_interval_from { SR_FROM_FLIGHTS = 0, SR_FROM_SLICES /* "these flights only" */ };
enum sr_winner { SR_NO_DIFFERENCE = 0, SR_A_QUIETER, SR_B_QUIETER };

struct sr_ratio {
    double db;              /* 20 log10(wobble B / wobble A): above 0, A is quieter */
    double low_db, high_db; /* 95 % interval */
    double p_value;         /* two-sided, of no difference */
    double p_adjusted;      /* Benjamini-Hochberg over the bands; of the whole: p_value, or over pairs */
    double a_px, b_px;      /* [px RMS] matched wobble of each group (geometric mean over flights) */
    bool shown;             /* p_adjusted < 0.05 */
    bool seen;              /* both groups' logs reach into this band */
};

struct sr_compare_line {
    double hz_a, hz_b;  /* [Hz]; NAN where the group has no such line */
    double px_a, px_b;  /* [px RMS] at matched conditions; what stands out there even where hz is NAN */
    double order;       /* 0: not an order */
    double share;       /* of the sum of all these lines' differences in energy; below 0: the other way */
    const char *change; /* "grown", "shrunk", "moved", "same", "gone", "new" (from A to B) */
    enum sr_band band;
};

struct sr_comparison {
    enum sr_match match;
    double match_width;                       /* width of a bin [fraction, or rpm] */
    size_t match_bins;                        /* bins that every flight visited */
    double match_centre[SR_COMPARE_BINS_MAX]; /* [fraction, or rpm] of those bins, ascending */
    size_t slices_a, slices_b;                /* compared */
    size_t left_out_a, left_out_b;            /* slices outside the common bins */
    double limit_hz;                          /* [Hz] compared up to here: what all logs can see */
    enum sr_interval_from from;
    struct sr_ratio whole;
    struct sr_ratio band[SR_BAND_COUNT - 1];
    struct sr_ratio axis[3];
    double smallest_db; /* [dB] the smallest difference these flights would have shown (80 % power) */
    enum sr_winner winner;
    /* Lines that account for a difference that is shown: of the whole, else of their band. */
    struct sr_compare_line lines[SR_COMPARE_LINES_MAX];
    size_t n_lines;
    char notes[8][SR_NOTE_MAX];
    size_t n_notes;
};

/*
 * Compare group a with group b. Every flight needs the same bin width; cameras must agree (the same picture),
 * or the comparison is refused. Errors: SR_ERR_ARGUMENT, SR_ERR_DATA (different cameras, nothing in common),
 * SR_ERR_MEMORY.
 */
enum sr_status sr_compare(struct sr_comparison *comparison, const struct sr_compare_group *a,
                          const struct sr_compare_group *b, struct sr_error *err);

/*
 * Several comparisons of one set of groups: adjust the p-values of their whole flights for how many there are
 * (sr_adjust_p), and with them p_adjusted, shown, winner and lines. Errors: SR_ERR_MEMORY; nothing changed.
 */
enum sr_status sr_compare_adjust(struct sr_comparison *const *comparisons, size_t n, struct sr_error *err);

/* Benjamini and Hochberg 1995: adjusted p-values of p[n] into adjusted[n]. Errors: SR_ERR_MEMORY,
 * SR_ERR_ARGUMENT. */
enum sr_status sr_adjust_p(const double *p, size_t n, double *adjusted, struct sr_error *err);

/* A difference of two means, b - a, with what is needed to judge it. */
struct sr_difference {
    double value; /* b - a */
    double error; /* standard error, >= 0 */
    double dof;   /* degrees of freedom of the error, > 0 */
    double low;   /* 95 % interval by Student's t */
    double high;
    double p_value;  /* two-sided, of no difference */
    double smallest; /* the smallest difference that would be shown 8 times out of 10 */
};

/*
 * Welch's t for two samples of two values or more each (Welch 1947; Satterthwaite 1946).
 * Errors: SR_ERR_ARGUMENT; *difference untouched.
 */
enum sr_status sr_welch_t(const double *a, size_t na, const double *b, size_t nb,
                          struct sr_difference *difference, struct sr_error *err);

/* Work out low, high, p_value and smallest from value, error and dof. */
void sr_difference_finish(struct sr_difference *difference);

/* Spectra of both groups for a picture, on one frequency grid. Release with sr_compare_spectra_release(). */
struct sr_compare_spectra {
    size_t bins;
    double bin_hz;    /* [Hz] */
    double enbw_bins; /* [bins] of the window */
    double *psd[2];   /* [bins] (deg/s)^2/Hz, three axes added, slices of the matched conditions only */
    double *low[2];   /* [bins] ends of the 95 % interval */
    double *high[2];
};
/*
 * Of the groups that `comparison` was made of, up to its limit_hz; zero for a group without a slice at the
 * matched conditions. Errors: SR_ERR_MEMORY; *spectra untouched.
 */
enum sr_status sr_compare_spectra(struct sr_compare_spectra *spectra, const struct sr_compare_group *a,
                                  const struct sr_compare_group *b, const struct sr_comparison *comparison,
                                  struct sr_error *err);
void sr_compare_spectra_release(struct sr_compare_spectra *spectra);

#ifdef __cplusplus
}
#endif
#endif
