/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What interpolated rows are worth. A cubic through the rows beside a hole follows a
 * slow motion and misses a fast one: where a share p of the rows comes from it, a line
 * keeps 1 - p (1 - H) of its amplitude, H being the cubic's gain at the line's frequency.
 */
#include <math.h>

#include "log/note.h"
#include "log/timebase.h"

#define HALF_TURN 3.14159265358979 /* [rad] */
#define LOSS      0.05             /* of a line's amplitude that may be missing */
#define STEPS     500              /* frequencies that are tried, up to half the rate */
#define WIDE      7 /* lengths of hole that are told apart: stamps that wander may make longer ones */

/* Mean gain at `angle` [rad a row] of the cubic through two rows on each side of m missing ones. */
static double gain_of(size_t m, double angle)
{
    const double node[4] = {-1.0, 0.0, (double)m + 1.0, (double)m + 2.0};
    double sum = 0.0;

    for (size_t at = 1; at <= m; at++)
        for (size_t j = 0; j < 4; j++) {
            double weight = 1.0;
            for (size_t k = 0; k < 4; k++)
                if (k != j)
                    weight *= ((double)at - node[k]) / (node[j] - node[k]);
            sum += weight * cos(angle * (node[j] - (double)at));
        }
    return sum / (double)m;
}

/* The frequency, in rates, up to which lines keep their amplitude but for LOSS. */
static double trusted_to(const double *share)
{
    for (size_t i = 1; i < STEPS; i++) {
        double loss = 0.0;
        for (size_t m = 1; m <= WIDE; m++)
            if (share[m] > 0.0)
                loss += share[m] * (1.0 - gain_of(m, HALF_TURN * (double)i / STEPS));
        if (loss > LOSS)
            return 0.5 * (double)(i - 1) / STEPS;
    }
    return 0.5;
}

bool sr_bridge_note(struct sr_log *log, const struct sr_store *store)
{
    double share[WIDE + 1] = {0}; /* of all slots, by the length of the hole they are in */
    size_t missing = 0;
    size_t slots = 0;

    for (size_t r = 0; r < log->n_runs && store->skipped != NULL; r++)
        for (size_t i = log->runs[r].first; i < log->runs[r].first + log->runs[r].count; i++) {
            const size_t hole = i > log->runs[r].first ? store->skipped[i] : 0;
            share[hole < WIDE ? hole : WIDE] += (double)hole;
            missing += hole;
            slots += 1 + hole;
        }
    if (missing == 0)
        return true;
    for (size_t m = 1; m <= WIDE; m++)
        share[m] /= (double)slots;
    const double percent = 100.0 * (double)missing / (double)slots;
    const double trusted_hz = trusted_to(share) * log->rate_hz;
    const bool whole = trusted_hz >= 0.5 * log->rate_hz;
    if (!whole)
        log->quality.bridged_hz = trusted_hz;
    if (missing == 1)
        return sr_log_note(log, "1 row is missing and is interpolated (cubic spline)");
    if (whole)
        return sr_log_note(
            log,
            "%zu rows (%.2g %%), a few here and there, are missing and are interpolated (cubic "
            "spline)",
            missing, percent);
    return sr_log_note(
        log,
        "%zu rows (%.2g %%) are missing here and there and are interpolated: above %.3g Hz that "
        "weakens what shakes, and the log is not trusted there",
        missing, percent, trusted_hz);
}
