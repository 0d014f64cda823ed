/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The ledger's file: what goes in comes out, what others wrote stays, nothing is lost. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/mount.h"
#include "support/ledger_file.h"
#include "support/near.h"

#define HEADER "ledger,fingerprint,build,shore_a,camera,wobble_px,rating\n"

static void add(const char *path, const struct sr_ledger_row *row, enum sr_added expected)
{
    struct sr_error err = {0};
    enum sr_added added;
    if (sr_ledger_add(path, row, &added, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
    assert_int_equal(added, expected);
}

static void test_every_column_comes_back(void **state)
{
    (void)state;
    struct sr_ledger_row row = bare_row("0123456789abcdef", 1.23456789);
    struct sr_ledger ledger;

    row.log = "a \"quoted\", name\nof two lines.csv";
    row.date = "2026-06-14";
    row.build = " heron ";
    row.motor = "home-wound A\t";
    row.prop = "3\" prop";
    row.blades = 3;
    row.shore_a = 47.123456;
    row.material = "silicone";
    row.temperature_c = -3.5;
    row.resonance_hz = 61.25;
    row.camera = "boathouse 1";
    row.width_px = 2704;
    row.threshold_px = 0.9;
    row.verdict = "steady";
    row.low_px = 1.1;
    row.high_px = 1e-7;
    row.median_px = 0;
    row.rms_px = 1e6;
    row.band_px[0] = 0.1;
    row.band_px[2] = 0.3;
    row.smear_px = 0.4;
    row.airborne_s = 1234567;
    row.main_hz = 212.5;
    row.main_share = 0.875;
    row.main_cause = "order";
    row.main_order = 1;
    row.rating = SR_RATED_SLIGHT;
    row.note = "=1+1, \xe2\x82\xac";
    row.mount_in = SR_MOUNT_IN_MODELLED;
    add("new.csv", &row, SR_ADDED);

    read_ledger(&ledger, "new.csv");
    assert_int_equal(ledger.n_rows, 1);
    assert_int_equal(ledger.n_unreadable, 0);
    const struct sr_ledger_row *got = &ledger.rows[0];
    const char *const texts[][2] = {
        {got->fingerprint, row.fingerprint},
        {got->log, row.log},
        {got->date, row.date},
        {got->build, row.build},
        {got->motor, row.motor},
        {got->prop, row.prop},
        {got->material, row.material},
        {got->camera, row.camera},
        {got->verdict, row.verdict},
        {got->main_cause, row.main_cause},
        {got->note, row.note},
    };
    const double numbers[][2] = {
        {got->blades, 3},           {got->shore_a, 47.123456},  {got->temperature_c, -3.5},
        {got->resonance_hz, 61.25}, {got->width_px, 2704},      {got->threshold_px, 0.9},
        {got->wobble_px, 1.234568}, {got->low_px, 1.1},         {got->high_px, 1e-7},
        {got->rms_px, 1e6},         {got->band_px[0], 0.1},     {got->band_px[2], 0.3},
        {got->smear_px, 0.4},       {got->airborne_s, 1234567}, {got->main_hz, 212.5},
        {got->main_share, 0.875},   {got->main_order, 1},
    };
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        assert_string_equal(texts[i][0], texts[i][1]);
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        assert_ratio_near(numbers[i][0], numbers[i][1], 5e-6); /* six digits are kept */
    assert_near(got->median_px, 0, 0);
    assert_true(isnan(got->band_px[1]) && isnan(got->band_px[3]));
    assert_int_equal(got->rating, SR_RATED_SLIGHT);
    assert_int_equal(got->line, 2);
    assert_int_equal(got->mount_in, SR_MOUNT_IN_MODELLED);
    assert_int_equal(ledger.n_columns, 34);
    assert_string_equal(sr_ledger_cell(&ledger, 0, 0), "1");
    assert_string_equal(sr_ledger_cell(&ledger, 0, 33), "modelled");
    assert_string_equal(sr_ledger_cell(&ledger, 0, 34), "");
    sr_ledger_release(&ledger);
    assert_null(sr_ledger_column_name(34));
}

/* What a spreadsheet would run is written behind an apostrophe, and read as the name it is. */
static void test_formulas_are_written_as_texts(void **state)
{
    static const char *const names[] = {"=cmd|' /C x'!A1", "@x", "+a", "-a", "'=a", "''=a", "'a", "-"};
    static const char *const cells[] = {"'=cmd|' /C x'!A1", "'@x", "'+a", "'-a", "''=a", "'''=a", "'a", "-"};
    (void)state;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        struct sr_ledger_row row = bare_row("00000000000000aa", 1);
        row.build = names[i];
        add("l.csv", &row, SR_ADDED);
        add("l.csv", &row, SR_ADDED_BEFORE);
    }
    struct sr_ledger ledger;
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_rows, sizeof names / sizeof *names);
    for (size_t i = 0; i < ledger.n_rows; i++) {
        assert_string_equal(ledger.rows[i].build, names[i]);
        assert_string_equal(sr_ledger_cell(&ledger, i, 4), cells[i]);
    }
    sr_ledger_release(&ledger);
}

