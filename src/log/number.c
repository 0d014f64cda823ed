/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/number.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "log/short.h"

#define DIGITS_EXACT   19  /* decimal digits that always fit 64 bits */
#define LONGEST_NUMBER 400 /* characters of a number left to strtod() */

/* Powers of ten that a double holds exactly. */
static const double power_of_ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                      1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

static const uint64_t integer_power[] = {1U,
                                         10U,
                                         100U,
                                         1000U,
                                         10000U,
                                         100000U,
                                         1000000U,
                                         10000000U,
                                         100000000U,
                                         1000000000U,
                                         10000000000U,
                                         100000000000U,
                                         1000000000000U,
                                         10000000000000U,
                                         100000000000000U,
                                         1000000000000000U,
                                         10000000000000000U,
                                         100000000000000000U,
                                         1000000000000000000U,
                                         10000000000000000000U};

/* value = (-1)^negative * mantissa * 10^exponent, if `exact` */
struct decimal {
    const char *start; /* of the number, at its sign */
    const char *end;
    uint64_t mantissa;
    long exponent;
    bool negative;
    bool exact; /* no digit was left out of the mantissa */
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* An exponent part at p, if there is one; a lone `e` is left over and makes the field bad. */
static const char *scan_exponent(const char *p, const char *end, long *exponent)
{
    const char *q = p + 1;
    bool negative = false;
    long value = 0;

    if (p == end || (*p != 'e' && *p != 'E'))
        return p;
    if (q < end && (*q == '+' || *q == '-'))
        negative = *q++ == '-';
    if (q == end || !is_digit(*q))
        return p;
    for (; q < end && is_digit(*q); q++)
        if (value < 100000)
            value = value * 10 + (*q - '0');
    *exponent += negative ? -value : value;
    return q;
}

/* Digits from p on into d; returns where they end. Leading zeros cost no place. */
static const char *scan_digits(const char *p, const char *end, struct decimal *d, int *places, bool fraction)
{
    for (; p < end && is_digit(*p); p++) {
        if (*places < DIGITS_EXACT) {
            d->mantissa = d->mantissa * 10U + (uint64_t)(*p - '0');
            *places += d->mantissa != 0;
            d->exponent -= fraction;
        } else {
            d->exact = d->exact && *p == '0';
            d->exponent += !fraction;
        }
    }
    return p;
}

/* Digits from *p on behind those of `mantissa`; it may overflow, which the caller tells by their count. */
static inline uint64_t short_digits(const char **p, const char *end, uint64_t mantissa)
{
    const char *at = *p;

    if (end - at >= SR_WORD_BYTES) {
        const uint64_t word = sr_word_load(at) ^ SR_EACH_BYTE('0');
        if (sr_word_others(word) == 0) {
            mantissa = mantissa * 100000000U + sr_word_value(word);
            at += SR_WORD_BYTES;
        }
    }
    for (; at < end && is_digit(*at); at++)
        mantissa = mantissa * 10U + (uint64_t)(*at - '0');
    *p = at;
    return mantissa;
}

/* A number of at most 18 digits without exponent: (-1)^negative * mantissa / 10^places. */
struct brief {
    const char *end;
    uint64_t mantissa;
    unsigned places;
    bool negative;
};

/*
 * Nearly all numbers of a log are such: they are read here, without a look at the rest.
 * False: no number, or another one. Inlined so that a number stays in registers.
 */
__attribute__((always_inline)) static inline bool scan_brief(const char *p, const char *end, bool comma,
                                                             struct brief *brief)
{
    while (p < end && sr_is_blank(*p))
        p++;
    brief->negative = p < end && *p == '-';
    p += brief->negative;

