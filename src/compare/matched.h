/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: flights prepared for a comparison, slice by slice. */
#ifndef COMPARE_MATCHED_H
#define COMPARE_MATCHED_H

#include "stillrow/compare.h"

/* What is compared: the whole, each band, each axis. */
enum measure {
    MEASURE_WHOLE = 0,
    MEASURE_BAND = 1, /* bend, wave, ripple, grain follow one another */
    MEASURE_AXIS = MEASURE_BAND + SR_BAND_COUNT - 1,
    MEASURES = MEASURE_AXIS + 3
};

#define NO_BIN SIZE_MAX /* <stdint.h> */

#define MATCHED_FEW 5 /* slices: fewer show no scatter of their own */

struct matched_flight {
    const struct sr_compare_flight *flight;
    int group;    /* 0: a, 1: b */
    bool dropped; /* flown at nothing that all the others share */
    size_t n;     /* slices */
    size_t kept;  /* slices in the common bins */
    size_t *bin;  /* [n] bin of each slice, NO_BIN: none */
    bool visited[SR_COMPARE_BINS_MAX];
    double *energy;          /* [n][MEASURES] px^2 */
    double log_px[MEASURES]; /* ln of the matched wobble [px RMS] */
    double log_se[MEASURES]; /* its standard error from the slices of this flight */
    double dof[MEASURES];    /* and the degrees of freedom of that */
};

struct matched {
    struct matched_flight *flights;
    size_t count;
    enum sr_match match;
    double width;
    bool common[SR_COMPARE_BINS_MAX]; /* bins every flight visited */
    size_t common_bins;
    double limit_hz;
};

/* Prepare all flights of both groups: limits, energies, bins. Release in any case. */
enum sr_status matched_make(struct matched *m, const struct sr_compare_group *a,
                            const struct sr_compare_group *b, struct sr_error *err);
void matched_release(struct matched *m);

/* What slice i is matched on: throttle, motor speed, or 0; NAN where it was not logged. */
double matched_condition(const struct sr_slices *slices, size_t i, enum sr_match match);

/* The bin that it falls into, NO_BIN: none. */
size_t matched_bin(const struct sr_slices *slices, size_t i, enum sr_match match, double width);

/* Whether slice i of a flight lies in the common bins. */
bool matched_keeps(const struct matched *m, const struct matched_flight *f, size_t i);

/* What a slice in each bin weighs in its flight's matched energy; 0 outside the common bins. */
void matched_weights(const struct matched *m, const struct matched_flight *f,
                     double weight[SR_COMPARE_BINS_MAX]);

/*
 * Each flight's matched wobble and its standard error, from its slices taken in blocks.
 * Errors: SR_ERR_MEMORY.
 */
enum sr_status matched_measure(struct matched *m, struct sr_error *err);

/* Which lines account for the difference: fills lines, n_lines and winner. Errors: SR_ERR_MEMORY. */
enum sr_status compare_lines(struct sr_comparison *c, const struct matched *m, struct sr_error *err);

/* What follows from `shown`: the winner, and only lines that account for a difference that is shown. */
void compare_settle(struct sr_comparison *c);

#endif
