/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room. */
#ifndef LEDGER_RANK_PRIVATE_H
#define LEDGER_RANK_PRIVATE_H

#include "statistics.h"
#include "stillrow/rank.h"

/* Names in the order of the alphabet; case of a to z, and blanks more or less, do not count. The same in
 * every locale: toupper() knows 256 characters at most, and other ones from country to country. */
int compare_names(const char *a, const char *b);

/* Numbers ascending, NAN (not given) last. */
int compare_numbers(double a, double b);

/* Fill in single and pair from the setups. */
enum sr_status rank_choices(struct sr_rank *rank, struct sr_error *err);

#define RANK_SHORE_MAX 101 /* hardnesses are whole degrees, 0..100 */

/* Mean levels [dB] of every hardness in every setup that counts; NAN where flights are too few. */
struct grid {
    double shore_a[RANK_SHORE_MAX]; /* ascending */
    size_t n_shore;
    double *level_db;  /* [n_setups][n_shore] */
    size_t *setup;     /* [n_setups] index into the ranking's */
    size_t *n_lacking; /* [n_setups] levels that are missing */
    size_t n_setups;
};

/*
 * Whether the first of n choices, all of one or all of two hardnesses, stays first whatever the grid's
 * missing levels turn out to be. best[n_setups]: lowest level of each setup. False for n of 0.
 */
bool rank_is_settled(const struct grid *grid, const double *best, const struct sr_rank_choice *choices,
                     size_t n);

#endif