    const char *digits = p;
    ptrdiff_t marks = 0;
    uint64_t mantissa = short_digits(&p, end, 0);
    brief->places = 0;
    if (p < end && (*p == '.' || (comma && *p == ','))) {
        const char *mark = p++;
        mantissa = short_digits(&p, end, mantissa);
        marks = 1;
        brief->places = (unsigned)(p - mark - 1);
    }
    brief->end = p;
    brief->mantissa = mantissa;
    const ptrdiff_t count = p - digits - marks;
    return count > 0 && count < DIGITS_EXACT && (p == end || (*p != 'e' && *p != 'E'));
}

static bool scan_decimal(const char *p, const char *end, bool comma, struct decimal *d)
{
    int places = 0;
    const char *digits;

    while (p < end && sr_is_blank(*p))
        p++;
    *d = (struct decimal){.start = p, .exact = true};
    if (p < end && (*p == '-' || *p == '+'))
        d->negative = *p++ == '-';
    digits = p;
    p = scan_digits(p, end, d, &places, false);
    if (p < end && (*p == '.' || (comma && *p == ','))) {
        p = scan_digits(p + 1, end, d, &places, true);
        if (p - digits == 1) /* a mark alone */
            return false;
    } else if (p == digits) {
        return false;
    }
    d->end = scan_exponent(p, end, &d->exponent);
    return true;
}

#ifdef __SIZEOF_INT128__
/*
 * mantissa / 10^places, correctly rounded, for a mantissa over 2^53: long division
 * of a numerator shifted to its top bit, so that the quotient has 64 bits or more
 * (and with places >= 1 fewer than 126).
 * Of what is cut off, only "exactly nothing" or "something" matters.
 */
static double divide_exactly(uint64_t mantissa, unsigned places)
{
    __extension__ typedef unsigned __int128 wide;
    int shift = 64;
    int drop = 10;

    while ((mantissa >> 63) == 0) {
        mantissa <<= 1;
        shift++;
    }
    const wide numerator = (wide)mantissa << 64;
    const wide quotient = numerator / integer_power[places];
    while ((quotient >> (drop + 54)) != 0)
        drop++;
    const wide lost = quotient & (((wide)1 << drop) - 1U);
    const bool some = lost != 0 || quotient * integer_power[places] != numerator;

    /* 54 bits: 53 and one to round by, half to even */
    uint64_t bits = (uint64_t)(quotient >> drop);
    const bool half = (bits & 1U) != 0;
    bits >>= 1;
    if (half && (some || (bits & 1U) != 0))
        bits++;
    return ldexp((double)bits, drop + 1 - shift);
}
#define HAVE_DIVIDE_EXACTLY 1
#else
#define HAVE_DIVIDE_EXACTLY 0
#endif

/* The long and the odd: a copy with a point for a mark, through strtod(). */
static bool convert_slowly(const struct decimal *d, double *value)
{
    char copy[LONGEST_NUMBER + 1];
    const size_t length = (size_t)(d->end - d->start);
    char *rest;

    if (length > LONGEST_NUMBER)
        return false;
    memcpy(copy, d->start, length);
    copy[length] = '\0';
    for (char *mark = copy; *mark != '\0'; mark++)
        if (*mark == ',')
            *mark = '.';
    *value = strtod(copy, &rest);
    return rest == copy + length && isfinite(*value);
}

static bool convert(const struct decimal *d, double *value)
{
    double magnitude;

    if (!d->exact || d->exponent < -22 || d->exponent > 22)
        return convert_slowly(d, value);
    if (d->mantissa <= (1ULL << 53)) /* Clinger 1990: both exact, one rounding */
        magnitude = d->exponent < 0 ? (double)d->mantissa / power_of_ten[-d->exponent]
                                    : (double)d->mantissa * power_of_ten[d->exponent];
    else if (d->exponent == 0)
        magnitude = (double)d->mantissa;
#if HAVE_DIVIDE_EXACTLY
    else if (d->exponent < 0 && d->exponent >= -DIGITS_EXACT)
        magnitude = divide_exactly(d->mantissa, (unsigned)-d->exponent);
#endif
    else
        return convert_slowly(d, value);
    *value = d->negative ? -magnitude : magnitude;
    return true;
}

const char *sr_number_scan(const char *text, const char *end, bool comma, double *value)
{
    struct brief brief;
    struct decimal d;

    if (scan_brief(text, end, comma, &brief) && brief.mantissa <= (1ULL << 53)) {
        const double magnitude = (double)(int64_t)brief.mantissa / power_of_ten[brief.places];
        *value = brief.negative ? -magnitude : magnitude; /* one rounding, as in convert() */
        return brief.end;
    }
    return scan_decimal(text, end, comma, &d) && convert(&d, value) ? d.end : NULL;
}

const char *sr_stamp_scan(const char *text, const char *end, bool comma, int64_t *whole, double *fraction)
{
    struct brief brief;
    struct decimal d;
    double value;

    if (scan_brief(text, end, comma, &brief) && brief.places == 0) {
        *whole = brief.negative ? -(int64_t)brief.mantissa : (int64_t)brief.mantissa;
        *fraction = 0.0;
        return brief.end;
    }
    if (!scan_decimal(text, end, comma, &d))
        return NULL;
    if (d.exact && d.exponent <= 0 && d.exponent >= -DIGITS_EXACT && d.mantissa <= INT64_MAX) {
        const uint64_t unit = integer_power[-d.exponent];
        const int64_t integer = (int64_t)(d.mantissa / unit);
        const double rest = (double)(d.mantissa % unit) / (double)unit;
        *whole = d.negative ? -integer : integer;
        *fraction = d.negative ? -rest : rest;
        return d.end;
    }
    if (!convert(&d, &value) || fabs(value) > 9.2e18)
        return NULL;
    *whole = (int64_t)value;
    *fraction = value - (double)*whole;
    return d.end;
}

bool sr_number_read(const char *text, const char *end, bool comma, double *value)
{
    const char *p = sr_number_scan(text, end, comma, value);

    if (p == NULL)
        return false;
    while (p < end && sr_is_blank(*p))
        p++;
    return p == end;
}
