/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Merging two rows of one flight: what one lacks comes over from the other, and only that. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ledger/merge_private.h"
#include "support/ledger_file.h"

#define P "00000000000000aa"

/* One flight in two ledgers, and what comes of it. */
struct pair {
    const char *header, *mine, *theirs, *merged;
    size_t rated, filled, differ;
    const char *column;
};

static void check(const struct pair *pair)
{
    char a[400], b[400], expected[400];

    snprintf(a, sizeof a, "fingerprint,%s\n" P ",%s\n", pair->header, pair->mine);
    snprintf(b, sizeof b, "fingerprint,%s\n" P ",%s\n", pair->header, pair->theirs);
    snprintf(expected, sizeof expected, "fingerprint,%s\n" P ",%s\n", pair->header, pair->merged);
    put_text("a.csv", a);
    put_text("b.csv", b);
    for (int again = 0; again < 2; again++) {
        struct sr_merge_count count = merge_ledgers("a.csv", "b.csv");
        assert_file_is("a.csv", expected);
        assert_int_equal(count.known, 1);
        assert_int_equal(count.rated, again ? 0 : pair->rated);
        assert_int_equal(count.filled, again ? 0 : pair->filled);
        assert_int_equal(count.differ, pair->differ);
        assert_int_equal(count.differ_line, pair->differ > 0 ? 2 : 0);
        assert_string_equal(count.differ_column, pair->differ > 0 ? pair->column : "");
    }
    assert_file_is("b.csv", b);
}

static void test_what_is_empty_is_filled_in(void **state)
{
    static const struct pair pairs[] = {
        {"wobble_px,date,motor,note,boat", "1,,,,", "1,2026-06-14,A,\"x, y\",eight",
         "1,2026-06-14,A,\"x, y\",eight", 0, 1, 0, NULL},
        {"wobble_px,date,note,rating", "1, ,mine,", "1.0,2026-06-14,theirs,bad", "1,2026-06-14,mine,bad", 1,
         1, 1, "note"},
        {"wobble_px,rating,blades", "1,,3", "1,clean,3.0", "1,clean,3", 1, 0, 0, NULL},
        {"wobble_px,motor,prop,log,boat", "1,home A,p,a.csv,x", "1, Home  A,P,b.csv,y", "1,home A,p,a.csv,x",
         0, 0, 1, "boat"},
        {"wobble_px,note", "1,=x", "1,'=x", "1,=x", 0, 0, 0, NULL},
        /* Into a row that is too short. */
        {"wobble_px,date,motor,boat", "1", "1,,A,eight", "1,,A,eight", 0, 1, 0, NULL},
    };
    (void)state;
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
        check(&pairs[i]);
}

