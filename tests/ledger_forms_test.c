/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ledgers that a spreadsheet has saved in a country of decimal commas: semicolons or tabs between the cells.
 * They are read, changed and merged without a number changing its value or a text its letters.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "support/ledger_file.h"
#include "support/near.h"

#define PLAIN  "ledger,fingerprint,prop,temperature_c,wobble_px,rating,boat\n"
#define COMMAS "ledger;fingerprint;prop;temperature_c;wobble_px;rating;boat\n"

static void test_semicolons_and_decimal_commas(void **state)
{
    struct sr_ledger ledger;
    (void)state;
    put_text("l.csv", "\xef\xbb\xbf" COMMAS ";;;;;;\r\n"
                      "1,0;00000000000000aa;4 inch, 3 blades; -3,5 ;0,751;clean;x\r\n"
                      "1;00000000000000ab;\"5\"\"; 2\";18;1,5e-1;;\"a;b\"\r\n");
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.delimiter, ';');
    assert_int_equal(ledger.decimal, ',');
    assert_int_equal(ledger.n_rows, 2);
    assert_int_equal(ledger.n_unreadable, 0);
    assert_string_equal(ledger.rows[0].prop, "4 inch, 3 blades");
    assert_near(ledger.rows[0].temperature_c, -3.5, 0);
    assert_near(ledger.rows[0].wobble_px, 0.751, 1e-15);
    assert_int_equal(ledger.rows[0].line, 3);
    assert_int_equal(ledger.rows[0].rating, SR_RATED_CLEAN);
    assert_string_equal(ledger.rows[1].prop, "5\"; 2");
    assert_near(ledger.rows[1].temperature_c, 18, 0);
    assert_near(ledger.rows[1].wobble_px, 0.15, 1e-15);
    assert_string_equal(sr_ledger_cell(&ledger, 1, 6), "a;b");
    sr_ledger_release(&ledger);
}

/* The first number with a sign tells, and the other sign cannot be read: who knows what "1.234" is meant to
 * be. */
