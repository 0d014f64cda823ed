/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Short numbers, eight characters at a time.
 *
 * Nearly all numbers of a log have a handful of digits. Digit by digit, the end of each is a
 * branch that no processor foresees; as one word of eight bytes, the first character in the
 * lowest, there is none. Whatever is not such a number is left to log/number.h.
 */
#ifndef SR_LOG_SHORT_H
#define SR_LOG_SHORT_H

#include <stddef.h>
#include <stdint.h>

#define SR_WORD_BYTES       8
#define SR_EACH_BYTE(value) (0x0101010101010101U * (uint64_t)(value))

/* Compilers make one load of it where that is the same: it holds for any order of bytes. */
static inline uint64_t sr_word_load(const char *text)
{
    const unsigned char *p = (const unsigned char *)text;

    return (uint64_t)p[0] | (uint64_t)p[1] << 8 | (uint64_t)p[2] << 16 | (uint64_t)p[3] << 24 |
           (uint64_t)p[4] << 32 | (uint64_t)p[5] << 40 | (uint64_t)p[6] << 48 | (uint64_t)p[7] << 56;
}

/* The top bit of each byte that is over 9, of characters less '0': exact, no byte carries into the next. */
static inline uint64_t sr_word_others(uint64_t word)
{
    return (((word & SR_EACH_BYTE(0x7F)) + SR_EACH_BYTE(0x76)) | word) & SR_EACH_BYTE(0x80);
}

/* The number that eight digits 0 to 9 make: pairs first, then two pairs at once (a known trick, from memory).
 */
static inline uint64_t sr_word_value(uint64_t digits)
{
    const uint64_t pairs = digits * 10U + (digits >> 8);
    const uint64_t mask = 0x000000FF000000FFU;
    const uint64_t first = (pairs & mask) * (100U + (1000000ULL << 32));
    const uint64_t second = ((pairs >> 16) & mask) * (1U + (10000ULL << 32));

    return (first + second) >> 32;
}

/*
 * The number at text, if it is an optional '-', digits and at most one point, without exponent or
 * blanks before it, and something within [text, end) and eight characters from its first digit on
 * ends it. Returns its end, with |*value| < 1e7, correctly rounded; NULL: it is none of these.
 */
static inline const char *sr_number_short(const char *text, const char *end, double *value)
{
    static const double sign[2] = {1.0, -1.0}; /* no branch: signs come at random */
    static const double power_of_ten[SR_WORD_BYTES] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7};
    const unsigned negative = text < end && *text == '-';

    text += negative;
    if (end - text < SR_WORD_BYTES)
        return NULL;
    uint64_t word = sr_word_load(text) ^ SR_EACH_BYTE('0');
    uint64_t others = sr_word_others(word);
    if (others == 0)
        return NULL;
    unsigned digits = (unsigned)__builtin_ctzll(others) / 8, places = 0;
    const char *stop = text + digits;
    if (*stop == '.') {
        const uint64_t before = ((uint64_t)1 << (8 * digits)) - 1U;
        others &= others - 1U; /* what ends it is the next */
        if (others == 0)
            return NULL;
        const unsigned size = (unsigned)__builtin_ctzll(others) / 8;
        word = (word & before) | ((word >> 8) & ~before);
        stop = text + size;
        places = size - 1 - digits;
        digits = size - 1;
    }
    if (digits == 0 || *stop == 'e' || *stop == 'E')
        return NULL;
    const uint64_t mantissa = sr_word_value(word << (8 * (SR_WORD_BYTES - digits))); /* zeros in front */
    *value = (double)(int64_t)mantissa / power_of_ten[places] * sign[negative];      /* one rounding */
    return stop;
}

#endif