static void test_the_same_log_is_not_doubled(void **state)
{
    (void)state;
    struct sr_ledger_row row = bare_row("00000000000000aa", 1);
    row.build = "heron";
    row.camera = "front";
    row.shore_a = 100.0 / 3; /* is rounded in the file */
    add("l.csv", &row, SR_ADDED);
    add("l.csv", &row, SR_ADDED_BEFORE);
    row.wobble_px = 2; /* scored otherwise: still the same flight */
    row.rating = SR_RATED_BAD;
    add("l.csv", &row, SR_ADDED_BEFORE);

    struct sr_ledger_row other = row;
    other.camera = "rear";
    add("l.csv", &other, SR_ADDED);
    other = row;
    other.shore_a = 50;
    add("l.csv", &other, SR_ADDED);
    other.shore_a = NAN;
    add("l.csv", &other, SR_ADDED);
    add("l.csv", &other, SR_ADDED_BEFORE);
    other.build = NULL; /* as "" */
    add("l.csv", &other, SR_ADDED);
    add("l.csv", &other, SR_ADDED_BEFORE);

    struct sr_ledger ledger;
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_rows, 5);
    assert_near(ledger.rows[0].wobble_px, 1, 0);
    sr_ledger_release(&ledger);
}

/* A ledger that has been through other hands: everything odd that is still a ledger. */
static const char odd[] = "\xef\xbb\xbf"
                          "\r\n"
                          "club,wobble_px , \"fingerprint\",,rating,\"my,notes\"\r\n"
                          "\r\n"
                          " row  ,1.5,0000000000000001,x,Clean,\"two\r\nlines\"\r\n"
                          "b,not measured,0000000000000002\r\n"
                          ",,,,,\r\n"
                          "c,2.5,0000000000000003,,\"\",n,1,\"more, of it\"\r\n"
                          "d,3.5,0000000000000004\r\n"
                          "e,\"4.5\",\"0000000000000005\",  y , bad ,3\" prop";

static void test_odd_ledgers_are_read(void **state)
{
    (void)state;
    struct sr_ledger ledger;
    put_text("odd.csv", odd);
    read_ledger(&ledger, "odd.csv");
    assert_int_equal(ledger.n_columns, 6);
    assert_string_equal(ledger.columns[1], "wobble_px");
    assert_string_equal(ledger.columns[5], "my,notes");
    assert_int_equal(ledger.n_rows, 5);
    assert_int_equal(ledger.n_unreadable, 2);

    const size_t lines[] = {4, 6, 8, 9, 10};
    for (size_t i = 0; i < 5; i++) {
        assert_int_equal(ledger.rows[i].line, lines[i]);
        assert_int_equal(ledger.rows[i].readable, i != 1 && i != 2);
    }
    assert_string_equal(ledger.rows[1].problem, "wobble_px: 'not measured' is not a number");
    assert_string_equal(ledger.rows[2].problem,
                        "8 cells, but the first row names 6 columns; quote a text with commas in it");
    assert_string_equal(sr_ledger_cell(&ledger, 2, 7), "more, of it");
    assert_string_equal(sr_ledger_cell(&ledger, 3, 4), "");
    assert_int_equal(ledger.rows[0].rating, SR_RATED_CLEAN);
    assert_int_equal(ledger.rows[4].rating, SR_RATED_BAD);
    assert_near(ledger.rows[4].wobble_px, 4.5, 0);
    assert_string_equal(sr_ledger_cell(&ledger, 4, 5), "3\" prop");
    assert_string_equal(sr_ledger_cell(&ledger, 0, 5), "two\r\nlines");
    sr_ledger_release(&ledger);
}

