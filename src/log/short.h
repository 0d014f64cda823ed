/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Short numbers, eight characters at a time.
 *
 * Nearly all numbers of a log have a handful of digits. Digit by digit, the end of each is a
 * branch that no processor foresees; as one word of eight bytes, the first character in the
 * lowest and the last in the highest, there is none. Whatever is not such a number is left to log/number.h.
 */
#ifndef SR_LOG_SHORT_H
#define SR_LOG_SHORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#ifdef __SSE2__
#include <emmintrin.h>
#endif

#define SR_WORD_BYTES       8
#define SR_EACH_BYTE(value) (0x0101010101010101U * (uint64_t)(value))

/* Eight characters, the first in the lowest byte. */
static inline uint64_t sr_word_load(const char *text)
{
    uint64_t word;

    memcpy(&word, text, sizeof word);
#if __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
    word = __builtin_bswap64(word);
#endif
    return word;
}

/* The top bit of each byte that is over that of `most` (at most 0x7F): exact, no byte carries into the next.
 */
static inline uint64_t sr_word_over(uint64_t word, uint64_t most)
{
    return (((word & SR_EACH_BYTE(0x7F)) + (SR_EACH_BYTE(0x7F) - most)) | word) & SR_EACH_BYTE(0x80);
}

/* The same for characters less '0': what is no digit. */
static inline uint64_t sr_word_others(uint64_t word)
{
    return sr_word_over(word, SR_EACH_BYTE(9));
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

/* The shape of the numbers of a column, which mostly all have as many decimals. */
struct sr_shape {
    uint64_t zero;   /* eight characters that end a field and are worth nothing: '0', and the point */
    uint64_t most;   /* what each may differ from it by: 9, and nothing at the point */
    uint64_t before; /* bytes before the point */
    size_t least;    /* [characters] of a number: at least the point and what follows, ... */
    size_t more;     /* ... and so many more */
    double unit;     /* of the last digit: 10^decimals */
};

/* decimals: 0 (no point) to 7 */
static inline struct sr_shape sr_shape_of(unsigned decimals)
{
    static const double power_of_ten[SR_WORD_BYTES] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7};
    const unsigned point = 8U * (SR_WORD_BYTES - 1U - decimals); /* [bits] */

    if (decimals == 0)
        return (struct sr_shape){.zero = SR_EACH_BYTE('0'),
                                 .most = SR_EACH_BYTE(9),
                                 .least = 1,
                                 .more = SR_WORD_BYTES - 1,
                                 .unit = 1.0};
    return (struct sr_shape){.zero = SR_EACH_BYTE('0') ^ (uint64_t)('.' ^ '0') << point,
                             .most = SR_EACH_BYTE(9) ^ (uint64_t)9 << point,
                             .before = ((uint64_t)1 << point) - 1U,
                             .least = decimals + 1U,
                             .more = SR_WORD_BYTES - 1U - decimals,
                             .unit = power_of_ten[decimals]};
}

/*
 * The number of this shape that is all of [start, end): an optional '-' and up to eight characters,
 * digits and the point. The eight bytes before `end` must be readable, also where the field is
 * shorter, and the one at `start`. True: *value, correctly rounded; false: it is none.
 */
static inline bool sr_number_short(const char *start, const char *end, const struct sr_shape *shape,
                                   double *value)
{
    static const double sign[2] = {1.0, -1.0}; /* no branch: signs come at random */
    const unsigned negative = *start == '-';
    const size_t size = (size_t)(end - start) - negative;

    if (size - shape->least > shape->more)
        return false;
    const unsigned others =
        8U * (SR_WORD_BYTES - (unsigned)size); /* [bits] that are not the field's: zeros */
    uint64_t word = (sr_word_load(end - SR_WORD_BYTES) ^ shape->zero) >> others << others;
    if (sr_word_over(word, shape->most) != 0)
        return false;
    word = (word & ~shape->before) + ((word & shape->before) << 8);               /* the point is closed up */
    *value = (double)(int64_t)sr_word_value(word) / shape->unit * sign[negative]; /* one rounding */
    return true;
}

#define SR_NUMBERS_BATCH 4 /* fields at once */

/* A column that short numbers stand in. */
struct sr_column {
    size_t number;
    struct sr_shape shape; /* of its last number */
};

/*
 * The numbers in SR_NUMBERS_BATCH columns of a line, which was cut as in log/cuts.h, each as by
 * sr_number_short(). False: one of them is none, and value[] is void. With what any processor has.
 */
static inline bool sr_numbers_short_words(const char *line, const int32_t *cut,
                                          const struct sr_column *const *column, double *value)
{
    for (unsigned i = 0; i < SR_NUMBERS_BATCH; i++) {
        const int32_t *field = cut + column[i]->number;
        if (!sr_number_short(line + field[0] + 1, line + field[1], &column[i]->shape, &value[i]))
            return false;
    }
    return true;
}

#ifdef __SSE2__

#define SR_LAST_BYTES(n) (~(uint64_t)0 << 8 * (SR_WORD_BYTES - (n)))

/* What is wrong with any of the fields. */
struct sr_misfit {
    __m128i over;  /* not zero: a character that should be a digit, or the point, is another */
    size_t length; /* not zero: too short or too long */
};

static inline __m128i sr_word_part(const void *word)
{
    return _mm_loadl_epi64((const __m128i *)word);
}