static void test_the_sign_of_a_file(void **state)
{
    static const struct {
        const char *text;
        char decimal;
        size_t unreadable, line;
        const char *problem;
    } cases[] = {
        {"fingerprint;wobble_px;airborne_s\n00000000000000aa;1;2\n", ',', 0, 0, ""},
        {"fingerprint\twobble_px\tairborne_s\n00000000000000aa\t1\t2\n", '.', 0, 0, ""},
        {"fingerprint\twobble_px\n00000000000000aa\t1,5\n", ',', 0, 0, ""},
        {"fingerprint;wobble_px\n00000000000000aa;1.5\n", '.', 0, 0, ""},
        {"fingerprint;wobble_px;airborne_s\n00000000000000aa;1;2\n00000000000000ab;1,5;1.234\n", ',', 1, 3,
         "airborne_s: '1.234' is not a number; write it with a comma, as those above"},
        {"fingerprint;wobble_px;airborne_s\n00000000000000aa;1.5;2\n00000000000000ab;1.5;1,234\n", '.', 1, 3,
         "airborne_s: '1,234' is not a number; write it with a point"},
        {"fingerprint;wobble_px\n00000000000000aa;0,5\n00000000000000ab;1.234,5\n", ',', 1, 3,
         "wobble_px: '1.234,5' is not a number; write it with a comma, as those above"},
        {"fingerprint;wobble_px\n00000000000000aa;0,5\n00000000000000ab;1,234,5\n", ',', 1, 3,
         "wobble_px: '1,234,5' is not a number"},
        /* What may be thousands does not tell where another number does. */
        {"fingerprint;airborne_s;wobble_px\n00000000000000aa;1.200;0,5\n00000000000000ab;90;0,7\n", ',', 1, 2,
         "airborne_s: '1.200' is not a number; write it with a comma, as those above"},
        {"fingerprint;wobble_px;airborne_s\n00000000000000aa;0.125;1,200\n", '.', 1, 2,
         "airborne_s: '1,200' is not a number; write it with a point"},
        {"fingerprint;wobble_px;temperature_c\n00000000000000aa;1.250;-12.125\n", '.', 0, 0, ""},
        {"fingerprint;wobble_px;temperature_c\n00000000000000aa;1234.500;20\n00000000000000ab;1;1,5\n", '.',
         1, 3, "temperature_c: '1,5' is not a number; write it with a point"},
        /* Texts and columns of others tell nothing. */
        {"fingerprint;wobble_px;note;mine\n00000000000000aa;1;0.5;0.5\n00000000000000ab;0,5;;\n", ',', 0, 0,
         ""},
        {"fingerprint;wobble_px\n00000000000000aa;1;x\n", ',', 1, 2,
         "3 cells, but the first row names 2 columns; quote a text with semicolons in it"},
        /* Nor does a row that is too long: new columns would come to stand over its last cells. */
        {"fingerprint;wobble_px\n00000000000000aa;1.5;x\n00000000000000ab;0,5\n", ',', 1, 2,
         "3 cells, but the first row names 2 columns; quote a text with semicolons in it"},
        {"fingerprint\twobble_px\n00000000000000aa\t1\tx\n", '.', 1, 2,
         "3 cells, but the first row names 2 columns; quote a text with tabs in it"},
        /* Between commas a decimal comma stays what it was. */
        {"fingerprint,wobble_px,\"a;b\"\n00000000000000aa,\"0,5\"\n", '.', 1, 2,
         "wobble_px: '0,5' is not a number; write it with a point"},
        {"ledger,fingerprint,wobble_px\n\"1,0\",00000000000000aa,1\n", '.', 1, 2,
         "ledger: '1,0' is no version of a ledger"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sr_ledger ledger;
        put_text("l.csv", cases[i].text);
        read_ledger(&ledger, "l.csv");
        assert_int_equal(ledger.decimal, cases[i].decimal);
        assert_int_equal(ledger.n_unreadable, cases[i].unreadable);
        for (size_t row = 0; row < ledger.n_rows; row++)
            if (!ledger.rows[row].readable) {
                assert_int_equal(ledger.rows[row].line, cases[i].line);
                assert_string_equal(ledger.rows[row].problem, cases[i].problem);
            }
        sr_ledger_release(&ledger);
    }
}

/* A line that tells a spreadsheet the delimiter is none of the rows, and stays. */
static void test_a_line_of_the_delimiter(void **state)
{
    static const char *const lines[] = {"sep=;\r\n", "\xef\xbb\xbfsep=;\n", "sep=;;;\r", "sep=,\n"};
    static const char *const others[] = {"sep=;x\n", "sep=\n", "sep:;\n", "sep=|\n"};
    const char *rows = "fingerprint;wobble_px;rating\n00000000000000aa;0,5;\n";
    const char *rated = "fingerprint;wobble_px;rating\n00000000000000aa;0,5;bad\n";
    struct sr_error err = {0};
    struct sr_ledger ledger;
    char text[200];
    (void)state;
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        snprintf(text, sizeof text, "%s%s", lines[i], rows);
        put_text("l.csv", text);
        read_ledger(&ledger, "l.csv");
        assert_int_equal(ledger.delimiter, ';');
        assert_int_equal(ledger.n_rows, 1);
        assert_int_equal(ledger.rows[0].line, 3);
        sr_ledger_release(&ledger);
        assert_int_equal(sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_BAD, &err), SR_OK);
        snprintf(text, sizeof text, "%s%s", lines[i], rated);
        assert_file_is("l.csv", text);
    }
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        snprintf(text, sizeof text, "%s%s", others[i], rows);
        put_text("l.csv", text);
        assert_int_equal(sr_ledger_read(&ledger, "l.csv", &err), SR_ERR_FORMAT);
        assert_int_equal(err.line, 1);
    }
    put_text("l.csv", "sep=;");
    assert_int_equal(sr_ledger_read(&ledger, "l.csv", &err), SR_ERR_FORMAT);
    put_text("l.csv", "\xff\xfe"
                      "f");
    assert_int_equal(sr_ledger_read(&ledger, "l.csv", &err), SR_ERR_FORMAT);
    assert_non_null(strstr(err.text, "UTF-16"));
}

/* What was there keeps its bytes, and what comes is written as the file is: the spreadsheet opens it still.
 */