/* Bytes of the odd ledger behind its header row. */
static const char *odd_rows(void)
{
    return strstr(odd, "\"my,notes\"") + strlen("\"my,notes\"");
}

static void test_adding_keeps_all_other_bytes(void **state)
{
    (void)state;
    struct sr_ledger_row row = bare_row("000000000000000f", 6.5);
    struct sr_ledger ledger;
    put_text("odd.csv", odd);
    row.note = "mine";
    add("odd.csv", &row, SR_ADDED);

    char *text = get_text("odd.csv");
    size_t head = (size_t)(odd_rows() - odd);
    assert_memory_equal(text, odd, head); /* the header gains columns behind its last */
    const char *rest = strstr(text, ",main_order,note,mount_in\r\n");
    assert_non_null(rest);
    rest += strlen(",main_order,note,mount_in");
    /* The row with too many cells stays too long: an empty cell more for each column more. */
    size_t to_long = (size_t)(strstr(odd_rows(), "of it\"") + strlen("of it\"") - odd_rows());
    assert_memory_equal(rest, odd_rows(), to_long);
    rest += to_long;
    assert_int_equal(strspn(rest, ","), 31);
    rest += 31;
    assert_memory_equal(rest, odd_rows() + to_long, strlen(odd_rows() + to_long));
    assert_memory_equal(rest + strlen(odd_rows() + to_long), "\r\n,6.5,000000000000000f,,,,1,", 29);
    assert_string_equal(text + strlen(text) - 7, "mine,\r\n");
    free(text);

    read_ledger(&ledger, "odd.csv");
    assert_int_equal(ledger.n_rows, 6);
    assert_true(ledger.rows[5].readable);
    assert_int_equal(ledger.n_unreadable, 2);
    assert_string_equal(ledger.rows[2].problem,
                        "39 cells, but the first row names 37 columns; quote a text with commas in it");
    sr_ledger_release(&ledger);
}

static void test_rating_changes_one_cell(void **state)
{
    (void)state;
    put_text("odd.csv", odd);
    assert_int_equal(sr_ledger_rate("odd.csv", "0000000000000005", SR_RATED_SLIGHT, NULL), SR_OK);
    assert_int_equal(sr_ledger_rate("odd.csv", "0000000000000004", SR_RATED_BAD, NULL), SR_OK);
    assert_int_equal(sr_ledger_rate("odd.csv", "0000000000000001", SR_UNRATED, NULL), SR_OK);

    char expected[sizeof odd + 64];
    size_t before = (size_t)(strstr(odd, "Clean") - odd);
    const char *after = odd + before + strlen("Clean");
    size_t short_row = (size_t)(strstr(odd, "0000000000000004") + 16 - after);
    const char *last = strstr(odd, " bad ");
    snprintf(expected, sizeof expected, "%.*s%.*s,,bad\r\n%.*sslight%s\r\n", (int)before, odd, (int)short_row,
             after, (int)(last - (after + short_row + 2)), after + short_row + 2, last + 5);
    assert_file_is("odd.csv", expected);
}

