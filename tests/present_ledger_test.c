/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is said of ledgers, rankings and thresholds, from results made up by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

#include "stillrow/ledger_report.h"
#include "support/ledger_file.h"
#include "support/near.h"
#include "support/page.h"

static const struct sr_style plain = {false, false}, colored = {true, true};

/* One line of JSON, read back. */
static json_t *read_back(struct page *page)
{
    json_error_t error;
    const char *text = page_text(page);
    assert_ptr_equal(strchr(text, '\n'), text + strlen(text) - 1);
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        fail_msg("%s in:\n%s", error.text, text);
    return root;
}

/* The value at a path of keys ("setups.1.best_shore_a"; digits index arrays). */
static const json_t *value_at(const json_t *at, const char *path)
{
    char key[64];
    for (size_t length; *path != '\0'; path += length + (path[length] == '.')) {
        length = strcspn(path, ".");
        snprintf(key, sizeof key, "%.*s", (int)length, path);
        at = json_is_array(at) ? json_array_get(at, strtoul(key, NULL, 10)) : json_object_get(at, key);
    }
    assert_non_null(at);
    return at;
}

static void assert_number(const json_t *root, const char *path, double expected)
{
    const json_t *value = value_at(root, path);
    if (!json_is_number(value))
        fail_msg("%s is no number", path);
    assert_near(json_number_value(value), expected, 1e-5 * (1 + fabs(expected)));
}

static void assert_schema(const json_t *root, const char *schema)
{
    assert_string_equal(json_string_value(json_object_get(root, "schema")), schema);
}

/* ---- The results ---- */

static struct sr_trend trend = {.flights = 6,
                                .by_date = true,
                                .slope_db = 1.25,
                                .growth_db = 6.25,
                                .p_value = 0.0014,
                                .grown = true,
                                .text = "the wobble has grown"};
static const struct sr_recorded recorded = {.path = "l\033.csv",
                                            .log = "\xff.csv",
                                            .fingerprint = "00000000000000aa",
                                            .added = SR_ADDED,
                                            .trend = &trend,
                                            .other_rigs = 1,
                                            .unreadable_line = 7,
                                            .assumed = "no rig given",
                                            .mount_note = "of a camera fixed to the frame",
                                            .mount_in = SR_MOUNT_IN_NO};

static struct sr_rank_cell cells[3] = {{50, 4, 2, {-3, -4.5, -1.5}, 1, true},
                                       {60, 3, 1, {-1, -1.02, 0.04}, 1, true},
                                       {70, 1, 1, {2, NAN, NAN}, NAN, false}};
static struct sr_rank_setup setups[2] = {
    {"A\033", "4 inch", 10, 20, cells, 3, 8, 0, 1, 2, 0.03, true, true},
    {"", "", NAN, NAN, cells + 2, 1, 1, SR_RANK_NONE, SR_RANK_NONE, NAN, NAN, false, false}};
static struct sr_rank_choice singles[2] = {{{50, 50}, 1, 1, 0, 0, {1, 0.025, 1}, 0, 0, 0},
                                           {{60, 60}, 1, 1, 0, 0, {1, 0.025, 1}, 2, 2, 0}};
static struct sr_rank_choice pairs[1] = {{{50, 60}, 2, 1, 0, 0, {1, 0.025, 1}, 0, 0, 0}};
static struct sr_rank rank = {setups, 2, 1, 1, singles, 2, pairs, 1, false, true,
                              9,      1, 2, 3, 4,       5, 6,     7, NULL};
static struct sr_kappa_report kappas[3] = {
    {"tpu", true, {{0.02, 0.018, 0.022}, 7, 3, 3, 25, 0.02}, NULL},
    {"silicone", true, {{-0.001, -0.005, 0.003}, 7, 3, 3, 25, 0.02}, NULL},
    {"natural-rubber", false, {{0, 0, 0}, 0, 0, 0, 0, 0}, "too few"}};
static const struct sr_rank_report rank_report = {"l.csv", &rank, kappas, 3, false};

static struct sr_threshold threshold = {SR_THRESHOLD_FITTED,
                                        {0.875, 0.75, 1.0},
                                        1.25,
                                        0.5,
                                        {0.7, 5, 0.4, 1.1, -20, -40, 1e-9, 50, 30},
                                        3.8,
                                        20,
                                        18,
                                        12,
                                        5,
                                        7,
                                        1,
                                        2,
                                        3,
                                        4,
                                        6,
                                        46,
                                        0};
