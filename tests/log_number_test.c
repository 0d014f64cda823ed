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

#include "log/cuts.h"
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

/* 53 bits at random. */
static uint64_t draw_bits(uint64_t *state)
{
    return (uint64_t)(sim_uniform(state) * 9007199254740992.0);
}

/* A text that is a number with so many decimals, of at most eight characters behind its sign. */
static bool has_shape(const char *text, size_t size, unsigned decimals)
{
    const char *start = text + (text[0] == '-');
    const size_t length = size - (size_t)(start - text), digits = strspn(start, "0123456789");

    if (length == 0 || length > SR_WORD_BYTES)
        return false;
    if (decimals == 0)
        return digits == length;
    return digits + 1 + decimals == length && start[digits] == '.' &&
           strspn(start + digits + 1, "0123456789") == decimals;
}

/* A copy that may be read from eight bytes before its end, to the byte, so that a sanitizer sees a read past
 * it. */
struct exact_copy {
    char *block;
    const char *start, *end;
};

static struct exact_copy copy_exactly(const char *text, size_t size)
{
    const size_t before = size < SR_WORD_BYTES ? SR_WORD_BYTES - size : 0;
    struct exact_copy copy = {.block = malloc(before + size)};

    assert_non_null(copy.block);
    memset(copy.block, ',', before);
    memcpy(copy.block + before, text, size);
    copy.start = copy.block + before;
    copy.end = copy.start + size;
    return copy;
}

/* Eight characters at a time: strtod()'s value where the text is a number of the shape, or false. */
static void check_short(const char *text, size_t size, unsigned decimals)
{
    const struct exact_copy copy = copy_exactly(text, size);
    const struct sr_shape shape = sr_shape_of(decimals);
    const bool is = has_shape(text, size, decimals);
    double value = NAN;

    if (sr_number_short(copy.start, copy.end, &shape, &value) != is)
        fail_msg("'%s' with %u decimals: %s", text, decimals, is ? "not read" : "read");
    if (is && !same_bits(value, strtod(text, NULL)))
        fail_msg("'%s' is read as %.17g", text, value);
    if (is)
        assert_int_equal(sr_decimals_of(copy.start, copy.end), decimals);
    free(copy.block);
}

/* Four at a time, and by the words any processor has: all as one by one, and refused if one of them is. */
static void check_batch(char text[SR_NUMBERS_BATCH][SR_WORD_BYTES + 3], const unsigned *decimals)
{
    char line[SR_WORD_BYTES + SR_NUMBERS_BATCH * (SR_WORD_BYTES + 3)] = "########";
    double value[SR_NUMBERS_BATCH], words[SR_NUMBERS_BATCH], alone = NAN;
    struct sr_column column[SR_NUMBERS_BATCH];
    const struct sr_column *columns[SR_NUMBERS_BATCH];
    int32_t cut[SR_NUMBERS_BATCH + 1] = {SR_WORD_BYTES - 1};
    bool all = true;

    for (size_t i = 0; i < SR_NUMBERS_BATCH; i++) {
        const size_t start = (size_t)cut[i] + 1, size = strlen(text[i]);
        memcpy(line + start, text[i], size + 1);
        line[start + size] = ',';
        cut[i + 1] = (int32_t)(start + size);
        column[i] = (struct sr_column){.number = i, .shape = sr_shape_of(decimals[i])};
        columns[i] = &column[i];
        all = all && sr_number_short(line + start, line + start + size, &column[i].shape, &alone);
    }
    if (sr_numbers_short(line, cut, columns, value) != all)
        fail_msg("'%s' '%s' '%s' '%s': %s", text[0], text[1], text[2], text[3], all ? "not read" : "read");
    for (size_t i = 0; all && i < SR_NUMBERS_BATCH; i++)
        if (!same_bits(value[i], strtod(text[i], NULL)))
            fail_msg("'%s' is read as %.17g among four", text[i], value[i]);
    assert_true(sr_numbers_short_words(line, cut, columns, words) == all);
    assert_true(!all || memcmp(value, words, sizeof words) == 0);
}

/* Not empty, mostly digits, or hardly one would be a number. */
static size_t draw_text(char *text, size_t size, uint64_t *state)
{
    static const char characters[] = "09.-e /:7";

    for (size_t i = 0; i < size; i++) {
        const unsigned pick = (unsigned)(draw_bits(state) >> 40);
        text[i] = pick % 8 != 0 ? (char)('0' + pick / 8 % 10) : characters[pick / 8 % 9];
    }
    text[size] = '\0';
    return size;
}

static void short_ones(void **state)
{
    char text[SR_WORD_BYTES + 3];
    uint64_t seed = 1;
    size_t read = 0;
    (void)state;

    for (size_t draw = 0; draw < 400000; draw++) {
        const size_t size = draw_text(text, 1 + draw % (SR_WORD_BYTES + 2), &seed);
        const unsigned decimals = (unsigned)(draw / 10 % SR_WORD_BYTES);
        if (decimals > 0 && size > decimals && draw % 3 != 0)
            text[size - decimals - 1] = '.';
        check_short(text, size, decimals);
        read += has_shape(text, size, decimals);
    }
    assert_true(read > 20000);
}