static void test_rating_makes_its_column(void **state)
{
    (void)state;
    struct sr_ledger ledger;
    put_text("l.csv", "fingerprint,wobble_px\n00000000000000aa,1\n00000000000000ab,2\n00000000000000aa,3\n");
    assert_int_equal(sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_CLEAN, NULL), SR_OK);
    assert_file_is("l.csv", "fingerprint,wobble_px,rating\n00000000000000aa,1,clean\n00000000000000ab,2\n"
                            "00000000000000aa,3,clean\n");
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.rows[2].rating, SR_RATED_CLEAN);
    assert_int_equal(ledger.rows[1].rating, SR_UNRATED);
    sr_ledger_release(&ledger);
}

static void test_rating_needs_one_flight(void **state)
{
    (void)state;
    static const char text[] = "fingerprint,wobble_px\n00000000000000aa,1\n00000000000000ab,2\nxx,3\n";
    struct sr_error err = {0};
    put_text("l.csv", text);
    assert_int_equal(sr_ledger_rate("l.csv", "00000000000000a", SR_RATED_CLEAN, &err), SR_ERR_DATA);
    assert_string_equal(err.text, "'00000000000000a' begins more than one fingerprint; give more of it");
    assert_int_equal(err.line, 3);
    assert_int_equal(sr_ledger_rate("l.csv", "1", SR_RATED_CLEAN, &err), SR_ERR_DATA);
    assert_int_equal(sr_ledger_rate("l.csv", "", SR_RATED_CLEAN, &err), SR_ERR_DATA);
    assert_int_equal(sr_ledger_rate("l.csv", "xx", SR_RATED_CLEAN, &err), SR_ERR_DATA); /* unreadable */
    assert_int_equal(sr_ledger_rate("l.csv", "00000000000000aa", (enum sr_rating)7, &err), SR_ERR_ARGUMENT);
    assert_file_is("l.csv", text);
}

