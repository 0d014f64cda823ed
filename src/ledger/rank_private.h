/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room. */
#ifndef LEDGER_RANK_PRIVATE_H
#define LEDGER_RANK_PRIVATE_H

#include "statistics.h"
#include "stillrow/rank.h"

/* Names in the order of the alphabet; case, and blanks more or less, do not count. */
int compare_names(const char *a, const char *b);

/* Numbers ascending, NAN (not given) last. */
int compare_numbers(double a, double b);

/* Fill in single and pair from the setups. */
enum sr_status rank_choices(struct sr_rank *rank, struct sr_error *err);

#endif
