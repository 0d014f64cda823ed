/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The number reader against the C library's strtod(), which is correctly rounded (glibc manual, "Parsing of
 * Floats"). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "log/number.h"
#include "log/short.h"
#include "sim/flight.h"

static bool same_bits(double a, double b)
{
    return memcmp(&a, &b, sizeof a) == 0;
}

static void check(const char *text)
{
    double value = NAN;
    const double truth = strtod(text, NULL);

    if (!sr_number_read(text, text + strlen(text), false, &value) || !same_bits(value, truth))
        fail_msg("'%s' read as %.17g, not %.17g", text, value, truth);
}

static void chosen(void **state)
{
    static const char *const texts[] = {"0",
                                        "-0",
                                        "+0.0",
                                        "-0.0",
                                        "1",
                                        "-1",
                                        "00012",
                                        "1.",
                                        ".5",
                                        "-.5",
                                        "1e3",
                                        "1E-3",
                                        "1e+3",
                                        "123456789012345678",
                                        "9007199254740993",
                                        "9007199254740992.5",
                                        "9007199254740993.0",
                                        "18446744073709551615",
                                        "0.1",
                                        "0.3",
                                        "2.5e-3",
                                        "-0.0020943951023931952",
                                        "0.017453292519943295",
                                        "9.0874956666666655",
                                        "1403715273262142976",
                                        "123456789012345678901234567890",
                                        "0.000000000000000000000000000001",
                                        "1e22",
                                        "1e23",
                                        "1e-22",
                                        "1e-23",
                                        "4.9e-324",
                                        "2.2250738585072014e-308",
                                        "1.7976931348623157e308",
                                        "0.500000000000000166533453693773481063544750213623046875",
                                        "3.0000000000000000000000000000000000000001",
                                        "1000000000000000000000000.0",
                                        "0e5",
                                        "0e400",
                                        "0.1e1",
                                        "179769313486231570000e288",
                                        "9223372036854775807",
                                        "9223372036854775808",
                                        "0.00000000000000000001234567890123456789"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        check(texts[i]);
}

/* Half way between two doubles, and a hair to either side: where rounding goes wrong first. */
static void ties(void **state)
{
    uint64_t seed = 7;
    (void)state;
    for (int i = 0; i < 20000; i++) {
        char text[80];
        const uint64_t odd =
            ((uint64_t)(sim_uniform(&seed) * 9007199254740992.0) | (1ULL << 52)) * 2 + 1; /* 54 bits */
        const int places = (int)(sim_uniform(&seed) * 3.0);
        static const char *const tails[] = {"", ".0", ".5", ".000001", ".25"};
        snprintf(text, sizeof text, "%llu%s", (unsigned long long)odd,
                 tails[(int)(sim_uniform(&seed) * 5.0)]);
        if (places > 0) /* the same digits with a point further in */
            snprintf(text, sizeof text, "%llu.%llu", (unsigned long long)(odd / 100000U),
                     (unsigned long long)(odd % 100000U));
        check(text);
    }
}

static void drawn(void **state)
{
    uint64_t seed = 11;
    (void)state;
    for (int i = 0; i < 300000; i++) {
        char text[80];
        size_t n = 0;
        const int digits = 1 + (int)(sim_uniform(&seed) * 20.0);
        const int point = (int)(sim_uniform(&seed) * (digits + 1));
        if (sim_uniform(&seed) < 0.5)
            text[n++] = '-';
        for (int d = 0; d < digits; d++) {
            if (d == point)
                text[n++] = '.';
            text[n++] = (char)('0' + (int)(sim_uniform(&seed) * 10.0));
        }
        text[n] = '\0';
        if (sim_uniform(&seed) < 0.2)
            snprintf(text + n, sizeof text - n, "e%d", (int)(sim_uniform(&seed) * 80.0) - 40);
        check(text);
    }
}

static void refused(void **state)
{
    static const char *const texts[] = {
        "",     " ",     "-",   "+",   ".",     "-.",    "e5",       "1e",    "1e+",     "1x",
        "x1",   "1 2",   "1,5", "nan", "inf",   "-inf",  "infinity", "0x10",  "1e400",   "-1e999",
        "1..2", "1.2.3", "--1", "+-1", "1e5.0", "12:30", "NULL",     "1_000", "\xC2\xB5"};
    double value = 42.0;
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (sr_number_read(texts[i], texts[i] + strlen(texts[i]), false, &value))
            fail_msg("'%s' was taken for %g", texts[i], value);
    char *longest = malloc(1001);
    assert_non_null(longest);
    memset(longest, '1', 1000);
    longest[1000] = '\0';
    assert_false(sr_number_read(longest, longest + 1000, false, &value));
    free(longest);
}

static void commas_and_blanks(void **state)
{
    double value;
    (void)state;
    static const char plain[] = "1,5";
    assert_true(sr_number_read(plain, plain + 3, true, &value) && value == 1.5);
    static const char odd[] = " \t-2,25e1\r ";
    assert_true(sr_number_read(odd, odd + sizeof odd - 1, true, &value) && value == -22.5);
    static const char both[] = "1.234,5";
    assert_false(sr_number_read(both, both + sizeof both - 1, true, &value));
    static const char lengthy[] = "0,1234567890123456789012345";
    assert_true(sr_number_read(lengthy, lengthy + sizeof lengthy - 1, true, &value));
    assert_true(same_bits(value, 0.1234567890123456789012345));
}

/* Stamps: the difference of two is exact to the last digit written. */
static void stamps(void **state)
{
    static const struct {
        const char *text;
        int64_t whole;
        double fraction;
    } cases[] = {{"1403715273262142976", 1403715273262142976, 0.0},
                 {"-1403715273262142976", -1403715273262142976, 0.0},
                 {"9223372036854775807", INT64_MAX, 0.0},
                 {"1403715273.262142976", 1403715273, 0.262142976},
                 {"-12.75", -12, -0.75},
                 {"0.000125", 0, 0.000125},
                 {"1e3", 1000, 0.0},
                 {"2.5e-1", 0, 0.25}};
    int64_t whole;
    double fraction;
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *end = cases[i].text + strlen(cases[i].text);
        assert_true(sr_stamp_scan(cases[i].text, end, false, &whole, &fraction) == end);
        assert_true(whole == cases[i].whole);
        assert_true(fraction == cases[i].fraction);
    }
    static const char huge[] = "99999999999999999999999";
    assert_null(sr_stamp_scan(huge, huge + sizeof huge - 1, false, &whole, &fraction));
}

