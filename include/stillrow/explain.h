/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why a flight wobbles: the cause of each line with its evidence, a change of
 * level within the flight, and what to try, each re-scored on the same slices.
 * Belongs to the wobble room.
 */
#ifndef STILLROW_EXPLAIN_H
#define STILLROW_EXPLAIN_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/rig.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_TRIALS_MAX 16

/* [rev/s] no propeller of a small craft turns that fast on average, 60 000 rpm: a faster speed is electrical.
 */
#define SR_ELECTRICAL_HZ 1000.0

/* What the causes were worked out against. */
enum sr_speed_source {
    SR_SPEED_NONE = 0, /* nothing logged: every line stays undecided, or broadband */
    SR_SPEED_MOTORS,   /* motor speeds */
    SR_SPEED_THROTTLE  /* throttle as a proxy: orders are relative, not multiples of the motor speed */
};

/* A track: where one peak's line lies in each slice. */
struct sr_track {
    double *hz;         /* [slices] [Hz], NAN where it does not stand out */
    double *wobble_px;  /* [slices] [px RMS] of the line in that slice */
    double crossing_hz; /* [Hz] where an order drives a resonance, 0: nowhere */
    double *plain_px;   /* [slices] [px RMS] the line without that resonance: what its speed accounts for */
    double motor_share[SR_MOTORS_MAX]; /* of its energy, by motor, sums to 1; all 0 where it cannot be told */
};

struct sr_causes {
    enum sr_speed_source source;
    /* Motor speeds are electrical, and the rig does not give the pole pairs. Where the lines give them away
     * (pole_pairs > 0), orders are of the motor speed all the same; else of the electrical speed. */
    bool electrical;
    double pole_pairs;   /* worked out from the lines, 0: not */
    double speed_spread; /* (95th - 5th percentile) / median of the speed (or of sqrt(throttle)), NAN: none */
    double mean_rpm;     /* [rpm] over slices and motors, NAN without motor speeds */
    size_t slices;
    size_t n_tracks; /* one for each of score->peaks, in their order */
    struct sr_track tracks[SR_PEAKS_MAX];
};

/*
 * Work out causes: fills cause, order, motor, true_hz, evidence, share… of score->peaks (lines that move with
 * the speed are followed through the slices, so peaks may be split, merged, added and re-ordered, strongest
 * first), names the worst moments, and sets *causes, which must be released. Errors: SR_ERR_MEMORY,
 * SR_ERR_ARGUMENT (score of other slices).
 */
enum sr_status sr_causes_find(struct sr_causes *causes, struct sr_score *score,
                              const struct sr_slices *slices, const struct sr_view *view,
                              const struct sr_rig *rig, struct sr_error *err);
void sr_causes_release(struct sr_causes *causes);

/* A change of level within a flight: a knock, a thrown blade. */
struct sr_change {
    bool found;
    double at_s;                /* [s] from the log's first sample, to within a slice */
    double before_px, after_px; /* [px RMS] */
    double ratio_db;            /* 20 log10(after / before) */
    double p_value;             /* of a change this clear in a steady flight */
    int motor;                  /* 1-based motor whose line changed most, 0: unknown */
    double hz;                  /* [Hz] line that changed most, 0: none stands out */
};

/*
 * Look for one change of level in log wobble over the slices, throttle accounted for where logged.
 * causes may be NULL. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_change_find(struct sr_change *change, const struct sr_score *score,
                              const struct sr_slices *slices, const struct sr_view *view,
                              const struct sr_causes *causes, struct sr_error *err);

enum sr_trial_kind { SR_TRIAL_REMOVE, SR_TRIAL_EXPOSURE, SR_TRIAL_MODE, SR_TRIAL_MOUNT };

/* Something to try, with the wobble to expect. */
struct sr_trial {
    enum sr_trial_kind kind;
    char what[SR_EVIDENCE_MAX];    /* one sentence: "balance or replace the prop of motor 3 (1x, 212 Hz)" */
    char caution[SR_EVIDENCE_MAX]; /* "" or a caution: "props off before you touch a motor" */
    double wobble_px;              /* [px RMS] predicted 95th percentile over slices */
    double gain_db;                /* 20 log10(now / predicted) */
    double smear_px;               /* [px RMS] that comes with it */
    double exposure_s;             /* [s] of an exposure trial, else as now */
    double nd_stops; /* stops of neutral density a longer exposure needs, log2 of the ratio; 0: none */
    int peak;        /* index into score->peaks of a removal, else -1 */
    int mode;        /* index into rig->modes, else -1 */
    bool clears;     /* predicted below the threshold */
};

/*
 * What to try, best first: each peak removed, all orders of one motor removed, exposure lengthened to half
 * the frame (180-degree shutter), the rig's other modes. *count: how many were set, at most SR_TRIALS_MAX.
 * Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_trials_make(struct sr_trial *trials, size_t *count, const struct sr_score *score,
                              const struct sr_causes *causes, const struct sr_slices *slices,
                              const struct sr_view *view, const struct sr_rig *rig, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