/* The eight digits of a field, in the low half; *sign: 1 or -1. */
static inline __m128i sr_field_digits(const char *line, const int32_t *cut, const struct sr_column *column,
                                      const double **sign, struct sr_misfit *misfit)
{
    static const uint64_t field_bytes[16] = {/* of so many characters */
                                             0,
                                             SR_LAST_BYTES(1),
                                             SR_LAST_BYTES(2),
                                             SR_LAST_BYTES(3),
                                             SR_LAST_BYTES(4),
                                             SR_LAST_BYTES(5),
                                             SR_LAST_BYTES(6),
                                             SR_LAST_BYTES(7),
                                             SR_LAST_BYTES(8)};
    static const double signs[2] = {1.0, -1.0};
    const struct sr_shape *shape = &column->shape;
    const ptrdiff_t before = cut[column->number], end = cut[column->number + 1];
    const unsigned negative = line[before + 1] == '-';
    const size_t size = (size_t)(end - before - 1) - negative;
    const __m128i whole = sr_word_part(&shape->before);

    misfit->length |= size - shape->least > shape->more;
    *sign = &signs[negative];
    const __m128i word =
        _mm_and_si128(_mm_xor_si128(sr_word_part(line + end - SR_WORD_BYTES), sr_word_part(&shape->zero)),
                      sr_word_part(&field_bytes[size & 15U]));
    misfit->over = _mm_or_si128(misfit->over, _mm_subs_epu8(word, sr_word_part(&shape->most)));
    return _mm_or_si128(_mm_andnot_si128(whole, word), _mm_slli_epi64(_mm_and_si128(whole, word), 8));
}

/* Two numbers of up to four digits of each of two fields. */
static inline __m128i sr_field_halves(__m128i first, __m128i second)
{
    const __m128i zero = _mm_setzero_si128();
    const __m128i tens = _mm_set_epi16(1, 10, 1, 10, 1, 10, 1, 10);
    const __m128i hundreds = _mm_set_epi16(1, 100, 1, 100, 1, 100, 1, 100);

    return _mm_madd_epi16(_mm_packs_epi32(_mm_madd_epi16(_mm_unpacklo_epi8(first, zero), tens),
                                          _mm_madd_epi16(_mm_unpacklo_epi8(second, zero), tens)),
                          hundreds);
}

static inline __m128d sr_two(const double *first, const double *second)
{
    return _mm_loadh_pd(_mm_load_sd(first), second);
}

/* Two whole numbers with their units and signs. */
static inline void sr_fields_store(__m128i whole, const struct sr_column *const *column,
                                   const double *const *sign, double *value)
{
    const __m128d unit = sr_two(&column[0]->shape.unit, &column[1]->shape.unit);

    _mm_storeu_pd(value, _mm_mul_pd(_mm_div_pd(_mm_cvtepi32_pd(whole), unit), sr_two(sign[0], sign[1])));
}

/* The same, side by side. */
static inline bool sr_numbers_short(const char *line, const int32_t *cut,
                                    const struct sr_column *const *column, double *value)
{
    const __m128i thousands = _mm_set_epi16(1, 10000, 1, 10000, 1, 10000, 1, 10000);
    struct sr_misfit misfit = {.over = _mm_setzero_si128()};
    const double *sign[SR_NUMBERS_BATCH];

    const __m128i a = sr_field_digits(line, cut, column[0], &sign[0], &misfit);
    const __m128i b = sr_field_digits(line, cut, column[1], &sign[1], &misfit);
    const __m128i c = sr_field_digits(line, cut, column[2], &sign[2], &misfit);
    const __m128i d = sr_field_digits(line, cut, column[3], &sign[3], &misfit);
    const __m128i four =
        _mm_madd_epi16(_mm_packs_epi32(sr_field_halves(a, b), sr_field_halves(c, d)), thousands);
    sr_fields_store(four, column, sign, value);
    sr_fields_store(_mm_unpackhi_epi64(four, four), column + 2, sign + 2, value + 2);
    return misfit.length == 0 &&
           (_mm_movemask_epi8(_mm_cmpeq_epi8(misfit.over, _mm_setzero_si128())) & 0xFF) == 0xFF;
}

#else

static inline bool sr_numbers_short(const char *line, const int32_t *cut,
                                    const struct sr_column *const *column, double *value)
{
    return sr_numbers_short_words(line, cut, column, value);
}

#endif

/* How many decimals the field has, for its like: 0 to 7, and 0 where it is no such number. */
static inline unsigned sr_decimals_of(const char *start, const char *end)
{
    const char *point = memchr(start, '.', (size_t)(end - start));
    const size_t decimals = point != NULL ? (size_t)(end - point) - 1 : 0;

    return decimals < SR_WORD_BYTES ? (unsigned)decimals : 0;
}

/*
 * The whole number that is all of [start, end), an optional '-' and one to sixteen digits, of which the
 * eight or (where there are more) sixteen bytes before `end` must be readable, and the one at `start`.
 * False: it is none.
 */
static inline bool sr_whole_short(const char *start, const char *end, int64_t *value)
{
    const unsigned negative = *start == '-';
    const size_t size = (size_t)(end - start) - negative;
    uint64_t front = 0;

    if (size - 1U >= 2 * SR_WORD_BYTES)
        return false;
    uint64_t word = sr_word_load(end - SR_WORD_BYTES) ^ SR_EACH_BYTE('0');
    if (size > SR_WORD_BYTES) {
        const unsigned before = 8U * (2 * SR_WORD_BYTES - (unsigned)size);
        front = (sr_word_load(end - 2 * SR_WORD_BYTES) ^ SR_EACH_BYTE('0')) >> before << before;
    } else {
        const unsigned before = 8U * (SR_WORD_BYTES - (unsigned)size);
        word = word >> before << before;
    }
    if ((sr_word_others(front) | sr_word_others(word)) != 0)
        return false;
    const int64_t magnitude = (int64_t)(sr_word_value(front) * 100000000U + sr_word_value(word));
    *value = negative ? -magnitude : magnitude;
    return true;
}

#endif
