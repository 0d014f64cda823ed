/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What one column's name says: its words, its unit, and the part it may play.
 *
 * A name is split into lower-case words at case changes, digits and punctuation;
 * a unit is the bracketed or trailing word. The rule is about words of the field
 * (gyro, omega, rate, throttle…), never about a recorder's own format.
 */
#ifndef SR_LOG_NAMES_H
#define SR_LOG_NAMES_H

#include <stdbool.h>
#include <stddef.h>

#define SR_NAME_WORDS 16
#define SR_WORD_MAX   24
#define SR_KEY_MAX    96

#define SR_DEG_PER_RAD 57.29577951308232 /* 180 / pi */

#define SR_COLUMNS_MAX 4096 /* columns of a row that are looked at, and may be asked for by number */

enum sr_role {
    SR_ROLE_NONE = 0,
    SR_ROLE_TIME,
    SR_ROLE_RATE,
    SR_ROLE_THROTTLE,
    SR_ROLE_SPEED,  /* motor speed */
    SR_ROLE_OUTPUT, /* what a motor is told */
    SR_ROLE_ACCEL
};

/* How an axis is written; columns of one set write it alike. */
enum sr_axis_style { SR_AXIS_NONE = 0, SR_AXIS_XYZ, SR_AXIS_ROLL, SR_AXIS_PQR, SR_AXIS_INDEX };

struct sr_name {
    char text[SR_KEY_MAX]; /* as written, blanks and a leading # dropped, cut if too long */
    char words[SR_NAME_WORDS][SR_WORD_MAX];
    size_t n_words;
    char unit[16]; /* "ns" "us" "ms" "s" "deg/s" "mdeg/s" "rad/s" "deg" "rad" "%" "rpm" "hz" "g" "m/s2"
                      "counts", "" */
    enum sr_role role;
    enum sr_axis_style style;
    int index;            /* 0..2 for letters and words; the number written for SR_AXIS_INDEX; -1: none */
    int rank;             /* among columns of its role: higher is likelier */
    int marker;           /* 2: marked raw or unfiltered, 1: not marked, 0: marked filtered */
    bool electrical;      /* a motor speed in electrical turns */
    char key[SR_KEY_MAX]; /* the words without the axis: alike for the columns of one set */
};

/* Understand the name text[size]. */
void sr_name_read(const char *text, size_t size, struct sr_name *name);

/* The unit text[size] stands for, in the spelling of struct sr_name, or "". */
const char *sr_unit_find(const char *text, size_t size);

/* A unit of time as written above to seconds, 0 if it is none; of rate to deg/s. */
double sr_unit_seconds(const char *unit);
double sr_unit_dps(const char *unit);

#endif