static void test_each_kind_of_bad_row_is_named(void **state)
{
    static const struct {
        const char *row, *problem;
    } cases[] = {
        {"1,00000000000000aa,,,,x,", "wobble_px: 'x' is not a number"},
        {"1,00000000000000aa,,,,0x10,", "wobble_px: '0x10' is not a number"},
        {"1,00000000000000aa,,,,inf,", "wobble_px: 'inf' is not a number"},
        {"1,00000000000000aa,,,,nan,", "wobble_px: 'nan' is not a number"},
        {"1,00000000000000aa,,,,1e999,", "wobble_px: '1e999' is out of range (0 to 1000000)"},
        {"1,00000000000000aa,,,,\"0,5\",", "wobble_px: '0,5' is not a number; write it with a point"},
        {"1,00000000000000aa,,,,1 2,", "wobble_px: '1 2' is not a number"},
        {"1,00000000000000aa,,,,-1,", "wobble_px: '-1' is out of range (0 to 1000000)"},
        {"1,00000000000000aa,,,,1000001,", "wobble_px: '1000001' is out of range (0 to 1000000)"},
        {"1,00000000000000aa,,101,,1,", "shore_a: '101' is out of range (0 to 100)"},
        {"1,00000000000000aa,,,,,", "no wobble_px"},
        {"1,00000000000000aa", "no wobble_px"},
        {"1,,,,,1,", "no fingerprint"},
        {"1,1.23457E+15,,,,1,",
         "fingerprint: '1.23457E+15' is not 16 hexadecimal digits (did a spreadsheet change it?)"},
        {"1,00000000000000ag,,,,1,",
         "fingerprint: '00000000000000ag' is not 16 hexadecimal digits (did a spreadsheet change it?)"},
        {"1,00000000000000aa,,,,1,so-so", "rating: 'so-so' is none of clean, slight, bad"},
        {"0,00000000000000aa,,,,1,", "ledger: '0' is no version of a ledger"},
        {"one,00000000000000aa,,,,1,", "ledger: 'one' is no version of a ledger"},
        {"1.5,00000000000000aa,,,,1,", "ledger: '1.5' is no version of a ledger"},
        {"1,00000000000000aa,,,,1,,",
         "8 cells, but the first row names 7 columns; quote a text with commas in it"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[400];
        struct sr_ledger ledger;
        snprintf(text, sizeof text, HEADER "1,00000000000000ab,,,,1,\n%s\n1,00000000000000ac,,,, 1 ,\n",
                 cases[i].row);
        put_text("l.csv", text);
        read_ledger(&ledger, "l.csv");
        assert_int_equal(ledger.n_rows, 3);
        assert_int_equal(ledger.n_unreadable, 1);
        assert_true(ledger.rows[0].readable && ledger.rows[2].readable);
        assert_false(ledger.rows[1].readable);
        assert_int_equal(ledger.rows[1].line, 3);
        assert_string_equal(ledger.rows[1].problem, cases[i].problem);
        sr_ledger_release(&ledger);
    }
}

static void test_what_is_no_ledger_is_refused(void **state)
{
    static const struct {
        const char *text, *says;
        size_t line;
    } cases[] = {
        {"", "nothing is in it", 1},
        {"\xef\xbb\xbf", "nothing is in it", 1},
        {"\n \r\n,,\n", "nothing is in it", 1},
        {"time,gyro\n1,2\n", "this is no ledger", 1},
        {"\n\nfingerprint,rating\n", "was a column renamed?", 3},
        {"time;gyro\n1;2\n", "this is no ledger", 1},
        {"\nfingerprint;rating\n", "was a column renamed?", 2},
        {"fingerprint\trating\n", "was a column renamed?", 1},
        {"\nnote,fingerprint;wobble_px;rating,date;build\n", "this is no ledger", 2},
        {"rating,note,;fingerprint;wobble_px\n", "between semicolons and between commas", 1},
        {"rating,note,\tfingerprint\twobble_px\n", "between tabs and between commas", 1},
        {"fingerprint,wobble_px,note,note\n", "two columns are called 'note'", 1},
        {"fingerprint,fingerprint,wobble_px\n", "two columns are called 'fingerprint'", 1},
        {HEADER "1,00000000000000aa,,,,1,\n2,00000000000000ab,,,,1,\n",
         "if a newer stillrow wrote the row, update this one", 3},
        {HEADER "2.00,00000000000000aa,,,,1,\n", "version 2.00 here, and this program knows 1", 2},
        {HEADER "1,00000000000000aa,,,,1,\n 11 ,00000000000000ab,,,,x,\n", "version 11 here", 3},
        {HEADER "1,00000000000000aa,,,,1,\n2,00000000000000ab,,,,1,\n", "counted on, write 1 there", 3},
        /* Its columns may have other names: that is no reason to call it none. */
        {"ledger,print,px,rating\n1,00000000000000aa,1,\n2,00000000000000ab,1,\n", "version 2 here", 3},
        {"ledger;print;px\n2,0;00000000000000aa;1\n", "version 2,0 here", 2},
    };
    struct sr_ledger_row row = bare_row("00000000000000ff", 1);
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sr_ledger ledger = {.n_rows = 77};
        struct sr_error err = {0};
        enum sr_added added = (enum sr_added)9;
        struct sr_merge_count count = {.added = 7};
        put_text("l.csv", cases[i].text);
        put_text("good.csv", HEADER "1,00000000000000aa,,,,1,\n");
        assert_int_equal(sr_ledger_read(&ledger, "l.csv", &err), SR_ERR_FORMAT);
        assert_int_equal(ledger.n_rows, 77);
        assert_string_equal(err.file, "l.csv");
        assert_int_equal(err.line, cases[i].line);
        if (strstr(err.text, cases[i].says) == NULL)
            fail_msg("'%s' does not say '%s'", err.text, cases[i].says);
        assert_int_equal(sr_ledger_merge("good.csv", "l.csv", &count, NULL), SR_ERR_FORMAT);
        assert_file_is("good.csv", HEADER "1,00000000000000aa,,,,1,\n");
        if (cases[i].text[0] == '\0')
            continue; /* an empty file is begun */
        assert_int_equal(sr_ledger_add("l.csv", &row, &added, &err), SR_ERR_FORMAT);
        assert_int_equal(sr_ledger_merge("l.csv", "good.csv", &count, &err), SR_ERR_FORMAT);
        assert_int_equal(sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_BAD, &err), SR_ERR_FORMAT);
        assert_int_equal(added, 9);
        assert_int_equal(count.added, 7);
        assert_file_is("l.csv", cases[i].text);
    }
}

