/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where wobble starts to show: a logistic fit of footage rated by eye on the wobble
 * of its flights. Belongs to the ledger room.
 */
#ifndef STILLROW_THRESHOLD_H
#define STILLROW_THRESHOLD_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/ledger.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- Logistic regression --------------------------------------------------- */

/* P(y = 1) = 1 / (1 + exp(-(intercept + slope x))). */
struct sr_logistic {
    double intercept, slope;
    double intercept_error, slope_error; /* standard errors, from the information at the maximum */
    double log_likelihood;               /* of the fit */
    double null_log_likelihood;          /* of one probability for all */
    double p_value;                      /* of slope 0, likelihood ratio on 1 degree of freedom */
    size_t n, ones;
};

/*
 * Fit by Newton's method with halved steps (McCullagh and Nelder 1989, section 4.4), x centred and scaled
 * meanwhile. x [n], finite; y [n].
 *
 * Errors: SR_ERR_ARGUMENT (n of 0, x not finite), SR_ERR_DATA: all y alike, all x alike, separable data (all
 * x of one kind on one side of all of the other: the slope has no maximum; Albert and Anderson 1984), or no
 * convergence.
 */
enum sr_status sr_logistic_fit(struct sr_logistic *fit, const double *x, const bool *y, size_t n,
                               struct sr_error *err);

/*
 * The x at which P = 1/2, -intercept / slope, with its interval at `level` by profile likelihood: all x that
 * a likelihood ratio test does not reject (Cox and Hinkley 1974, section 7.2). Asked of a fit whose p_value
 * is at least 1 - level it is SR_ERR_DATA, for then the interval has no end. Errors: also SR_ERR_MEMORY.
 */
enum sr_status sr_logistic_half(const struct sr_logistic *fit, const double *x, const bool *y, size_t n,
                                double level, struct sr_interval *half, struct sr_error *err);

/* ---- The threshold ---------------------------------------------------------- */

#define SR_THRESHOLD_EACH_MIN 3 /* flights rated clean, and flights rated slight or bad */
#define SR_THRESHOLD_FLIGHTS_MIN                                                                             \
    10 /* rated flights for a fit; a bracket needs SR_THRESHOLD_EACH_MIN of each only */

enum sr_threshold_kind {
    SR_THRESHOLD_FITTED = 0, /* px: the 50 % point, with its 95 % interval by profile likelihood */
    SR_THRESHOLD_BRACKET     /* separable: px lies between the worst clean flight and the best that shows */
};

/* Wobble is taken as on a picture 1920 px wide: wobble_px 1920 / width_px. */
struct sr_threshold {
    enum sr_threshold_kind kind;
    struct sr_interval px;       /* [px RMS] of a bracket: its geometric mean and its ends */
    double worst_clean_px;       /* [px RMS] largest wobble of footage rated clean */
    double best_shown_px;        /* [px RMS] smallest wobble of footage rated slight or bad */
    struct sr_logistic logistic; /* on ln(px); of a bracket all 0 */
    double slope_db;             /* [dB] from 25 % to 75 % of footage showing it; 0 for a bracket */
    size_t clean, slight, bad;   /* flights used */
    size_t misrated;             /* used flights on the wrong side of px.value */
    size_t unrated, unproven, no_width, no_wobble, unreadable; /* left out */
    size_t doubled;       /* left out: the same flight as one that was used */
    size_t with_mount;    /* used flights whose mount_in is logged or modelled */
    size_t without_mount; /* used flights whose mount_in is no: of another kind, if there are both */
};

/*
 * Find the threshold from all rated flights of a ledger. `unproven` flights are left out: their wobble is
 * more than was seen. Errors: SR_ERR_DATA (too few rated flights; no relation shown between wobble and
 * rating, or the wrong way round: the text says how many are needed, or how clear it was), SR_ERR_MEMORY.
 */
enum sr_status sr_threshold_find(struct sr_threshold *threshold, const struct sr_ledger *ledger,
                                 struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
