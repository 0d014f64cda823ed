/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ledgers mangled at random: whatever quotes, blanks, line ends and surplus cells are in them, between commas
 * or semicolons, adding, rating and merging change what they are asked to and nothing else, cell by cell.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "support/ledger_file.h"

enum { RUNS = 400, TEXT_MAX = 4096 };

static size_t below(uint64_t *seed, size_t n)
{
    return (size_t)((double)n * sim_uniform(seed));
}

/* Pieces that ledgers are made of, good and bad. */
static void mangle(char *text, size_t size, uint64_t *seed)
{
    static const char *const headers[] = {
        "fingerprint,wobble_px,rating,boat", "\xef\xbb\xbf\n boat , \"fingerprint\",,wobble_px",
        "wobble_px,fingerprint", "\"a\"\"b\",wobble_px,fingerprint,rating,note,,"};
    static const char *const pieces[] = {"\n1.5,00000000000000aa",
                                         "\n00000000000000aa, 1.5 , clean,x",
                                         "\nx,00000000000000aa,y,1.5",
                                         "\n\"q\",2,\"00000000000000aa\"",
                                         "00000000000000aa",
                                         "00000000000000ab",
                                         "\"00000000000000ac\"",
                                         "1.5",
                                         "2",
                                         "x",
                                         "bad",
                                         " ",
                                         "\t",
                                         "\"\"",
                                         "\"a,b\"",
                                         "\"c\nd\"",
                                         "\"e\r\nf\"",
                                         "g\"h",
                                         "\"i\"\"j\"",
                                         "\" k \"",
                                         ",",
                                         ",",
                                         ",",
                                         ",",
                                         ",",
                                         ",",
                                         "\n",
                                         "\n",
                                         "\r\n",
                                         "\r",
                                         "\n\n",
                                         "\"l"};
    size_t used =
        (size_t)snprintf(text, size, "%s%s", headers[below(seed, 4)], below(seed, 4) == 0 ? "\r\n" : "\n");
    for (size_t n = below(seed, 60); n > 0; n--) {
        /* The last piece opens a quote: seldom. */
        size_t kinds = sizeof pieces / sizeof *pieces - (below(seed, 20) == 0 ? 0 : 1);
        used += (size_t)snprintf(text + used, size - used, "%s", pieces[below(seed, kinds)]);
    }
    assert_true(used < size);
    bool semicolons = below(seed, 2) == 0;
    for (char *c = text; semicolons && *c != '\0'; c++)
        *c = *c == ',' ? ';' : *c == '.' ? ',' : *c;
}

static size_t row_cells(const struct sr_ledger *ledger, size_t row)
{
    return ledger->first[row + 1] - ledger->first[row];
}

/* Where two ledgers are written with other signs, those that were exchanged count as the same. */
static bool same_text(const struct sr_ledger *x, const char *a, const struct sr_ledger *y, const char *b)
{
    while (*a != '\0' && (*a == *b || (x->decimal != y->decimal && strchr(".,", *a) != NULL && *b != '\0' &&
                                       strchr(".,", *b) != NULL))) {
        a++;
        b++;
    }
    return *a == *b;
}

/* Row `a` of `x` has the cells of row `b` of `y`, but for column `except`; columns of x are the first of y.
 */
static void assert_same_row(const struct sr_ledger *x, size_t a, const struct sr_ledger *y, size_t b,
                            size_t except)
{
    size_t n = row_cells(x, a), surplus = n > x->n_columns ? n : x->n_columns;
    for (size_t c = 0; c < surplus; c++)
        if (c != except)
            assert_string_equal(sr_ledger_cell(x, a, c), sr_ledger_cell(y, b, c));
    assert_int_equal(n > x->n_columns, row_cells(y, b) > y->n_columns);
}

static size_t column_of(const struct sr_ledger *ledger, const char *name)
{
    size_t c = 0;
    while (c < ledger->n_columns && strcmp(ledger->columns[c], name) != 0)
        c++;
    return c;
}

/* Whether the ledger can be changed; if not, nothing was. */
static bool changed(enum sr_status status, const char *text)
{
    if (status == SR_OK)
        return true;
    assert_true(status == SR_ERR_FORMAT || status == SR_ERR_DATA);
    assert_file_is("l.csv", text);
    return false;
}

static void test_adding(void **state)
{
    uint64_t seed = 5;
    int done = 0;
    (void)state;
    for (int run = 0; run < RUNS; run++) {
        char text[TEXT_MAX];
        struct sr_ledger before, after;
        struct sr_ledger_row row = bare_row("00000000000000ff", 7);
        enum sr_added added;
        mangle(text, sizeof text, &seed);
        put_text("l.csv", text);
        if (sr_ledger_read(&before, "l.csv", NULL) != SR_OK)
            continue;
        row.note = "added, \"so\"";
        if (changed(sr_ledger_add("l.csv", &row, &added, NULL), text)) {
            done++;
            assert_int_equal(added, SR_ADDED);
            read_ledger(&after, "l.csv");
            assert_int_equal(after.n_rows, before.n_rows + 1);
            for (size_t i = 0; i < before.n_rows; i++)
                assert_same_row(&before, i, &after, i, SIZE_MAX);
            assert_true(after.rows[before.n_rows].readable);
            assert_string_equal(after.rows[before.n_rows].note, row.note);
            sr_ledger_release(&after);
            assert_int_equal(sr_ledger_add("l.csv", &row, &added, NULL), SR_OK);
            assert_int_equal(added, SR_ADDED_BEFORE);
        }
        sr_ledger_release(&before);
    }
    assert_true(done > RUNS / 2);
}