static void short_in_fours(void **state)
{
    char text[SR_NUMBERS_BATCH][SR_WORD_BYTES + 3];
    unsigned decimals[SR_NUMBERS_BATCH];
    uint64_t seed = 2;
    size_t odd = 0;
    (void)state;

    for (size_t draw = 0; draw < 100000; draw++) {
        bool all = true;
        for (size_t i = 0; i < SR_NUMBERS_BATCH; i++) {
            const uint64_t bits = draw_bits(&seed);
            decimals[i] = (unsigned)(bits % SR_WORD_BYTES);
            const bool minus = (bits >> 20) % 2 != 0, wrong = (bits >> 30) % 16 == 0;
            const size_t least = decimals[i] > 0 ? decimals[i] + 1 : 1;
            const size_t size = minus + least + (bits >> 40) % (SR_WORD_BYTES + 1 - least);
            (void)draw_text(text[i], size, &seed);
            for (size_t k = 0; !wrong && k < size; k++)
                if (text[i][k] < '0' || text[i][k] > '9')
                    text[i][k] = '5';
            if (minus)
                text[i][0] = '-';
            if (decimals[i] > 0)
                text[i][size - decimals[i] - 1] = '.';
            all = all && has_shape(text[i], size, decimals[i]);
        }
        odd += !all;
        check_batch(text, decimals);
    }
    assert_true(odd > 1000 && odd < 50000);
}

/* Up to sixteen digits: strtoll()'s value, or false. */
static void whole_short(void **state)
{
    char text[2 * SR_WORD_BYTES + 4];
    uint64_t seed = 3;
    (void)state;

    for (size_t draw = 0; draw < 100000; draw++) {
        const size_t size = 1 + draw % (2 * SR_WORD_BYTES + 2);
        (void)draw_text(text, size, &seed);
        for (size_t i = 0; draw % 3 != 0 && i < size; i++)
            text[i] = text[i] < '0' || text[i] > '9' ? '3' : text[i];
        if (draw % 2 == 0)
            text[0] = '-';
        const size_t digits = size - (text[0] == '-');
        const bool is = digits > 0 && digits <= 2 * SR_WORD_BYTES &&
                        strspn(text + (text[0] == '-'), "0123456789") == digits;
        char before[4 * SR_WORD_BYTES];
        int64_t value = 0;
        memset(before, '7', sizeof before); /* digits, which must not count */
        memcpy(before + sizeof before - size, text, size);
        const char *end = before + sizeof before;
        if (sr_whole_short(end - size, end, &value) != is || (is && value != strtoll(text, NULL, 10)))
            fail_msg("'%s' is read as %lld", text, (long long)value);
    }
}

/* The delimiters of 64 characters, by both ways, and lines that are cut at them. */
static void cuts(void **state)
{
    char text[4 * SR_CUTS_BLOCK];
    int32_t cut[sizeof text + 2];
    uint64_t seed = 4;
    (void)state;

    for (size_t draw = 0; draw < 20000; draw++) {
        for (size_t i = 0; i < sizeof text; i++) {
            const uint64_t bits = draw_bits(&seed);
            text[i] = (bits >> 33) % 5 == 0 ? ',' : (char)(bits >> 40);
        }
        uint64_t mask = 0;
        for (unsigned i = 0; i < SR_CUTS_BLOCK; i++)
            mask |= (uint64_t)(text[i] == ',') << i;
        assert_true(sr_cuts_mask(text, ',') == mask);
        assert_true(sr_cuts_mask_words(text, ',') == mask);

        const size_t size = draw_bits(&seed) % sizeof text, most = 1 + draw % 40;
        char *exact = malloc(size + 1); /* to the byte: a sanitizer sees a read past it */
        assert_non_null(exact);
        memcpy(exact, text, size);
        const size_t found = sr_cuts_find(exact, exact + size, exact + size, ',', cut, most);
        size_t fields = 1, at = 0;
        for (size_t i = 0; i < size; i++)
            fields += text[i] == ',';
        assert_int_equal(found, fields < most ? fields : most);
        for (size_t i = 0; i < found; i++) {
            const char *end = memchr(text + at, ',', size - at);
            assert_int_equal(cut[i] + 1, at);
            assert_int_equal(cut[i + 1], end != NULL ? (size_t)(end - text) : size);
            at = (size_t)cut[i + 1] + 1;
        }
        free(exact);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chosen),     cmocka_unit_test(ties),           cmocka_unit_test(drawn),
        cmocka_unit_test(refused),    cmocka_unit_test(stamps),         cmocka_unit_test(commas_and_blanks),
        cmocka_unit_test(short_ones), cmocka_unit_test(short_in_fours), cmocka_unit_test(whole_short),
        cmocka_unit_test(cuts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