static void test_changes_keep_the_form(void **state)
{
    struct sr_ledger_row row = bare_row("00000000000000ff", 0.25);
    enum sr_added added;
    struct sr_ledger ledger;
    (void)state;
    put_text("l.csv", COMMAS "1;00000000000000aa;4 inch, 3 blades;18;0,751;;x\n");
    row.prop = "3;5 inch, x";
    row.temperature_c = -5.5;
    row.note = "-1,5";
    row.build = "=1+1";
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, NULL), SR_OK);
    assert_int_equal(sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_BAD, NULL), SR_OK);
    char *text = get_text("l.csv");
    assert_non_null(strstr(text, ";boat;log;date;build;"));
    assert_non_null(strstr(text, "\n1;00000000000000aa;4 inch, 3 blades;18;0,751;bad;x\n"
                                 "1;00000000000000ff;\"3;5 inch, x\";-5,5;0,25;;;"));
    assert_non_null(strstr(text, ";'=1+1;"));
    free(text);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_unreadable, 0);
    assert_near(ledger.rows[1].temperature_c, -5.5, 0);
    assert_string_equal(ledger.rows[1].prop, row.prop);
    assert_string_equal(ledger.rows[1].note, "-1,5");
    assert_string_equal(ledger.rows[1].build, "=1+1");
    assert_near(ledger.rows[1].width_px, 1920, 0);
    sr_ledger_release(&ledger);
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, NULL), SR_OK);
    assert_int_equal(added, SR_ADDED_BEFORE);
    /* Between tabs, and with points. */
    put_text("l.csv", "fingerprint\twobble_px\tnote\n00000000000000aa\t0.5\tx, y\n");
    row.note = "a\tb";
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, NULL), SR_OK);
    text = get_text("l.csv");
    assert_non_null(strstr(text, "\n00000000000000aa\t0.5\tx, y\n00000000000000ff\t0.25\t\"a\tb\"\t"));
    free(text);
}

static void test_merging_one_of_each(void **state)
{
    static const char ours[] = PLAIN "1,00000000000000aa,\"4 inch, 3 blades\",18.5,0.751,,x\n";
    static const char theirs[] = COMMAS "1;00000000000000aa;4 inch, 3 blades;18,5;0,751;bad;x\n"
                                        "1;00000000000000ab;\"5; 2\";-0,5;1,25;clean;y, 1,5\n"
                                        "1;nobody;4;0,5;1;;\n";
    (void)state;
    put_text("a.csv", ours);
    put_text("b.csv", theirs);
    struct sr_merge_count count = merge_ledgers("a.csv", "b.csv");
    assert_int_equal(count.added, 1);
    assert_int_equal(count.known, 1);
    assert_int_equal(count.unreadable, 1);
    assert_int_equal(count.rated, 1);
    assert_int_equal(count.differ, 0);
    assert_file_is("a.csv", PLAIN "1,00000000000000aa,\"4 inch, 3 blades\",18.5,0.751,bad,x\n"
                                  "1,00000000000000ab,5; 2,-0.5,1.25,clean,\"y, 1,5\"\n"
                                  "1,nobody,4,0.5,1,,\n");
    count = merge_ledgers("a.csv", "b.csv");
    assert_int_equal(count.known, 3);
    assert_file_is("b.csv", theirs);

    /* The other way. */
    put_text("a.csv", ours);
    put_text("c.csv", PLAIN "1,00000000000000ac,\"a;b, c\",-0.5,0.5,,\n1,nobody,4,0.5,1,,\n");
    merge_ledgers("b.csv", "a.csv");
    count = merge_ledgers("b.csv", "c.csv");
    assert_int_equal(count.added, 1);
    assert_int_equal(count.known, 1);
    char expected[sizeof theirs + 100];
    snprintf(expected, sizeof expected, "%s1;00000000000000ac;\"a;b, c\";-0,5;0,5;;\n", theirs);
    assert_file_is("b.csv", expected);

    /* Into a ledger that is not there: our own form. */
    merge_ledgers("new.csv", "b.csv");
    struct sr_ledger ledger;
    read_ledger(&ledger, "new.csv");
    assert_int_equal(ledger.delimiter, ',');
    assert_near(ledger.rows[1].wobble_px, 1.25, 0);
    assert_string_equal(ledger.rows[2].problem, "fingerprint: 'nobody' is not 16 hexadecimal digits (did a "
                                                "spreadsheet change it?)");
    sr_ledger_release(&ledger);
}

