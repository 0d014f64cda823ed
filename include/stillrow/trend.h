/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a build's wobble has grown over its last flights. Belongs to the ledger room.
 */
#ifndef STILLROW_TREND_H
#define STILLROW_TREND_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/ledger.h"
#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_TREND_FLIGHTS_MIN 5
#define SR_TREND_FLIGHTS_MAX 10
#define SR_TREND_REACH_C     5.0 /* [K] flights this much warmer or colder do not count */
#define SR_TREND_DB_MIN      1.0 /* [dB] over all flights; less is not worth a look */
#define SR_TREND_TEXT        480

struct sr_trend {
    size_t flights;  /* looked at: the last up to SR_TREND_FLIGHTS_MAX */
    bool by_date;    /* in the order of their dates; false: some have none, so as they stand in the ledger */
    double slope_db; /* [dB a flight] median of the slopes between any two (Sen 1968); NAN: too few flights */
    double growth_db;    /* [dB] slope times flights - 1 */
    double p_value;      /* of a rise as steady as this by chance: Mann 1945, exact; NAN: too few flights */
    bool grown;          /* p_value <= 0.05, and growth_db >= SR_TREND_DB_MIN */
    double from_c, to_c; /* [deg C] temperatures of these flights, NAN: none given */
    char text[SR_TREND_TEXT]; /* "" unless grown: what it may be, and what to look at */
};

/*
 * Look at the flights that are like `like`: build, motor, prop, hardness, camera, picture width and mount_in
 * (where both say it), and a temperature within SR_TREND_REACH_C of its own, if it has one; those without a
 * wobble, or `unproven`, are left out. A row without a build is like no other. Flights in any order alarm
 * falsely in at most 1 of 20 looks, whatever their scatter. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_trend_find(struct sr_trend *trend, const struct sr_ledger *ledger,
                             const struct sr_ledger_row *like, struct sr_error *err);

/*
 * Probability that n values in random order have Kendall's S (pairs that rise minus pairs that fall) of s or
 * more, no ties. n 2..20.
 */
double sr_kendall_p(size_t n, long s);

#ifdef __cplusplus
}
#endif
#endif