static const struct sr_threshold_report threshold_report = {"l.csv", &threshold, "rig.ini",
                                                            1.2323,  2704,       false};

static struct sr_ledger ledger;
static struct sr_ledger_counts counts;
static const struct sr_ledger_check_report check_report = {"l.csv", &ledger, &counts};
static const struct sr_merge_count merged = {.added = 3,
                                             .known = 6,
                                             .unreadable = 1,
                                             .rated = 2,
                                             .filled = 5,
                                             .rated_otherwise = 4,
                                             .rated_otherwise_line = 17,
                                             .differ = 1,
                                             .differ_line = 19,
                                             .differ_column = "da\033te"};

static int prepare(void **state)
{
    if (enter_ledger_folder(state) != 0)
        return -1;
    FILE *file = fopen("l.csv", "w");
    if (file == NULL)
        return -1;
    fputs("fingerprint,wobble_px,build,date,shore_a,rating,log,boat,mount_in\n"
          "00000000000000aa,0.5,kingfisher-of-the-upper-lake,2026-06-14,50,bad,\033[2J.csv,\xff eight,No\n"
          "00000000000000ab,x,heron,,,,,\n"
          "00000000000000ac,12.34,heron,soon,,,,\n"
          "00000000000000ac,12.34,heron,soon,,,,\n",
          file);
    if (fclose(file) != 0 || sr_ledger_read(&ledger, "l.csv", NULL) != SR_OK)
        return -1;
    return sr_ledger_count(&counts, &ledger, NULL) == SR_OK ? 0 : -1;
}

static int finish(void **state)
{
    sr_ledger_release(&ledger);
    return leave_ledger_folder(state);
}

/* ---- Text ---- */