/* Figures of one scoring do not get into a row of another. */
static void test_figures_come_from_the_same_scoring(void **state)
{
    static const struct pair pairs[] = {
        {"wobble_px,low_px,mount_in", "0.5,,", "0.50,0.4,no", "0.5,0.4,no", 0, 1, 0, NULL},
        {"wobble_px,low_px,mount_in", "0.5,,", "0.6,0.4,modelled", "0.5,,", 0, 0, 1, "wobble_px"},
        {"wobble_px,threshold_px,verdict", "0.5,1,", "0.5,0.4,wobbly", "0.5,1,", 0, 0, 1, "threshold_px"},
        {"wobble_px,mount_in,verdict", "0.5,no,", "0.5,logged,steady", "0.5,no,", 0, 0, 1, "mount_in"},
        {"wobble_px,mount_in,date", "0.5,,", "0.6,logged,2026-06-14", "0.5,,2026-06-14", 0, 1, 1,
         "wobble_px"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
        check(&pairs[i]);
}

/* A resonance goes with the temperature that it was measured at. */
static void test_a_resonance_keeps_its_temperature(void **state)
{
    static const struct pair pairs[] = {
        {"wobble_px,temperature_c,resonance_hz", "1,,", "1,20,60", "1,20,60", 0, 1, 0, NULL},
        {"wobble_px,temperature_c,resonance_hz", "1,,", "1,20,", "1,20,", 0, 1, 0, NULL},
        {"wobble_px,temperature_c,resonance_hz", "1,20,", "1,20.0,60", "1,20,60", 0, 1, 0, NULL},
        {"wobble_px,temperature_c,resonance_hz", "1,5,", "1,20,60", "1,5,", 0, 0, 1, "temperature_c"},
        {"wobble_px,temperature_c,resonance_hz", "1,,60", "1,20,60", "1,20,60", 0, 1, 0, NULL},
        {"wobble_px,temperature_c,resonance_hz", "1,,60", "1,20,", "1,,60", 0, 0, 0, NULL},
        {"wobble_px,temperature_c,resonance_hz", "1,,60", "1,20,70", "1,,60", 0, 0, 1, "resonance_hz"},
        {"wobble_px,temperature_c,resonance_hz", "1,5,", "1,,60", "1,5,", 0, 0, 0, NULL},
    };
    (void)state;
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
        check(&pairs[i]);
}

/* A ledger from before mount_in was, and a column that only the other has. */
static void test_a_column_that_is_lacking_is_made_and_filled(void **state)
{
    (void)state;
    put_text("a.csv", "fingerprint,wobble_px\n" P ",1\n00000000000000ab,2,long\n00000000000000ac,3\n");
    put_text("b.csv", "wobble_px,mount_in,fingerprint\n1,no," P "\n7,logged,00000000000000ac\n");
    struct sr_merge_count count = merge_ledgers("a.csv", "b.csv");
    assert_int_equal(count.filled, 1);
    assert_int_equal(count.differ, 1);
    assert_int_equal(count.differ_line, 3);
    assert_file_is("a.csv", "fingerprint,wobble_px,mount_in\n" P
                            ",1,no\n00000000000000ab,2,long,\n00000000000000ac,3\n");
}

/* Several rows of one flight in the other ledger; in another form. */
static void test_several_rows_fill_one(void **state)
{
    (void)state;
    put_text("a.csv", "fingerprint,wobble_px,date,smear_px,note\n" P ",1,,,\n");
    put_text("b.csv",
             "fingerprint;wobble_px;date;smear_px;note\n" P ";1;2026-06-14;;\n" P ";1;2026-06-15;0,5;x, y\n"
             "00000000000000bb;1;;;\n00000000000000bb;1;;0,25;\"a;b\"\n");
    struct sr_merge_count count = merge_ledgers("a.csv", "b.csv");
    assert_int_equal(count.added, 1);
    assert_int_equal(count.known, 3);
    assert_int_equal(count.filled, 1);
    assert_int_equal(count.differ, 1);
    assert_int_equal(count.differ_line, 3);
    assert_string_equal(count.differ_column, "date");
    assert_file_is("a.csv", "fingerprint,wobble_px,date,smear_px,note\n" P ",1,2026-06-14,0.5,\"x, y\"\n"
                            "00000000000000bb,1,,0.25,a;b\n");
    count = merge_ledgers("a.csv", "b.csv");
    assert_int_equal(count.added + count.filled, 0);
}

/* A row that cannot be read gives nothing and gets nothing. */
static void test_unreadable_rows_are_left_alone(void **state)
{
    (void)state;
    put_text("a.csv", "fingerprint,wobble_px,date\n" P ",x,\n00000000000000ab,1,\n");
    put_text("b.csv", "fingerprint,wobble_px,date\n" P ",1,2026-06-14\n00000000000000ab,y,2026-06-14\n");
    struct sr_merge_count count = merge_ledgers("a.csv", "b.csv");
    assert_int_equal(count.added, 1);
    assert_int_equal(count.unreadable, 1);
    assert_int_equal(count.filled, 0);
    assert_file_is("a.csv", "fingerprint,wobble_px,date\n" P ",x,\n00000000000000ab,1,\n" P ",1,2026-06-14\n"
                            "00000000000000ab,y,2026-06-14\n");
}

/* Every column that there is has been thought of: a new one must be put to what it speaks of. */
static void test_every_column_has_its_part(void **state)
{
    size_t parts[PART_SCORE + 1] = {0};
    (void)state;
    for (size_t k = 0; sr_ledger_column_name(k) != NULL; k++)
        parts[merge_part(sr_ledger_column_name(k))]++;
    assert_int_equal(parts[PART_KEY], 6);
    assert_int_equal(parts[PART_RATING], 1);
    assert_int_equal(parts[PART_RESONANCE], 2);
    assert_int_equal(parts[PART_SCORE], 19);
    assert_int_equal(parts[PART_FLIGHT], 6); /* date, motor, prop, blades, material, note */
    assert_int_equal(merge_part("boat"), PART_FLIGHT);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_what_is_empty_is_filled_in),
        TEST(test_figures_come_from_the_same_scoring),
        TEST(test_a_resonance_keeps_its_temperature),
        TEST(test_a_column_that_is_lacking_is_made_and_filled),
        TEST(test_several_rows_fill_one),
        TEST(test_unreadable_rows_are_left_alone),
        TEST(test_every_column_has_its_part),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
