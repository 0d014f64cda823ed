/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which hardness of the mount suits which setup, and which one or two to ship.
 * Belongs to the ledger room.
 *
 * A setup is a motor, a prop and a band of temperature. A flight's level is
 * 20 log10(wobble / threshold) [dB]: below 0 its footage is steady, and flights of
 * cameras with thresholds of their own can stand in one table. Left out and counted:
 * rows that cannot be read, of verdict "unproven" (what a slow log does not see would
 * flatter them), without a hardness, whose wobble does not include the mount (then it is
 * the same on every hardness), or without a level; and all rows of a flight but the
 * first of them. Rows that do not say whether the mount is in them are ranked, and
 * counted.
 */
#ifndef STILLROW_RANK_H
#define STILLROW_RANK_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/ledger.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_RANK_FLIGHTS_MIN 3        /* of one hardness in one setup, from which its mean counts */
#define SR_RANK_BAND_C      10.0     /* [deg C] width of a band: …, -10 to 0, 0 to 10, … */
#define SR_RANK_NONE        SIZE_MAX /* an index that points nowhere */

/* One hardness in one setup. */
struct sr_rank_cell {
    double shore_a; /* [Shore A] rounded to whole degrees */
    size_t flights;
    size_t builds;               /* different ones among them */
    struct sr_interval level_db; /* [dB] mean; 95 % interval by Student's t, NAN ends for a single flight */
    double sd_db;                /* [dB] between flights, NAN for a single one */
    bool enough;                 /* SR_RANK_FLIGHTS_MIN flights */
};

struct sr_rank_setup {
    const char *motor, *prop;   /* as the first of its rows writes them; case and blanks do not tell apart */
    double from_c, to_c;        /* [deg C] from_c <= T < to_c; both NAN: rows without a temperature */
    struct sr_rank_cell *cells; /* ascending in hardness */
    size_t n_cells;
    size_t flights;
    size_t best;      /* cell of the lowest mean of those with enough flights, or SR_RANK_NONE */
    size_t second;    /* next to it, or SR_RANK_NONE */
    double margin_db; /* [dB] second against best; NAN without a second */
    /* Welch's t, two-sided, of the best against each other cell with enough flights: the largest p. */
    double p_value; /* NAN without a second */
    bool clear;     /* p_value < 0.05 */
    bool apart;     /* best and second have no build in common: a difference may be the builds' */
};

/* One hardness, or two in one box, of which each setup takes the better. */
struct sr_rank_choice {
    double shore_a[2]; /* [Shore A] ascending */
    size_t count;      /* 1 or 2 */
    /* Setups whose mean is under the threshold with this choice, over it, and not known (no flights enough of
     * this choice, or over with one half of it and no data of the other). */
    size_t under, over, unknown;
    struct sr_interval share; /* of under in under + over; Clopper and Pearson 1934, 95 %. NAN where 0 of 0 */
    double worst_regret_db;   /* [dB] over the best that was flown in that setup, largest; NAN: no data */
    double mean_regret_db;    /* [dB] over setups with data */
    size_t worst_setup;       /* where worst_regret_db is, or SR_RANK_NONE */
};

struct sr_rank {
    struct sr_rank_setup *setups; /* by motor, prop, temperature */
    size_t n_setups;
    size_t n_counted;              /* setups in which some hardness has enough flights */
    size_t n_compared;             /* setups in which two or more have */
    struct sr_rank_choice *single; /* best first: most setups under the threshold, then least worst regret */
    size_t n_single;
    struct sr_rank_choice *pair; /* likewise */
    size_t n_pair;
    /* The first stays first whatever the levels that are missing, of any hardness in any counted setup, turn
     * out to be. A setup that nobody flew often enough can still change it. */
    bool single_settled, pair_settled;
    size_t flights;                                     /* ranked */
    size_t unreadable, unproven, no_hardness, no_level; /* left out */
    size_t doubled;                                     /* left out: the same flight as one that was ranked */
    size_t no_mount;                                    /* left out: mount_in is "no" */
    size_t mount_unknown;                               /* ranked, without mount_in */
    struct sr_rank_cell *cells;                         /* private: all setups' */
};

/* Level of one flight [dB], NAN if it has none. A threshold that is not given is width / 1920. */
double sr_ledger_level_db(const struct sr_ledger_row *row);

/*
 * Rank. Texts point into the ledger, which must outlive the ranking. No setup at all is no error: the counts
 * say why. Release with sr_rank_release(). Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_rank_make(struct sr_rank *rank, const struct sr_ledger *ledger, struct sr_error *err);
void sr_rank_release(struct sr_rank *rank);

#ifdef __cplusplus
}
#endif
#endif
