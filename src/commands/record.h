/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Writing scored flights into a ledger: what score, explain and ledger add share. */
#ifndef COMMANDS_RECORD_H
#define COMMANDS_RECORD_H

#include "commands/flight.h"
#include "stillrow/ledger.h"

struct record_args {
    const char *ledger; /* NULL: flights are not recorded */
    const char *date, *rating, *note;
    double temperature_c; /* NAN: as the rig says */
    char today[16];       /* where the date is "today" */
    bool operand;         /* the ledger is not an option's value but the first operand */
    bool alone;           /* no report beside it says what was assumed */
    bool rig_told;        /* a flight before it had the same rig: in text, what that is is not said again */
};

void record_args_init(struct record_args *args);

/* --ledger and what is written beside the score; the second without --ledger, where that is an operand. */
extern const struct option_group record_group, record_beside_group;

/* Whether they make sense together; false: said on stderr. */
bool record_check(struct record_args *args);

/*
 * Whether the ledger, if there is one, can be one: a log in its place, or a folder that is missing, is told
 * before anything is scored or locked. false: said on stderr.
 */
bool record_ready(const struct record_args *args);

/*
 * Add the flight to the ledger, if there is one, and say so on stdout: text, or one line of JSON; nothing if
 * quiet. The trend of its build is told, too. err->file is set on every failure.
 */
enum sr_status record_flight(const struct record_args *args, const struct flight *flight,
                             const struct flight_plan *plan, const struct output_args *output, bool quiet,
                             struct sr_error *err);

#endif
