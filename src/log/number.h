/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Numbers as logs write them: exact, whole field or nothing, no locale.
 *
 * A number is an optional sign, digits with at most one decimal mark, and an
 * optional exponent; blanks (space, tab, CR) around it are ignored. Infinities,
 * NaN, hexadecimal and anything left over make it "not a number". Values are
 * correctly rounded. Call with the C locale in force (see uselocale()): the rare
 * long number is left to strtod().
 */
#ifndef SR_LOG_NUMBER_H
#define SR_LOG_NUMBER_H

#include <stdbool.h>
#include <stdint.h>

/*
 * Read the number at the front of [text, end), blanks before it skipped.
 * comma: a comma is a decimal mark too. Returns where it ended (blanks after it
 * not skipped), or NULL if there is no finite number.
 */
const char *sr_number_scan(const char *text, const char *end, bool comma, double *value);

/*
 * The same for a time stamp, as whole + fraction (same sign), so that the
 * difference of two 19-digit stamps is exact.
 */
const char *sr_stamp_scan(const char *text, const char *end, bool comma, int64_t *whole, double *fraction);

/* Such a stamp less another; any two, however far apart. */
static inline double sr_stamp_difference(int64_t whole, double fraction, int64_t from_whole,
                                         double from_fraction)
{
    /* As integers, to keep the last digits of long stamps; unsigned, as the ends of the range are further
     * apart than it is long. */
    const double ahead = whole >= from_whole ? (double)((uint64_t)whole - (uint64_t)from_whole)
                                             : -(double)((uint64_t)from_whole - (uint64_t)whole);

    return ahead + (fraction - from_fraction);
}

/* The whole of [text, end) is one number. */
bool sr_number_read(const char *text, const char *end, bool comma, double *value);

/* A blank within a line: space, tab, CR. Asked for every field, so here. */
static inline bool sr_is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

#endif