static void test_rating(void **state)
{
    uint64_t seed = 6;
    int done = 0;
    (void)state;
    for (int run = 0; run < RUNS; run++) {
        char text[TEXT_MAX];
        struct sr_ledger before, after;
        mangle(text, sizeof text, &seed);
        put_text("l.csv", text);
        if (sr_ledger_read(&before, "l.csv", NULL) != SR_OK)
            continue;
        if (changed(sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_SLIGHT, NULL), text)) {
            done++;
            read_ledger(&after, "l.csv");
            assert_int_equal(after.n_rows, before.n_rows);
            assert_int_equal(after.n_unreadable, before.n_unreadable);
            size_t rating = column_of(&after, "rating");
            for (size_t i = 0; i < before.n_rows; i++) {
                bool rated =
                    before.rows[i].readable && strcmp(before.rows[i].fingerprint, "00000000000000aa") == 0;
                assert_same_row(&before, i, &after, i, rated ? rating : SIZE_MAX);
                if (rated)
                    assert_string_equal(sr_ledger_cell(&after, i, rating), "slight");
            }
            sr_ledger_release(&after);
        }
        sr_ledger_release(&before);
    }
    assert_true(done > RUNS / 20);
}

/* Every row of the other ledger is there: a readable one by its fingerprint, another by its cells. */
static void assert_there(const struct sr_ledger *from, size_t row, const struct sr_ledger *into)
{
    for (size_t i = 0; i < into->n_rows; i++) {
        bool same = from->rows[row].readable == into->rows[i].readable;
        if (same && from->rows[row].readable) {
            same = strcmp(from->rows[row].fingerprint, into->rows[i].fingerprint) == 0;
        } else if (same) {
            for (size_t c = 0; c < from->n_columns && same; c++) {
                const char *cell = sr_ledger_cell(from, row, c), *name = from->columns[c];
                same = cell[0] == '\0' || name[0] == '\0' ||
                       same_text(into, sr_ledger_cell(into, i, column_of(into, name)), from, cell);
            }
            for (size_t c = from->n_columns; c < row_cells(from, row) && same; c++)
                same = strcmp(sr_ledger_cell(into, i, into->n_columns + c - from->n_columns),
                              sr_ledger_cell(from, row, c)) == 0;
        }
        if (same)
            return;
    }
    fail_msg("row on line %zu is lost", from->rows[row].line);
}

/* Row i kept its cells, but for empty ones of a flight. Whether one that is no rating was filled. */
static bool assert_row_kept(const struct sr_ledger *before, const struct sr_ledger *after, size_t i)
{
    bool filled = false;
    size_t rating = column_of(after, "rating");

    for (size_t c = 0; c < after->n_columns || c < row_cells(before, i); c++) {
        const char *old = sr_ledger_cell(before, i, c);
        bool same = strcmp(old, sr_ledger_cell(after, i, c)) == 0;
        if (!same && !(before->rows[i].readable && old[strspn(old, " \t")] == '\0'))
            fail_msg("'%s' of row %zu, column %zu, became '%s'", old, i, c, sr_ledger_cell(after, i, c));
        filled = filled || (!same && c != rating);
    }
    assert_int_equal(row_cells(before, i) > before->n_columns, row_cells(after, i) > after->n_columns);
    assert_int_equal(before->rows[i].readable, after->rows[i].readable);
    return filled;
}

static void test_merging(void **state)
{
    uint64_t seed = 7;
    int done = 0, fills = 0, mixed = 0;
    (void)state;
    for (int run = 0; run < RUNS; run++) {
        char text[TEXT_MAX], other[TEXT_MAX];
        struct sr_ledger before, from, after;
        struct sr_merge_count count;
        mangle(text, sizeof text, &seed);
        mangle(other, sizeof other, &seed);
        put_text("l.csv", text);
        put_text("other.csv", other);
        if (sr_ledger_read(&before, "l.csv", NULL) != SR_OK)
            continue;
        if (sr_ledger_read(&from, "other.csv", NULL) != SR_OK) {
            sr_ledger_release(&before);
            continue;
        }
        if (changed(sr_ledger_merge("l.csv", "other.csv", &count, NULL), text)) {
            done++;
            read_ledger(&after, "l.csv");
            assert_int_equal(after.n_rows, before.n_rows + count.added + count.unreadable);
            assert_int_equal(count.added + count.unreadable + count.known, from.n_rows);
            /* A flight that was not rated may be now, and cells that were empty filled. */
            size_t rated = 0, filled = 0;
            for (size_t i = 0; i < before.n_rows; i++) {
                bool now = before.rows[i].readable && before.rows[i].rating != after.rows[i].rating;
                assert_true(!now || before.rows[i].rating == SR_UNRATED);
                filled += assert_row_kept(&before, &after, i);
                rated += now;
            }
            assert_int_equal(rated, count.rated);
            assert_int_equal(filled, count.filled);
            fills += filled > 0;
            mixed += before.delimiter != from.delimiter;
            for (size_t i = 0; i < from.n_rows; i++)
                assert_there(&from, i, &after);
            sr_ledger_release(&after);
            assert_int_equal(sr_ledger_merge("l.csv", "other.csv", &count, NULL), SR_OK);
            assert_int_equal(count.added + count.unreadable + count.rated + count.filled, 0);
        }
        sr_ledger_release(&from);
        sr_ledger_release(&before);
    }
    assert_true(done > RUNS / 3 && fills > 0 && mixed > RUNS / 10);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_adding),
        TEST(test_rating),
        TEST(test_merging),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