static void test_a_header_of_too_many_columns(void **state)
{
    (void)state;
    char text[2000] = "fingerprint,wobble_px";
    struct sr_ledger ledger;
    struct sr_error err = {0};
    memset(text + strlen(text), ',', 510);
    put_text("l.csv", text);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_columns, 512);
    sr_ledger_release(&ledger);
    text[strlen(text)] = ',';
    put_text("l.csv", text);
    assert_int_equal(sr_ledger_read(&ledger, "l.csv", &err), SR_ERR_FORMAT);
    assert_string_equal(err.text, "more than 512 columns");
}

/* What is added below an open quote would be lost in it: said, and nothing is written. */
static void test_an_open_quote_swallows_nothing(void **state)
{
    static const char text[] = HEADER "1,00000000000000aa,,,,1,\n\n1,00000000000000ab,\"heron,,,1,\n"
                                      "1,00000000000000ac,,,,1,\n";
    struct sr_ledger_row row = bare_row("00000000000000ff", 1);
    struct sr_ledger ledger;
    struct sr_error err = {0};
    enum sr_added added;
    struct sr_merge_count count;
    (void)state;
    put_text("l.csv", text);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_rows, 2);
    assert_true(ledger.rows[0].readable);
    assert_int_equal(ledger.rows[1].line, 4);
    assert_non_null(strstr(ledger.rows[1].problem, "never closed"));
    sr_ledger_release(&ledger);

    assert_int_equal(sr_ledger_add("l.csv", &row, &added, &err), SR_ERR_FORMAT);
    assert_int_equal(err.line, 4);
    assert_int_equal(sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_BAD, &err), SR_ERR_FORMAT);
    assert_int_equal(sr_ledger_merge("new.csv", "l.csv", &count, &err), SR_ERR_FORMAT);
    assert_int_equal(err.line, 4);
    put_text("good.csv", HEADER "1,00000000000000ad,,,,1,\n");
    assert_int_equal(sr_ledger_merge("l.csv", "good.csv", &count, &err), SR_ERR_FORMAT);
    assert_file_is("l.csv", text);
    assert_int_not_equal(access("new.csv", F_OK), 0);
}

static void test_a_row_nobody_could_read_is_not_added(void **state)
{
    struct sr_ledger_row row = bare_row("00000000000000ff", 1);
    struct sr_error err = {0};
    enum sr_added added;
    (void)state;
    row.wobble_px = NAN;
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, &err), SR_ERR_ARGUMENT);
    assert_string_equal(err.text, "no wobble_px");
    row.wobble_px = 1;
    row.shore_a = 120;
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, &err), SR_ERR_ARGUMENT);
    row.shore_a = 60;
    row.fingerprint = "1";
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, &err), SR_ERR_ARGUMENT);
    row.fingerprint = NULL;
    assert_int_equal(sr_ledger_add("l.csv", &row, &added, &err), SR_ERR_ARGUMENT);
    assert_string_equal(err.text, "no fingerprint");
    assert_int_not_equal(access("l.csv", F_OK), 0);
}

static void test_new_and_empty_files_are_begun(void **state)
{
    struct sr_ledger_row row = bare_row("00000000000000ff", 1);
    struct sr_ledger ledger;
    (void)state;
    put_text("l.csv", "");
    add("l.csv", &row, SR_ADDED);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_rows, 1);
    sr_ledger_release(&ledger);
    /* A header alone, not even ended. */
    put_text("l.csv", "wobble_px,fingerprint");
    add("l.csv", &row, SR_ADDED);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_rows, 1);
    assert_string_equal(ledger.columns[0], "wobble_px");
    sr_ledger_release(&ledger);
}