/* What no reader of its own file took for a number must not become one in another. */
static void test_doubtful_cells_are_not_merged(void **state)
{
    static const struct {
        const char *into, *from, *says;
        size_t line;
    } cases[] = {
        {COMMAS, PLAIN "1,00000000000000ab,,,1,,\n1,00000000000000aa,,\"1,234\",1,,\n",
         "temperature_c: '1,234' is not a number as this file writes them", 3},
        {PLAIN, COMMAS "1;00000000000000ab;;0,5;1;;\n1;00000000000000aa;;1;1.234;;\n",
         "write it with a comma first", 3},
        {COMMAS "1;00000000000000ab;;0.5;1;;\n", PLAIN "1,00000000000000aa,,\"0,5\",1,,\n",
         "write it with a point first", 2},
        {COMMAS, COMMAS "1;00000000000000ab;;0,5;1;;\n1;00000000000000aa;;0.5;1;;\n", "write it with a comma",
         3},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sr_merge_count count;
        struct sr_error err = {0};
        put_text("a.csv", cases[i].into);
        put_text("b.csv", cases[i].from);
        assert_int_equal(sr_ledger_merge("a.csv", "b.csv", &count, &err), SR_ERR_FORMAT);
        assert_string_equal(err.file, "b.csv");
        assert_int_equal(err.line, cases[i].line);
        assert_non_null(strstr(err.text, cases[i].says));
        assert_file_is("a.csv", cases[i].into);
    }
    /* Other texts that are no numbers come along. */
    put_text("a.csv", COMMAS);
    put_text("b.csv", PLAIN "1,00000000000000aa,,warm,1,,\n");
    assert_int_equal(merge_ledgers("a.csv", "b.csv").unreadable, 1);
    assert_file_is("a.csv", COMMAS "1;00000000000000aa;;warm;1;;\n");
}

/* A column called like several would make the first row another one: nothing is written. */
static void test_a_name_that_breaks_the_first_row_is_refused(void **state)
{
    static const char into[] = "fingerprint;wobble_px\n00000000000000ab;1\n";
    struct sr_merge_count count;
    struct sr_error err = {0};
    (void)state;
    put_text("a.csv", into);
    put_text("b.csv", "fingerprint,wobble_px,\"a,fingerprint,wobble_px,b\"\n00000000000000aa,1,x\n");
    assert_int_equal(sr_ledger_merge("a.csv", "b.csv", &count, &err), SR_ERR_FORMAT);
    assert_file_is("a.csv", into);
}

static double roughly(uint64_t *seed)
{
    return floor(2000 * sim_uniform(seed) - 500) / 100;
}

/* Random ledgers from one form into another and back: every number and text is the same. */
static void test_there_and_back(void **state)
{
    static const char *const texts[] = {"",     "a, b", "a;b", "a\tb", "1,5", "1.5",
                                        "-1,5", "=x",   "\"",  " x ",  "'y"};
    static const char *const headers[] = {"fingerprint,wobble_px,temperature_c,note,mine\n",
                                          "fingerprint;wobble_px;temperature_c;note;mine\n",
                                          "mine\tnote\tfingerprint\twobble_px\ttemperature_c\n"};
    uint64_t seed = 11;
    (void)state;
    for (int run = 0; run < 60; run++) {
        struct sr_ledger first, last;
        put_text("a.csv", headers[0]);
        for (size_t i = 0; i < 8; i++) {
            char print[SR_FINGERPRINT_SIZE];
            enum sr_added added;
            snprintf(print, sizeof print, "%016zx", i + 1);
            struct sr_ledger_row row = bare_row(print, fabs(roughly(&seed)));
            row.temperature_c = roughly(&seed);
            row.width_px = NAN;
            row.note = texts[(size_t)(11 * sim_uniform(&seed))];
            assert_int_equal(sr_ledger_add("a.csv", &row, &added, NULL), SR_OK);
        }
        put_text("b.csv", headers[1 + run % 2]);
        put_text("c.csv", headers[2 - run % 2]);
        put_text("d.csv", headers[0]);
        assert_int_equal(merge_ledgers("b.csv", "a.csv").added, 8);
        assert_int_equal(merge_ledgers("c.csv", "b.csv").added, 8);
        assert_int_equal(merge_ledgers("d.csv", "c.csv").added, 8);
        assert_int_equal(merge_ledgers("b.csv", "d.csv").differ, 0);
        read_ledger(&first, "a.csv");
        read_ledger(&last, "d.csv");
        for (size_t i = 0; i < 8; i++) {
            assert_true(last.rows[i].readable);
            assert_near(first.rows[i].wobble_px, last.rows[i].wobble_px, 0);
            assert_near(first.rows[i].temperature_c, last.rows[i].temperature_c, 0);
            assert_string_equal(first.rows[i].note, last.rows[i].note);
        }
        sr_ledger_release(&first);
        sr_ledger_release(&last);
    }
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_semicolons_and_decimal_commas),
        TEST(test_the_sign_of_a_file),
        TEST(test_a_line_of_the_delimiter),
        TEST(test_changes_keep_the_form),
        TEST(test_merging_one_of_each),
        TEST(test_doubtful_cells_are_not_merged),
        TEST(test_a_name_that_breaks_the_first_row_is_refused),
        TEST(test_there_and_back),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
