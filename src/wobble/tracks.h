/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Private to the room: lines followed through the slices.
 *
 * A hypothesis says where a line would lie in each slice: at a fixed frequency, or at a
 * frequency in proportion to a speed channel, folded at Nyquist where it gets there. Each
 * is judged by what lies along its track in the spectrogram of the wobble.
 */
#ifndef WOBBLE_TRACKS_H
#define WOBBLE_TRACKS_H

#include "stillrow/explain.h"

#define SR_CHANNELS_MAX (SR_MOTORS_MAX + 2)
#define SR_CHANNEL_NONE (-1) /* of a track that does not move */
#define SR_LOBE_BINS    2    /* [bins] half a line's width */

/* Spectrogram of the wobble: all arrays [slices][bins], but cum [slices][bins + 1]. */
struct sr_gram {
    size_t slices, bins, first; /* first: first bin that counts as wobble */
    size_t jobs;                /* threads that may look at it at once */
    double bin_hz, rate_hz;
    double total;   /* [px^2] all energy, summed over slices and bins from first */
    double *energy; /* [px^2] in a bin */
    double *excess; /* [px^2] above the floor; sums over noise are about 0 */
    double *
        stand; /* how far a bin stands out: log of energy over floor, lines next to stronger ones held down */
    bool *live;     /* not yet claimed by a track */
    double *cum;    /* running sum of live excess */
    double *smooth; /* live stand, smoothed over a line's width */
    double *weight; /* the same of live itself */
};

/* What moves: motor speeds, or throttle as a proxy, each relative to the flight's mean speed. */
struct sr_speeds {
    enum sr_speed_source source;
    size_t channels;            /* 0: nothing moves; 0.. scanned: all frequencies are tried along these */
    size_t scanned;             /* motors: 1 (their mean); throttle: 2 (square root, linear) */
    int motor[SR_CHANNELS_MAX]; /* 1-based motor of a channel, 0: none */
    double mean_hz;             /* [rev/s] that a relative speed of 1 stands for; 0: unknown */
    double spread;              /* (95th - 5th percentile) / median of channel 0 */
    double *step;               /* [slices][channels][SR_SLICE_STEPS] relative */
    double *mean, *low, *high;  /* [slices][channels] relative, over the steps */
    double *level;              /* [channels] mean over slices, relative */
    bool *known;                /* [slices] */
    size_t known_count;
    double share[SR_SLICE_STEPS]; /* of a slice's spectrum that comes from each step; sums to 1 */
};

/* A line followed. f0 is its true frequency at relative speed 1, or its fixed frequency. */
struct sr_pick {
    int channel;       /* SR_CHANNEL_NONE: fixed */
    double f0;         /* [Hz] */
    double f_lo, f_hi; /* [Hz] f0 of the lowest and highest line taken in (motors differ) */
    size_t order;      /* whole multiple of the motor speed, 0: none */
    bool folded;       /* lies above Nyquist most of the time */
    bool open;         /* neither a fixed frequency nor a speed explains it */
    double gain;       /* how well it is explained */
    double rival_gain; /* by the best other reading of the same energy */
    bool rival_moves;
    double moves_hz; /* [Hz] 5th to 95th percentile of where it lies, or would lie if it moved */
    size_t *low;     /* [slices] first and last bin, low > high: nowhere */
    size_t *high;
    double *energy; /* [slices] px^2 above the floor; may fall below 0 where there is no line */
    /* Over the flight, sums over slices. */
    double share;       /* of the wobble energy */
    double rate_energy; /* (deg/s)^2 */
    double axis[3];     /* px^2 about each picture axis */
    double seen_hz;     /* [Hz] middle of its energy, as it stands in the log */
    double *centre_hz;  /* [slices] the same of each slice, NAN where it does not stand out */
};

struct sr_picks {
    size_t count;
    struct sr_pick pick[SR_PEAKS_MAX];
    size_t *bins; /* the blocks that the picks point into */
    double *values;
};

enum sr_status sr_gram_make(struct sr_gram *gram, const struct sr_slices *slices, const struct sr_view *view,
                            struct sr_error *err);
void sr_gram_release(struct sr_gram *gram);
/* Recompute what depends on live. */
void sr_gram_refresh(struct sr_gram *gram);

enum sr_status sr_speeds_make(struct sr_speeds *speeds, const struct sr_slices *slices, struct sr_error *err);
void sr_speeds_release(struct sr_speeds *speeds);

/* Take the motor speeds to be the electrical ones of motors with that many pole pairs. */
void sr_speeds_gear(struct sr_speeds *speeds, double pole_pairs);

/* Where a true frequency shows at a sample rate: |f - fs round(f / fs)|. */
double sr_fold_hz(double hz, double rate_hz);

/* Bins of slice i that a line from f_lo to f_hi may fill, pad_bins to both sides; *low > *high: none. */
void sr_track_window(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f_lo,
                     double f_hi, double pad_bins, size_t i, size_t *low, size_t *high);
/* How well a line at f0 on a channel is borne out: grows with the slices it stands out in. 0: not at all. */
double sr_track_gain(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f0,
                     double *stand);
/* [px^2] live excess along it, summed over slices. */
double sr_track_energy(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f0);

/* Bins that a whole multiple of the motor speed fills in slice i, from the slowest motor's to the fastest's.
 */
void sr_order_window(const struct sr_gram *gram, const struct sr_speeds *speeds, size_t order,
                     double pad_bins, size_t i, size_t *low, size_t *high);

/* The whole multiple of mean_hz that f0 is, for any motor between the slowest and the fastest; 0: none. */
size_t sr_whole_order(const struct sr_gram *gram, const struct sr_speeds *speeds, double f0, double mean_hz);

/*
 * Follow every line that carries at least SR_PEAK_SHARE_MIN of the energy. max_order: highest multiple of
 * the motor speed looked at. Picks come in the order found; release with sr_picks_release().
 */
enum sr_status sr_picks_find(struct sr_picks *picks, struct sr_gram *gram, const struct sr_speeds *speeds,
                             double max_order, struct sr_error *err);
/* Take in a line of the flight's mean that no pick covers: nothing is known of how it moves. False: covered,
 * or too weak. low_bin <= high_bin < bins. */
bool sr_picks_add(struct sr_picks *picks, struct sr_gram *gram, size_t low_bin, size_t high_bin);
void sr_picks_release(struct sr_picks *picks);

/*
 * Share the energy out among the picks. Where a moving line crosses a fixed one, the fixed one gets what it
 * has when left alone, and the moving one the rest. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_picks_share(struct sr_picks *picks, const struct sr_gram *gram,
                              const struct sr_slices *slices, const struct sr_view *view,
                              struct sr_error *err);

/* How an order's energy is shared among the motors. */
struct sr_motor_shares {
    double share[SR_MOTORS_MAX]; /* [motors] >= 0, sums to 1; all 0: could not be told */
    int motor;                   /* 1-based motor that carries it, 0: not one alone, or not told */
    bool alike;                  /* the motors' speeds are too alike to tell them apart */
    bool unfit;                  /* few motors are logged, and none turns as the line does: is one missing? */
};

/* Over slices [first, last). order: whole multiple of the motor speed, 0: nothing to share. Errors:
 * SR_ERR_MEMORY.
 */
enum sr_status sr_motors_split(struct sr_motor_shares *shares, const struct sr_gram *gram,
                               const struct sr_speeds *speeds, const struct sr_slices *slices,
                               const struct sr_view *view, size_t order, size_t first, size_t last,
                               struct sr_error *err);

#endif