static void test_dates(void **state)
{
    static const char *const good[] = {"2026-06-14", "2024-02-29", "2000-02-29", "1999-12-31"};
    static const char *const bad[] = {"",           "2026-6-14",   "14.06.2026", "2026-13-01",
                                      "2026-00-01", "2026-06-31",  "2026-06-00", "2023-02-29",
                                      "1900-02-29", "2026-06-14 ", "2026/06/14", "20260614"};
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_true(sr_ledger_is_date(good[i]));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(sr_ledger_is_date(bad[i]));
}

static void test_ratings_by_name(void **state)
{
    enum sr_rating rating;
    (void)state;
    for (int r = SR_UNRATED; r <= SR_RATED_BAD; r++) {
        assert_true(sr_rating_find(sr_rating_name((enum sr_rating)r), &rating));
        assert_int_equal(rating, r);
    }
    assert_true(sr_rating_find("SLIGHT", &rating));
    assert_int_equal(rating, SR_RATED_SLIGHT);
    assert_false(sr_rating_find("good", &rating));
    assert_int_equal(rating, SR_RATED_SLIGHT);
    assert_string_equal(sr_rating_name((enum sr_rating)9), "");
}

/* A ledger from before the column was: read as ever, and given the column by the next flight. */
static void test_rows_that_do_not_say_whether_the_mount_is_in(void **state)
{
    static const char *const words[] = {"", "logged", "Modelled", "NO", "yes"};
    struct sr_ledger_row row = bare_row("00000000000000ff", 1);
    struct sr_ledger ledger;
    (void)state;
    put_text("l.csv", HEADER "1,00000000000000aa,heron,50,,1,\n");
    row.mount_in = SR_MOUNT_IN_LOGGED;
    add("l.csv", &row, SR_ADDED);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(ledger.n_unreadable, 0);
    assert_int_equal(ledger.rows[0].mount_in, SR_MOUNT_IN_UNKNOWN);
    assert_int_equal(ledger.rows[1].mount_in, SR_MOUNT_IN_LOGGED);
    sr_ledger_release(&ledger);
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        char text[120];
        snprintf(text, sizeof text, "fingerprint,wobble_px,mount_in\n00000000000000aa,1,%s\n", words[i]);
        put_text("l.csv", text);
        read_ledger(&ledger, "l.csv");
        assert_int_equal(ledger.rows[0].readable, i < 4);
        assert_int_equal(ledger.rows[0].mount_in, i < 4 ? i : SR_MOUNT_IN_UNKNOWN);
        if (i == 4)
            assert_string_equal(ledger.rows[0].problem, "mount_in: 'yes' is none of logged, modelled, no");
        sr_ledger_release(&ledger);
    }
    assert_string_equal(sr_mount_in_name((enum sr_mount_in)9), "");
}

/* Every kind of rig: "modelled" exactly where sr_mount_apply() lays the camera's mount over a view. */
static void test_the_mount_is_in_where_the_view_has_it(void **state)
{
    double gain[3][4];
    struct sr_log log = {.name = (char *)"x.csv"};
    struct sr_score score = {.verdict = SR_STEADY};
    (void)state;
    for (int kind = 0; kind < 16; kind++) {
        struct sr_rig rig;
        struct sr_ledger_row row;
        char hex[SR_FINGERPRINT_SIZE];
        struct sr_view view = {.bins = 4, .bin_hz = 50};
        bool scaled = false, camera = (kind & 1) != 0;
        sr_rig_init(&rig);
        rig.gyro_side = camera ? SR_GYRO_CAMERA : SR_GYRO_FRAME;
        rig.mount.shore_a = (kind & 2) != 0 ? 50 : NAN;
        if ((kind & 4) != 0)
            rig.mount.resonance_hz = 60;
        if ((kind & 8) != 0) {
            rig.mount.count = 4;
            rig.mount.outer_mm = 7;
            rig.mount.thickness_mm = 6;
            rig.mount.camera_g = 34;
        }
        for (size_t a = 0; a < 3; a++) {
            view.wobble[a] = view.smear[a] = gain[a];
            for (size_t k = 0; k < 4; k++)
                gain[a][k] = 1;
        }
        assert_int_equal(sr_mount_apply(&view, &rig, NULL, 0, NULL), SR_OK);
        for (size_t k = 0; k < 4; k++)
            scaled = scaled || fabs(gain[0][k] - 1) > 1e-6;
        sr_ledger_row_from(&row, hex, &log, &rig, &score);
        assert_int_equal(row.mount_in, camera   ? SR_MOUNT_IN_LOGGED
                                       : scaled ? SR_MOUNT_IN_MODELLED
                                                : SR_MOUNT_IN_NO);
        assert_int_equal(scaled, !camera && (kind & 4) != 0);
    }
}