/*
 * Eight characters at a time, on every text of up to eight of these characters that could
 * mislead it, in a field that something ends: strtod()'s value and end, or NULL where it is
 * said to give up.
 */
static void check_short(const char *text, size_t size, size_t behind)
{
    char *copy = malloc(size + behind > 0 ? size + behind
                                          : 1); /* to the byte, so that a sanitizer sees a read past it */
    double value = NAN;
    char *truth_end;

    assert_non_null(copy);
    memcpy(copy, text, size);
    memset(copy + size, ',', behind);
    const char *start = text + (text[0] == '-');
    const size_t digits = strspn(start, "0123456789."), rest = size - (size_t)(start - text);
    const char *first = memchr(start, '.', digits);
    const char *second = first == NULL ? NULL : memchr(first + 1, '.', digits - (size_t)(first + 1 - start));
    const size_t taken = second == NULL ? digits : (size_t)(second - start);
    const bool is = taken > (first != NULL) && taken < 8 && rest + behind >= 8 && start[taken] != 'e';
    const char *end = sr_number_short(copy, copy + size + behind, &value);
    const double truth = strtod(text, &truth_end);

    if (is && (end != copy + (start - text) + taken || !same_bits(value, truth)))
        fail_msg("'%s' and %zu more read as %.17g, not %.17g", text, behind, value, truth);
    if (is && truth_end != text + (end - copy))
        fail_msg("'%s' is read to another end than by strtod()", text);
    if (!is && end != NULL)
        fail_msg("'%s' and %zu more was not given up", text, behind);
    free(copy);
}

static void short_ones(void **state)
{
    static const char characters[] = "09.-e /:7";
    char text[SR_WORD_BYTES + 2];
    (void)state;

    for (size_t draw = 0; draw < 300000; draw++) {
        uint64_t bits = draw * 0x9E3779B97F4A7C15U;
        const size_t size = draw % (SR_WORD_BYTES + 2);
        for (size_t i = 0; i < size; i++) {
            bits ^= bits >> 29;
            bits *= 0xBF58476D1CE4E5B9U;
            /* mostly digits, or hardly one would be a number */
            const unsigned pick = (unsigned)(bits >> 40);
            text[i] = pick % 4 != 0 ? (char)('0' + pick / 4 % 10) : characters[pick / 4 % 9];
        }
        text[size] = '\0';
        check_short(text, size, 8);
        check_short(text, size, draw / 10 % 8);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chosen),     cmocka_unit_test(ties),   cmocka_unit_test(drawn),
        cmocka_unit_test(refused),    cmocka_unit_test(stamps), cmocka_unit_test(commas_and_blanks),
        cmocka_unit_test(short_ones),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