static void test_recorded(void **state)
{
    struct page page;
    (void)state;
    page_open(&page);
    sr_recorded_text(page.out, &plain, &recorded);
    assert_says(page_text(&page), "  ledger    added to l?.csv as 00000000000000aa\n");
    assert_says(page_text(&page), "  note: the wobble has grown\n");
    assert_says(page_text(&page), "  note: line 7 has this log too, and cannot be read");
    assert_says(page_text(&page), "  note: no rig given\n");
    assert_says(page_text(&page), "  note: of a camera fixed to the frame\n");
    assert_says(page_text(&page),
                "  note: no mount is in this wobble, so 'ledger rank' leaves the flight out");
    page_close(&page);

    /* The row that is there is of another side; what is the rig's was said before. */
    struct sr_recorded before = recorded;
    before.added = SR_ADDED_BEFORE;
    before.rig_told = true;
    before.otherwise = SR_MOUNT_IN_LOGGED;
    before.otherwise_line = 12;
    page_open(&page);
    sr_recorded_text(page.out, &plain, &before);
    assert_says(page_text(&page), "is there already, nothing written");
    assert_says(page_text(&page), "line 12) has mount_in 'logged', and with this rig");
    assert_silent_on(page_text(&page), "no rig given");
    assert_silent_on(page_text(&page), "no mount is in this wobble");
    page_close(&page);
    before.otherwise = SR_MOUNT_IN_UNKNOWN;
    page_open(&page);
    sr_recorded_text(page.out, &plain, &before);
    assert_says(page_text(&page), "write 'no' under mount_in");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_recorded_json(page.out, &recorded, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_schema(root, "stillrow.ledger/1");
    assert_true(json_is_true(value_at(root, "added")));
    assert_number(root, "trend.slope_db", 1.25);
    assert_true(json_is_true(value_at(root, "trend.grown")));
    assert_string_equal(json_string_value(value_at(root, "log")), "\ufffd.csv");
    assert_string_equal(json_string_value(value_at(root, "mount_in")), "no");
    /* The notes of the text, also where they were said of a flight before. */
    assert_int_equal(json_array_size(value_at(root, "notes")), 6);
    assert_string_equal(json_string_value(value_at(root, "notes.2")), "the wobble has grown");
    assert_string_equal(json_string_value(value_at(root, "notes.3")), "no rig given");
    assert_string_equal(json_string_value(value_at(root, "notes.4")), "of a camera fixed to the frame");
    json_decref(root);
    page_close(&page);
}

static void test_list(void **state)
{
    struct page page;
    (void)state;
    page_open(&page);
    sr_ledger_list_text(page.out, &plain, &ledger, NULL);
    const char *text = page_text(&page);
    assert_says(text, "2026-06-14  kingfisher-o   50     -   0.500  -         bad     00000000  ?[2J.csv\n");
    assert_says(text, "line 3 cannot be read: wobble_px: 'x' is not a number\n");
    assert_says(text, "3 flights; 1 row cannot be read\n");
    page_close(&page);

    page_open(&page);
    sr_ledger_list_text(page.out, &colored, &ledger, "heron");
    assert_silent_on(page_text(&page), "kingfisher");
    assert_says(page_text(&page), "2 flights\n");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_ledger_list_json(page.out, &ledger, "kingfisher-of-the-upper-lake", NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_schema(root, "stillrow.ledger/1");
    assert_number(root, "line", 2);
    assert_number(root, "wobble_px", 0.5);
    assert_true(json_is_null(value_at(root, "temperature_c")));
    assert_string_equal(json_string_value(value_at(root, "mount_in")), "no");
    assert_string_equal(json_string_value(value_at(root, "cells.boat")), "\ufffd eight");
    json_decref(root);
    page_close(&page);
}

static void test_check_and_merge(void **state)
{
    struct page page;
    (void)state;
    assert_int_equal(counts.doubled, 1);
    assert_int_equal(counts.builds, 2);
    page_open(&page);
    sr_ledger_check_text(page.out, &plain, &check_report);
    assert_says(page_text(&page),
                "l.csv  4 rows, 3 of them readable; 2 builds; 1 rated (0 clean, 0 slight, 1 bad)\n");
    assert_says(page_text(&page),
                "1 the same flight as a row above, not counted: remove one of the two (line 5)\n");
    assert_says(page_text(&page), "2 with a date not as 2026-06-14");
    assert_says(page_text(&page), "write it so (the first on line 4)\n");
    assert_says(page_text(&page), "2 without a hardness");
    assert_says(page_text(&page), "3 without a temperature");
    assert_says(page_text(&page), "1 with a hardness that is not in their wobble (mount_in no)");
    assert_silent_on(page_text(&page), "not saying");
    assert_says(page_text(&page), "line 3 cannot be read");
    assert_silent_on(page_text(&page), "nothing wrong");
    assert_silent_on(page_text(&page), "cells between");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_ledger_check_json(page.out, &check_report, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_schema(root, "stillrow.ledger/1");
    assert_number(root, "doubled", 1);
    assert_number(root, "first_doubled_line", 5);
    assert_number(root, "first_odd_date_line", 4);
    assert_string_equal(json_string_value(value_at(root, "delimiter")), ",");
    assert_string_equal(json_string_value(value_at(root, "decimal")), ".");
    assert_number(root, "rated.bad", 1);
    assert_number(root, "no_mount", 1);
    assert_number(root, "mount_unknown", 0);
    assert_number(root, "unreadable.0.line", 3);
    json_decref(root);
    page_close(&page);

    page_open(&page);
    sr_ledger_merge_text(page.out, "a.csv", "b.csv", &merged);
    assert_says(page_text(&page),
                "b.csv  3 flights added to a.csv, 6 known already (2 not rated yet: rated as there; 5 with "
                "empty cells: filled in from there), 1 row that cannot be read");
    assert_says(page_text(&page), "  1 known flight differs there (line 19, da?te), not taken over\n");
    assert_says(page_text(&page),
                "  4 known flights are rated otherwise there (first line 17), not taken over; "
                "'ledger rate' settles it\n");
    page_close(&page);
    page_open(&page);
    assert_int_equal(sr_ledger_merge_json(page.out, "a.csv", "b.csv", &merged, NULL), SR_OK);
    root = read_back(&page);
    assert_number(root, "added", 3);
    assert_number(root, "unreadable", 1);
    assert_number(root, "now_rated", 2);
    assert_number(root, "rated_otherwise", 4);
    assert_number(root, "rated_otherwise_line", 17);
    assert_number(root, "filled", 5);
    assert_number(root, "differ", 1);
    assert_number(root, "differ_line", 19);
    json_decref(root);
    page_close(&page);
}

static void test_rank(void **state)
{
    struct page page;
    (void)state;
    page_open(&page);
    sr_rank_text(page.out, &plain, &rank_report);
    const char *text = page_text(&page);
    assert_says(text, "l.csv  9 flights in 2 setups");
    assert_says(text, "A?, 4 inch, 10 to 20 C\n");
    assert_says(text, "  *  50 A    -3.0 dB  -4.5 to -1.5       4 flights of 2 builds\n");
    assert_says(text, "     60 A    -1.0 dB  -1.0 to +0.0       3 flights of 1 build\n");
    assert_says(text, "     70 A    +2.0 dB                     1 flight of 1 build: too few\n");
    assert_says(text, "50 A is best, clearly, 2.0 dB before 60 A (p = 0.03); no build flew both\n");
    assert_says(text, "motor not given, prop not given, no temperature given\n");
    assert_says(text, "too few flights: it takes 3 of one hardness\n");
    assert_says(text, "  * 50 A              1     0        0  100 % (2 to 100)      0.0 dB\n");
    assert_says(text, "100 % (2 to 100)      2.0 dB  A?, 4 inch, 10 to 20 C\n");
    assert_says(text, "  * 50 and 60 A ");
    assert_says(text, "not settled");
    assert_says(text, "16 rows left out: 1 cannot be read, 2 unproven");
    assert_says(text, "6 whose wobble has no mount in it");
    assert_says(text, "note: 7 of the flights ranked do not say whether the mount is in their wobble");
    assert_says(text, "note: 5 rows of flights that stand there already, counted once");
    assert_says(text, "tpu gets softer by 2.00 % a kelvin (95 % interval 1.80 to 2.20");
    assert_says(text, "silicone gets stiffer by 0.10 % a kelvin (95 % interval -0.30 to 0.50");
    assert_says(text, "no change is");
    assert_says(text, "natural-rubber: too few");
    page_close(&page);

    page_open(&page);
    struct sr_rank none = {0};
    const struct sr_rank_report nothing = {"l.csv", &none, NULL, 0, true};
    sr_rank_text(page.out, &plain, &nothing);
    assert_says(page_text(&page), "too few flights to choose for all");
    page_close(&page);
}

static void test_rank_json(void **state)
{
    struct page page;
    (void)state;
    page_open(&page);
    assert_int_equal(sr_rank_json(page.out, &rank_report, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_schema(root, "stillrow.rank/1");
    assert_number(root, "setups.0.hardness.0.level_db", -3);
    assert_number(root, "setups.0.hardness.1.flights", 3);
    assert_true(json_is_null(value_at(root, "setups.0.hardness.2.low_db")));
    assert_number(root, "setups.0.best_shore_a", 50);
    assert_true(json_is_null(value_at(root, "setups.1.best_shore_a")));
    assert_true(json_is_null(value_at(root, "setups.1.from_c")));
    assert_true(json_is_true(value_at(root, "setups.0.no_build_flew_both")));
    assert_number(root, "single.1.worst_regret_db", 2);
    assert_number(root, "pair.0.shore_a.1", 60);
    assert_true(json_is_false(value_at(root, "single_settled")));
    assert_true(json_is_true(value_at(root, "pair_settled")));
    assert_number(root, "kappa.0.kappa", 0.02);
    assert_string_equal(json_string_value(value_at(root, "kappa.2.reason")), "too few");
    assert_number(root, "left_out.no_level", 4);
    assert_number(root, "left_out.doubled", 5);
    assert_number(root, "left_out.no_mount", 6);
    assert_number(root, "mount_unknown", 7);
    json_decref(root);
    page_close(&page);
}

static void test_threshold(void **state)
{
    struct page page;
    (void)state;
    page_open(&page);
    sr_threshold_text(page.out, &plain, &threshold_report);
    const char *text = page_text(&page);
    assert_says(text, "l.csv  50 rated flights: 20 clean, 18 slight, 12 bad; 7 not rated\n");
    assert_says(text, "wobble starts to show at 0.875 px RMS on a picture 1920 px wide\n");
    assert_says(text,
                "95 % interval 0.750 to 1.00 px, by profile likelihood; relation shown with p = 1e-09\n");
    assert_says(text, "3.8 dB; 5 of 50 flights are rated otherwise\n");
    assert_says(text, "6 rated flights left out: 1 unproven");
    assert_says(text, "note: 6 rows of flights that stand there already, counted once");
    assert_says(text, "4 rows of the ledger cannot be read");
    assert_says(text, "written to rig.ini: px = 1.23, for its picture of 2704 px\n");
    page_close(&page);

    struct sr_threshold bracket = threshold;
    bracket.kind = SR_THRESHOLD_BRACKET;
    const struct sr_threshold_report report = {"l.csv", &bracket, NULL, 0, 1920, false};
    page_open(&page);
    sr_threshold_text(page.out, &plain, &report);
    assert_says(page_text(&page), "wobble starts to show between 0.750 and 1.00 px RMS on a picture");
    assert_says(page_text(&page), "half way is 0.875 px\n");
    assert_silent_on(page_text(&page), "written");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_threshold_json(page.out, &threshold_report, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_schema(root, "stillrow.threshold/1");
    assert_number(root, "px.value", 0.875);
    assert_number(root, "px.low", 0.75);
    assert_number(root, "slope", 5);
    assert_number(root, "rated.slight", 18);
    assert_number(root, "left_out.unrated", 7);
    assert_number(root, "rated.with_mount", 46);
    assert_number(root, "left_out.doubled", 6);
    assert_number(root, "written_px", 1.2323);
    assert_string_equal(json_string_value(value_at(root, "kind")), "fitted");
    json_decref(root);
    page_close(&page);
    page_open(&page);
    assert_int_equal(sr_threshold_json(page.out, &report, NULL), SR_OK);
    root = read_back(&page);
    assert_string_equal(json_string_value(value_at(root, "kind")), "bracket");
    assert_true(json_is_null(value_at(root, "slope")));
    assert_null(json_object_get(root, "written"));
    json_decref(root);
    page_close(&page);
}

/* ---- What goes wrong ---- */

static enum sr_status json_of(int which, FILE *out, struct sr_error *err)
{
    switch (which) {
    case 0:
        return sr_recorded_json(out, &recorded, err);
    case 1:
        return sr_ledger_list_json(out, &ledger, "kingfisher-of-the-upper-lake", err);
    case 2:
        return sr_ledger_check_json(out, &check_report, err);
    case 3:
        return sr_ledger_merge_json(out, "a", "b", &merged, err);
    case 4:
        return sr_rank_json(out, &rank_report, err);
    default:
        return sr_threshold_json(out, &threshold_report, err);
    }
}

/* Allocation number `left` of jansson fails, and every one after it. */
static size_t left;

static void *scarce(size_t size)
{
    if (left == 0)
        return NULL;
    left--;
    return malloc(size);
}

static void test_memory_runs_out_at_every_step(void **state)
{
    (void)state;
    for (int which = 0; which < 6; which++) {
        size_t failures = 0;
        enum sr_status status = SR_ERR_MEMORY;
        json_set_alloc_funcs(scarce, free);
        for (size_t n = 0; status != SR_OK; n++) {
            struct page page;
            struct sr_error err = {0};
            page_open(&page);
            left = n;
            status = json_of(which, page.out, &err);
            assert_int_equal(status, err.status);
            if (status != SR_OK) {
                assert_int_equal(status, SR_ERR_MEMORY);
                assert_string_equal(page_text(&page), "");
                failures++;
            }
            page_close(&page);
        }
        json_set_alloc_funcs(malloc, free);
        assert_true(failures > 15);
    }
}

static void test_a_full_disk_is_noticed(void **state)
{
    (void)state;
    for (int which = 0; which < 6; which++) {
        FILE *full = fopen("/dev/full", "w");
        assert_non_null(full);
        setvbuf(full, NULL, _IONBF, 0);
        assert_int_equal(json_of(which, full, NULL), SR_ERR_WRITE);
        fclose(full);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_recorded),
        cmocka_unit_test(test_list),
        cmocka_unit_test(test_check_and_merge),
        cmocka_unit_test(test_rank),
        cmocka_unit_test(test_rank_json),
        cmocka_unit_test(test_threshold),
        cmocka_unit_test(test_memory_runs_out_at_every_step),
        cmocka_unit_test(test_a_full_disk_is_noticed),
    };
    return cmocka_run_group_tests(tests, prepare, finish);
}