static void test_a_scored_flight_as_a_row(void **state)
{
    struct sr_ledger_row row;
    char hex[SR_FINGERPRINT_SIZE];
    struct sr_log log = {.name = (char *)"/logs/june/heron.csv", .fingerprint = UINT64_C(0xabc)};
    struct sr_rig rig;
    struct sr_score score = {.verdict = SR_MARGINAL,
                             .wobble_px = {1.5, 1.25, 1.75},
                             .median_px = 1,
                             .rms_px = 1.125,
                             .threshold_px = 0.9,
                             .smear_px = 0.25,
                             .airborne_s = 33};
    (void)state;
    sr_rig_init(&rig);
    snprintf(rig.build.name, sizeof rig.build.name, "heron");
    rig.mount.shore_a = 50;
    rig.mount.material = SR_MATERIAL_SILICONE;
    score.bands[0] = (struct sr_band_score){.seen = true, .wobble_px = 0.5};
    score.bands[3] = (struct sr_band_score){.seen = false, .wobble_px = 0.5};
    sr_ledger_row_from(&row, hex, &log, &rig, &score);
    assert_string_equal(row.fingerprint, "0000000000000abc");
    assert_string_equal(row.log, "heron.csv");
    assert_string_equal(row.build, "heron");
    assert_string_equal(row.material, "silicone");
    assert_string_equal(row.verdict, "marginal");
    assert_near(row.wobble_px, 1.5, 0);
    assert_near(row.low_px, 1.25, 0);
    assert_near(row.high_px, 1.75, 0);
    assert_near(row.shore_a, 50, 0);
    assert_near(row.width_px, 1920, 0);
    assert_near(row.threshold_px, 0.9, 0);
    assert_near(row.band_px[0], 0.5, 0);
    assert_true(isnan(row.band_px[3]) && isnan(row.main_hz) && isnan(row.blades));
    assert_true(isnan(row.temperature_c) && isnan(row.resonance_hz));

    score.n_peaks = 1;
    score.peaks[0] = (struct sr_peak){.hz = 212.5, .share = 0.75, .cause = SR_CAUSE_ORDER, .order = 2};
    log.name = (char *)"-";
    sr_ledger_row_from(&row, hex, &log, &rig, &score);
    assert_string_equal(row.log, "-");
    assert_string_equal(row.main_cause, "order");
    assert_near(row.main_hz, 212.5, 0);
    assert_near(row.main_share, 0.75, 0);
    assert_near(row.main_order, 2, 0);
    add("l.csv", &row, SR_ADDED);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_every_column_comes_back),
        TEST(test_formulas_are_written_as_texts),
        TEST(test_the_same_log_is_not_doubled),
        TEST(test_odd_ledgers_are_read),
        TEST(test_adding_keeps_all_other_bytes),
        TEST(test_rating_changes_one_cell),
        TEST(test_rating_makes_its_column),
        TEST(test_rating_needs_one_flight),
        TEST(test_each_kind_of_bad_row_is_named),
        TEST(test_what_is_no_ledger_is_refused),
        TEST(test_a_header_of_too_many_columns),
        TEST(test_an_open_quote_swallows_nothing),
        TEST(test_a_row_nobody_could_read_is_not_added),
        TEST(test_new_and_empty_files_are_begun),
        TEST(test_dates),
        TEST(test_ratings_by_name),
        TEST(test_rows_that_do_not_say_whether_the_mount_is_in),
        TEST(test_the_mount_is_in_where_the_view_has_it),
        TEST(test_a_scored_flight_as_a_row),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
