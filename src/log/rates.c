/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "log/names.h"
#include "log/note.h"
#include "log/quality.h"

/*
 * When no unit is written, deg/s is taken unless the numbers are too small for it:
 * a flight without one moment over 12 deg/s does not exist, while 12 rad/s (690
 * deg/s) is an acrobatic flip. A value grid of 0.004 or more is a gyro's count in
 * deg/s; in rad/s the common ranges count in 0.0001 to 0.0012.
 */
#define RAD_PEAK    12.0
#define DEG_QUANTUM 0.004

struct spread {
    double peak;  /* most distance from the mean, any axis */
    double least; /* least change between neighbours that is not zero */
    bool whole;   /* all values are whole numbers */
};

static struct spread measure(const struct sr_store *store)
{
    struct spread spread = {.least = INFINITY, .whole = true};

    for (size_t axis = 0; axis < 3; axis++) {
        const double *x = store->rate[axis];
        double mean = 0.0;
        for (size_t i = 0; i < store->count; i++)
            mean += x[i];
        mean /= (double)store->count;
        for (size_t i = 0; i < store->count; i++) {
            spread.peak = fmax(spread.peak, fabs(x[i] - mean));
            spread.whole = spread.whole && x[i] == floor(x[i]);
            const double change = i > 0 ? fabs(x[i] - x[i - 1]) : 0.0;
            if (change > 1e-12 && change < spread.least)
                spread.least = change;
        }
    }
    return spread;
}

static const char *likely_unit(const struct spread *spread)
{
    return spread->peak < RAD_PEAK && spread->least < DEG_QUANTUM ? "rad/s" : "deg/s";
}

static bool note_unit(struct sr_log *log, const struct spread *spread, const char *unit)
{
    if (strcmp(log->columns.rate[0].unit, "counts") == 0)
        return sr_log_note(
            log, "the rates are raw counts: read as deg/s, so amplitudes are off by the sensor's scale");
    if (!log->columns.rate[0].assumed_unit)
        return true;
    return sr_log_note(log, "no unit is written for the rates: taken as %s, peak %.4g %s%s (--rate-unit)",
                       unit, spread->peak, unit,
                       spread->whole ? "; they are whole numbers, so see that they are no raw counts" : "");
}

enum sr_status sr_rates_scale(struct sr_log *log, struct sr_store *store, const char *asked,
                              struct sr_error *err)
{
    struct sr_column_use *rate = log->columns.rate;
    const char *written = "";
    struct spread spread = {0};

    for (size_t axis = 3; axis-- > 0;)
        if (sr_unit_dps(rate[axis].unit) > 0.0)
            written = rate[axis].unit;
    if (asked == NULL && written[0] == '\0')
        spread = measure(store);
    const char *unit = asked != NULL ? asked : written[0] != '\0' ? written : likely_unit(&spread);
    char common[sizeof rate->unit];
    snprintf(common, sizeof common, "%s", unit);
    for (size_t axis = 0; axis < 3; axis++) {
        rate[axis].assumed_unit = asked == NULL && written[0] == '\0';
        if (asked != NULL || sr_unit_dps(rate[axis].unit) <= 0.0)
            snprintf(rate[axis].unit, sizeof rate[axis].unit, "%s", common);
        const double scale = sr_unit_dps(rate[axis].unit);
        for (size_t i = 0; scale != 1.0 && i < store->count; i++)
            store->rate[axis][i] *= scale;
    }
    return note_unit(log, &spread, common) ? SR_OK
                                           : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}

void sr_log_fingerprint(struct sr_log *log, const struct sr_store *store)
{
    const uint64_t prime = 1099511628211U; /* Fowler, Noll, Vo: FNV-1a, 64 bit, a word at a time */
    uint64_t hash = 14695981039346656037U;

    for (size_t i = 0; i < store->count; i++) {
        const double ns = round((store->time_s[i] - store->time_s[0]) * 1e9);
        uint64_t word[4] = {(uint64_t)(int64_t)ns, 0, 0, 0};
        for (size_t axis = 0; axis < 3; axis++)
            memcpy(&word[axis + 1], &store->rate[axis][i], sizeof word[0]);
        for (size_t w = 0; w < 4; w++) {
            hash = (hash ^ word[w]) * prime;
            hash ^= hash >> 32; /* a word's high bits must reach the low ones too */
        }
    }
    log->fingerprint = hash;
}
