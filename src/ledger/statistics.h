/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: small statistics on levels. */
#ifndef LEDGER_STATISTICS_H
#define LEDGER_STATISTICS_H

#include <stddef.h>

#include "stillrow/wobble.h"

/* Count, mean and sum of squared deviations, taken up one by one (Welford 1962). */
struct moments {
    size_t count;
    double mean, squares;
};
void moments_add(struct moments *m, double value);
/* Standard deviation with count - 1; NAN below 2. */
double moments_sd(const struct moments *m);

/* Mean with its interval at `level` by Student's t; ends NAN below 2 values. */
struct sr_interval mean_interval(const struct moments *m, double level);

/* Two-sided p-value of equal means (Welch 1947, Satterthwaite 1946), 2 values or more each. Where neither
 * scatters: 0, and 1 for equal means. */
double welch_p(const struct moments *a, const struct moments *b);

/* Share k / n with its exact interval (Clopper and Pearson 1934); NAN for n = 0. */
struct sr_interval share_interval(size_t k, size_t n, double level);

#endif
