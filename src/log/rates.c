/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "log/guess.h"
#include "log/names.h"
#include "log/note.h"
#include "log/quality.h"

/* An axis that stands still from the first row to the last was not logged: no gyro is so quiet. */
static enum sr_status check_alive(const struct sr_log *log, const struct sr_store *store,
                                  struct sr_error *err)
{
    const struct sr_column_use *dead = NULL;
    size_t n = 0;

    for (size_t axis = 3; axis-- > 0;) {
        const double *x = store->rate[axis];
        size_t i = 1;
        while (i < store->count && x[i] == x[0])
            i++;
        if (i == store->count) {
            dead = &log->columns.rate[axis];
            n++;
        }
    }
    if (n == 3)
        return sr_fail(err, SR_ERR_FORMAT, log->name, 0, "the rates never change: the gyro was not logged");
    if (n > 0)
        return sr_fail(err, SR_ERR_FORMAT, log->name, 0,
                       "the rate in column %d%s%s%s never changes: that axis was not logged, and what shakes "
                       "about it cannot be seen",
                       dead->index + 1, dead->name[0] != '\0' ? " '" : "", dead->name,
                       dead->name[0] != '\0' ? "'" : "");
    return SR_OK;
}

static bool note_unit(struct sr_log *log, const struct sr_guess *guess, const char *unit)
{
    if (strcmp(log->columns.rate[0].unit, "counts") == 0)
        return sr_log_note(
            log, "the rates are raw counts: read as deg/s, so amplitudes are off by the sensor's scale");
    if (!log->columns.rate[0].assumed_unit)
        return true;
    return sr_log_note(log, "no unit is written for the rates: taken as %s, peak %.4g %s%s (--rate-unit)",
                       unit, guess->peak, unit,
                       guess->whole ? "; they are whole numbers, so see that they are no raw counts" : "");
}

/* The unit that the values and names speak for. */
static enum sr_status likely_unit(const struct sr_log *log, const struct sr_store *store,
                                  struct sr_guess *guess, const char **unit, struct sr_error *err)
{
    const enum sr_status status = sr_guess_rate_unit(guess, store, log, err);

    if (status != SR_OK)
        return status;
    if (fabs(guess->odds) < SR_GUESS_CLEAR)
        return sr_fail(err, SR_ERR_COLUMNS, log->name, log->columns.header_line,
                       "the unit of the rates is not written and cannot be told from the values: give "
                       "--rate-unit deg/s or rad/s");
    *unit = guess->odds > 0.0 ? "deg/s" : "rad/s";
    return SR_OK;
}

enum sr_status sr_rates_scale(struct sr_log *log, struct sr_store *store, const char *asked,
                              struct sr_error *err)
{
    struct sr_column_use *rate = log->columns.rate;
    const char *written = "";
    struct sr_guess guess = {0};
    enum sr_status status = check_alive(log, store, err);

    for (size_t axis = 3; axis-- > 0;)
        if (sr_unit_dps(rate[axis].unit) > 0.0)
            written = rate[axis].unit;
    const char *unit = asked != NULL ? asked : written;
    if (status == SR_OK && unit[0] == '\0')
        status = likely_unit(log, store, &guess, &unit, err);
    if (status != SR_OK)
        return status;
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
    return note_unit(log, &guess, common) ? SR_OK
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
