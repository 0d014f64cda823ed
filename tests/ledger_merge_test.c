/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Merging ledgers: every row of both is there once, and whole. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "support/ledger_file.h"
#include "support/near.h"

static void assert_count(struct sr_merge_count count, size_t added, size_t known, size_t unreadable)
{
    assert_int_equal(count.added, added);
    assert_int_equal(count.known, known);
    assert_int_equal(count.unreadable, unreadable);
}

#define HEADER "fingerprint,wobble_px,build\n"

static void test_new_rows_follow_the_old(void **state)
{
    (void)state;
    put_text("a.csv", HEADER "00000000000000aa,1,heron\n");
    put_text("b.csv", HEADER "00000000000000aa,1,heron\n00000000000000bb,2,heron\n00000000000000aa,1,grebe\n"
                             "00000000000000bb,9,heron\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 2, 2, 0);
    assert_file_is("a.csv",
                   HEADER "00000000000000aa,1,heron\n00000000000000bb,2,heron\n00000000000000aa,1,grebe\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 4, 0);
    assert_count(merge_ledgers("a.csv", "a.csv"), 0, 3, 0);
}

static void test_rows_keep_their_bytes_where_columns_agree(void **state)
{
    (void)state;
    put_text("a.csv", HEADER "00000000000000aa, 1 ,heron\r\n");
    put_text("b.csv", HEADER " \"00000000000000bb\" ,2.50, \"a\"\"b\"\r\n\n00000000000000cc,3\n"
                             "x,\"1\",too,long \n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 2, 0, 1);
    assert_file_is("a.csv", HEADER "00000000000000aa, 1 ,heron\r\n \"00000000000000bb\" ,2.50, \"a\"\"b\"\n"
                                   "00000000000000cc,3\nx,\"1\",too,long \n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 3, 0);
}

/* A stranger's formula is not let in as one, in a cell or a name; numbers, signs alone and names stay theirs.
 */
static void test_formulas_come_as_texts(void **state)
{
    (void)state;
    put_text("a.csv", HEADER);
    put_text("b.csv", HEADER "00000000000000aa,1,=1+2|x\n00000000000000bb,+2,-\n"
                             "00000000000000cc,3,\"@a,b\"\n00000000000000dd,4,'=kept\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 4, 0, 0);
    assert_file_is("a.csv", HEADER "00000000000000aa,1,'=1+2|x\n00000000000000bb,+2,-\n"
                                   "00000000000000cc,3,\"'@a,b\"\n00000000000000dd,4,'=kept\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 4, 0);
    put_text("c.csv", "fingerprint,wobble_px,=theirs\n00000000000000ee,5,-5\n");
    assert_count(merge_ledgers("a.csv", "c.csv"), 1, 0, 0);
    assert_count(merge_ledgers("a.csv", "c.csv"), 0, 1, 0);
    struct sr_ledger ledger;
    read_ledger(&ledger, "a.csv");
    assert_int_equal(ledger.n_columns, 4);
    assert_string_equal(ledger.columns[3], "'=theirs");
    assert_string_equal(ledger.rows[0].build, "=1+2|x");
    assert_string_equal(ledger.rows[3].build, "=kept");
    assert_string_equal(sr_ledger_cell(&ledger, 4, 3), "-5");
    sr_ledger_release(&ledger);
}

static void test_columns_are_brought_together_by_name(void **state)
{
    (void)state;
    put_text("a.csv", "wobble_px,fingerprint,mine\r\n1,00000000000000aa,m\r\n");
    put_text("b.csv", "theirs,fingerprint,\"of, both\",wobble_px\n"
                      "t,00000000000000bb,\"o,p\",2\n"
                      "u,00000000000000cc\n");
    /* The second row has no wobble: it comes along as it is. */
    assert_count(merge_ledgers("a.csv", "b.csv"), 1, 0, 1);
    assert_file_is("a.csv", "wobble_px,fingerprint,mine,theirs,\"of, both\"\r\n1,00000000000000aa,m\r\n"
                            "2,00000000000000bb,,t,\"o,p\"\r\n,00000000000000cc,,u,\r\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 2, 0);
}

/* Rows that are too long stay whole, unreadable, and known, whatever the columns. */
static void test_long_rows_survive_whole(void **state)
{
    (void)state;
    struct sr_ledger ledger;
    put_text("a.csv", "wobble_px,fingerprint,mine\n1,00000000000000aa,m\n7,00000000000000ff,old,long\n");
    put_text("b.csv", "fingerprint,theirs,wobble_px\n00000000000000bb,t,2,s1,\"s,2\"\n"
                      "00000000000000bb,t,2,s1,\"s,3\"\n00000000000000bb,t,2,s1,\"s,2\"\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 1, 2);
    assert_file_is("a.csv",
                   "wobble_px,fingerprint,mine,theirs\n1,00000000000000aa,m\n7,00000000000000ff,old,long,\n"
                   "2,00000000000000bb,,t,s1,\"s,2\"\n2,00000000000000bb,,t,s1,\"s,3\"\n");
    read_ledger(&ledger, "a.csv");
    assert_int_equal(ledger.n_unreadable, 3);
    sr_ledger_release(&ledger);
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 3, 0);

    /* A prefix of the columns is not enough for a row that is longer than its own header. */
    put_text("c.csv", "wobble_px,fingerprint\n5,00000000000000cc,surplus\n5,00000000000000cd\n");
    assert_count(merge_ledgers("a.csv", "c.csv"), 1, 0, 1);
    read_ledger(&ledger, "a.csv");
    assert_int_equal(ledger.n_rows, 6);
    assert_int_equal(ledger.n_unreadable, 4);
    assert_string_equal(sr_ledger_cell(&ledger, 4, 4), "surplus");
    assert_true(ledger.rows[5].readable);
    sr_ledger_release(&ledger);
}

/* Each new column gives a row that is too long an empty cell; it is the same row all the same. */
static void test_long_rows_are_known_under_more_columns(void **state)
{
    (void)state;
    const char *old = "wobble_px,fingerprint\n1,00000000000000aa,,windy\n1,00000000000000aa,,calm\n";
    put_text("old.csv", old);
    put_text("club.csv", old);
    put_text("c.csv", "fingerprint,theirs,wobble_px\n00000000000000bb,t,2\n");
    assert_count(merge_ledgers("club.csv", "c.csv"), 1, 0, 0);
    assert_count(merge_ledgers("club.csv", "old.csv"), 0, 2, 0);

    put_text("other.csv", "fingerprint,mine,wobble_px\n00000000000000cc,m,3\n");
    assert_count(merge_ledgers("other.csv", "old.csv"), 0, 0, 2);
    assert_count(merge_ledgers("other.csv", "c.csv"), 1, 0, 0);
    assert_count(merge_ledgers("other.csv", "old.csv"), 0, 2, 0);
}

static void test_columns_without_a_name_keep_their_order(void **state)
{
    (void)state;
    put_text("a.csv", "fingerprint,,wobble_px\n00000000000000aa,x,1\n");
    put_text("b.csv", "wobble_px,,,fingerprint\n2,y,z,00000000000000bb\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 1, 0, 0);
    assert_file_is("a.csv", "fingerprint,,wobble_px,\n00000000000000aa,x,1\n00000000000000bb,y,2,z\n");
}

#define RATED "fingerprint,rating,wobble_px\n"

/* What one has rated and the other not is rated after it; who has rated keeps it, and is told of the other.
 */
static void test_ratings_come_along(void **state)
{
    (void)state;
    put_text("a.csv", RATED "00000000000000aa,,1\r\n00000000000000bb\t, ,\"1\"\n00000000000000cc,clean,1\n"
                            "00000000000000dd,Bad,1\n00000000000000ee,good,1\n");
    put_text("b.csv", "wobble_px,fingerprint,rating\n1,00000000000000aa,bad\n1,00000000000000bb,CLEAN\n"
                      "1,00000000000000cc,slight\n1,00000000000000dd,bad\n1,00000000000000ee,bad\n"
                      "1,00000000000000aa,clean\n1,00000000000000ff,\n1,00000000000000ff,slight\n");
    struct sr_merge_count count = merge_ledgers("a.csv", "b.csv");
    assert_count(count, 2, 6, 0);
    assert_int_equal(count.rated, 2);
    assert_int_equal(count.rated_otherwise, 2);
    assert_int_equal(count.rated_otherwise_line, 4);
    assert_file_is("a.csv", RATED
                   "00000000000000aa,bad,1\r\n00000000000000bb\t,clean,\"1\"\n00000000000000cc,clean,1\n"
                   "00000000000000dd,Bad,1\n00000000000000ee,good,1\n00000000000000ee,bad,1\n"
                   "00000000000000ff,slight,1\n");
    count = merge_ledgers("a.csv", "b.csv");
    assert_count(count, 0, 8, 0);
    assert_int_equal(count.rated, 0);
    assert_int_equal(count.rated_otherwise, 2);
}

/* Into rows that are too short for a rating, and into a ledger that has no such column. */
static void test_ratings_find_their_place(void **state)
{
    (void)state;
    put_text("b.csv", RATED "00000000000000aa,bad,1\n");
    put_text("a.csv", "wobble_px,fingerprint,note,rating\n1,00000000000000aa\n2,00000000000000bb\n");
    assert_int_equal(merge_ledgers("a.csv", "b.csv").rated, 1);
    assert_file_is("a.csv",
                   "wobble_px,fingerprint,note,rating\n1,00000000000000aa,,bad\n2,00000000000000bb\n");
    put_text("a.csv", "wobble_px,fingerprint\n1,00000000000000aa\nx,00000000000000bb,long\n");
    assert_int_equal(merge_ledgers("a.csv", "b.csv").rated, 1);
    assert_file_is("a.csv",
                   "wobble_px,fingerprint,rating\n1,00000000000000aa,bad\nx,00000000000000bb,long,\n");
}

/* A fingerprint is a number written in hexadecimal: the letters' case does not make it another one. */
static void test_prints_in_capitals_are_the_same(void **state)
{
    struct sr_ledger_row row = bare_row("00000000000000ab", 1);
    enum sr_added added = SR_ADDED;
    (void)state;
    put_text("a.csv", "fingerprint,wobble_px,rating\n00000000000000AB,1,\n");
    put_text("b.csv", "fingerprint,wobble_px\n00000000000000ab,1\n00000000000000aB,2\n");
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 2, 0);
    assert_int_equal(sr_ledger_rate("a.csv", "00000000000000aB", SR_RATED_BAD, NULL), SR_OK);
    assert_file_is("a.csv", "fingerprint,wobble_px,rating\n00000000000000AB,1,bad\n");
    assert_int_equal(sr_ledger_add("a.csv", &row, &added, NULL), SR_OK);
    assert_int_equal(added, SR_ADDED_BEFORE);
}

/*
 * A spreadsheet reads digits, also with one e among them, as a number, and writes 15 of them back: those are
 * kept as texts by an apostrophe. Other fingerprints stand as they are.
 */
static void test_prints_that_look_like_numbers(void **state)
{
    static const struct {
        const char *print, *written;
    } cases[] = {
        {"1234567890123456", "'1234567890123456"}, {"0000000000000012", "'0000000000000012"},
        {"12345678901234e5", "'12345678901234e5"}, {"1E34567890123456", "'1E34567890123456"},
        {"e234567890123456", "e234567890123456"},  {"123456789012345e", "123456789012345e"},
        {"1e345678e0123456", "1e345678e0123456"},  {"12345678a0123456", "12345678a0123456"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sr_ledger_row row = bare_row(cases[i].print, 1);
        char plain[128], written[128];
        enum sr_added added = SR_ADDED_BEFORE;
        struct sr_ledger ledger;
        put_text("a.csv", "fingerprint,wobble_px\n");
        assert_int_equal(sr_ledger_add("a.csv", &row, &added, NULL), SR_OK);
        assert_int_equal(added, SR_ADDED);
        char *text = get_text("a.csv");
        snprintf(written, sizeof written, "\n%s,1,", cases[i].written);
        assert_non_null(strstr(text, written));
        free(text);
        read_ledger(&ledger, "a.csv");
        assert_true(ledger.rows[0].readable);
        assert_string_equal(ledger.rows[0].fingerprint, cases[i].print);
        sr_ledger_release(&ledger);
        assert_int_equal(sr_ledger_add("a.csv", &row, &added, NULL), SR_OK);
        assert_int_equal(added, SR_ADDED_BEFORE);
        /* As an older ledger has it, and merged from there. */
        snprintf(plain, sizeof plain, "fingerprint,wobble_px\n%s,1\n", cases[i].print);
        snprintf(written, sizeof written, "fingerprint,wobble_px\n%s,1\n", cases[i].written);
        put_text("b.csv", plain);
        assert_count(merge_ledgers("a.csv", "b.csv"), 0, 1, 0);
        put_text("a.csv", "fingerprint,wobble_px\n");
        assert_count(merge_ledgers("a.csv", "b.csv"), 1, 0, 0);
        assert_file_is("a.csv", written);
    }
}

static void test_a_missing_ledger_is_begun(void **state)
{
    (void)state;
    struct sr_ledger ledger;
    put_text("b.csv", "theirs,fingerprint,wobble_px\nt,00000000000000bb,2\n");
    assert_count(merge_ledgers("new.csv", "b.csv"), 1, 0, 0);
    read_ledger(&ledger, "new.csv");
    assert_string_equal(ledger.columns[0], "ledger");
    assert_string_equal(ledger.columns[34], "theirs");
    assert_string_equal(sr_ledger_cell(&ledger, 0, 34), "t");
    assert_near(ledger.rows[0].wobble_px, 2, 0);
    sr_ledger_release(&ledger);

    struct sr_error err = {0};
    struct sr_merge_count count;
    assert_int_equal(sr_ledger_merge("new.csv", "missing.csv", &count, &err), SR_ERR_OPEN);
    assert_string_equal(err.file, "missing.csv");
    assert_int_equal(sr_ledger_read(&ledger, "missing.csv", &err), SR_ERR_OPEN);
}

static void test_large_ledgers_merge_by_content(void **state)
{
    (void)state;
    struct sr_ledger ledger;
    FILE *a = fopen("a.csv", "w"), *b = fopen("b.csv", "w");
    assert_true(a != NULL && b != NULL);
    fputs(HEADER, a);
    fputs(HEADER, b);
    for (unsigned i = 0; i < 5000; i++) {
        fprintf(a, "%016x,1,heron\nbad %u\n", 2 * i, i);
        fprintf(b, "%016x,1,heron\nbad %u\n", 3 * i, i + 2500);
    }
    assert_int_equal(fclose(a) | fclose(b), 0);
    /* Multiples of 6 below 10000 are in both: 1667 of them. */
    assert_count(merge_ledgers("a.csv", "b.csv"), 5000 - 1667, 1667 + 2500, 2500);
    read_ledger(&ledger, "a.csv");
    assert_int_equal(ledger.n_rows, 10000 + 5000 - 1667 + 2500);
    sr_ledger_release(&ledger);
    assert_count(merge_ledgers("a.csv", "b.csv"), 0, 10000, 0);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_new_rows_follow_the_old),
        TEST(test_rows_keep_their_bytes_where_columns_agree),
        TEST(test_formulas_come_as_texts),
        TEST(test_columns_are_brought_together_by_name),
        TEST(test_long_rows_survive_whole),
        TEST(test_long_rows_are_known_under_more_columns),
        TEST(test_columns_without_a_name_keep_their_order),
        TEST(test_ratings_come_along),
        TEST(test_ratings_find_their_place),
        TEST(test_prints_in_capitals_are_the_same),
        TEST(test_prints_that_look_like_numbers),
        TEST(test_a_missing_ledger_is_begun),
        TEST(test_large_ledgers_merge_by_content),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
