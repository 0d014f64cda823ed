/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A program around the library that has chosen a locale with decimal commas: files and messages keep points.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/kappa.h"
#include "stillrow/ledger_report.h"
#include "stillrow/rig.h"
#include "stillrow/threshold.h"
#include "stillrow/trend.h"
#include "support/comma_locale.h"
#include "support/ledger_file.h"
#include "support/near.h"

#define FIRST  "0123456789abcdef"
#define SECOND "fedcba9876543210"

static int begin(void **state)
{
    return make_comma_locale(state) | enter_ledger_folder(state);
}

static int finish(void **state)
{
    return leave_ledger_folder(state) | remove_comma_locale(state);
}

static void add(const char *path, const char *fingerprint, double wobble_px)
{
    struct sr_error err = {0};
    enum sr_added added;
    struct sr_ledger_row row = bare_row(fingerprint, wobble_px);
    row.shore_a = 52.5;
    if (sr_ledger_add(path, &row, &added, &err) != SR_OK)
        fail_msg("%s", err.text);
    assert_int_equal(added, SR_ADDED);
}

/* The same calls as in the C locale leave the same bytes. */
static void write_ledgers(const char *path, const char *other)
{
    struct sr_merge_count count;
    enum sr_added added;
    add(path, FIRST, 0.512345);
    add(other, SECOND, 1234.5);
    assert_int_equal(sr_ledger_merge(path, other, &count, NULL), SR_OK);
    assert_int_equal(count.added, 1);
    assert_int_equal(sr_ledger_rate(path, "fed", SR_RATED_BAD, NULL), SR_OK);
    struct sr_ledger_row again = bare_row(FIRST, 0.512345);
    again.shore_a = 52.5;
    assert_int_equal(sr_ledger_add(path, &again, &added, NULL), SR_OK);
    assert_int_equal(added, SR_ADDED_BEFORE);
}

static void test_files_are_the_same(void **state)
{
    struct sr_ledger ledger;
    (void)state;
    write_ledgers("plain.csv", "plain-2.csv");
    char *plain = get_text("plain.csv");
    assert_non_null(strstr(plain, ",0.512345,"));
    begin_comma("ledgers written and read where the program's locale has decimal commas");
    write_ledgers("comma.csv", "comma-2.csv");
    assert_file_is("comma.csv", plain);
    read_ledger(&ledger, "comma.csv");
    assert_int_equal(ledger.n_unreadable, 0);
    assert_near(ledger.rows[0].wobble_px, 0.512345, 1e-12);
    assert_near(ledger.rows[0].shore_a, 52.5, 1e-12);
    sr_ledger_release(&ledger);
    /* A comma is no decimal sign of a ledger, in no locale. */
    put_text("odd.csv", "fingerprint,wobble_px\n" FIRST ",\"0,5\"\n");
    read_ledger(&ledger, "odd.csv");
    assert_int_equal(ledger.n_unreadable, 1);
    assert_string_equal(ledger.rows[0].problem, "wobble_px: '0,5' is not a number; write it with a point");
    sr_ledger_release(&ledger);
    end_comma();
    free(plain);
}

#define ROWS 12

/* Ten flights of one build that get worse day by day; ratings that have nothing to do with it. */
static void make_rows(struct sr_ledger_row *rows, struct sr_ledger *ledger)
{
    static char dates[ROWS][16], prints[ROWS][SR_FINGERPRINT_SIZE];
    for (size_t i = 0; i < ROWS; i++) {
        snprintf(dates[i], sizeof dates[i], "2026-06-%02zu", i + 1);
        snprintf(prints[i], sizeof prints[i], "%016zx", i + 1);
        rows[i] = bare_row(prints[i], 0.5 * pow(1.2, (double)i));
        rows[i].readable = true;
        rows[i].build = "heron";
        rows[i].motor = rows[i].prop = rows[i].camera = rows[i].verdict = rows[i].material = "";
        rows[i].date = dates[i];
        rows[i].threshold_px = 1;
        rows[i].temperature_c = 15 + 0.25 * (double)(i % 2);
        rows[i].resonance_hz = 60 + (double)i;
        rows[i].rating = i % 2 == 0 ? SR_RATED_CLEAN : SR_RATED_BAD;
    }
    *ledger = (struct sr_ledger){.rows = rows, .n_rows = ROWS};
}

struct words {
    char threshold[512], kappa[512], trend[512];
};

static void collect(struct words *words)
{
    struct sr_ledger_row rows[ROWS];
    struct sr_ledger ledger;
    struct sr_threshold threshold;
    struct sr_kappa kappa;
    struct sr_trend trend;
    struct sr_error err = {0};

    make_rows(rows, &ledger);
    assert_int_equal(sr_threshold_find(&threshold, &ledger, &err), SR_ERR_DATA);
    snprintf(words->threshold, sizeof words->threshold, "%s", err.text);
    assert_int_equal(sr_ledger_kappa(&kappa, &ledger, SR_MATERIAL_UNKNOWN, &err), SR_ERR_DATA);
    snprintf(words->kappa, sizeof words->kappa, "%s", err.text);
    assert_int_equal(sr_trend_find(&trend, &ledger, &rows[ROWS - 1], &err), SR_OK);
    assert_true(trend.grown);
    snprintf(words->trend, sizeof words->trend, "%s", trend.text);
}

static void test_messages_are_the_same(void **state)
{
    struct words plain = {"", "", ""}, comma = plain;
    (void)state;
    collect(&plain);
    assert_non_null(strstr(plain.threshold, "p = 0."));
    assert_non_null(strstr(plain.kappa, "0.25 C"));
    assert_non_null(strstr(plain.trend, "about 1.6 dB"));
    begin_comma("messages of the ledger where the program's locale has decimal commas");
    collect(&comma);
    assert_string_equal(comma.threshold, plain.threshold);
    assert_string_equal(comma.kappa, plain.kappa);
    assert_string_equal(comma.trend, plain.trend);
    end_comma();
}

static void test_json_has_points(void **state)
{
    struct sr_ledger ledger;
    char *text = NULL;
    size_t size;
    (void)state;
    begin_comma("JSON where the program's locale has decimal commas");
    put_text("l.csv", "fingerprint,wobble_px\n" FIRST ",0.512345\n");
    read_ledger(&ledger, "l.csv");
    FILE *out = open_memstream(&text, &size);
    assert_non_null(out);
    assert_int_equal(sr_ledger_list_json(out, &ledger, NULL, NULL), SR_OK);
    assert_int_equal(fclose(out), 0);
    assert_non_null(strstr(text, "\"wobble_px\":0.512345"));
    assert_null(strstr(text, "0,5"));
    free(text);
    sr_ledger_release(&ledger);
    end_comma();
}

static void test_rig_files(void **state)
{
    struct sr_rig rig;
    struct sr_error err = {0};
    (void)state;
    begin_comma("rig files written and read where the program's locale has decimal commas");
    sr_rig_init(&rig);
    put_text("rig.ini", "[camera]\nreadout_ms = 14.25\nsize = 1920x1080\nfps = 59.94\n");
    if (sr_rig_read(&rig, "rig.ini", &err) != SR_OK)
        fail_msg("%s", err.text);
    assert_near(rig.camera.readout_s, 0.01425, 1e-15);
    assert_near(rig.camera.fps, 59.94, 1e-12);
    assert_int_equal(sr_rig_set(&rig, "camera", "tilt_deg", "2.5", &err), SR_OK);
    assert_near(rig.camera.tilt_deg, 2.5, 1e-12);
    assert_int_equal(sr_rig_set(&rig, "camera", "tilt_deg", "2,5", &err), SR_ERR_RIG);
    assert_int_equal(sr_rig_write_threshold("rig.ini", 0.875, NULL), SR_OK);
    assert_file_is("rig.ini", "[camera]\nreadout_ms = 14.25\nsize = 1920x1080\nfps = 59.94\n\n"
                              "[threshold]\npx = 0.875\n");
    end_comma();
    assert_int_equal(unlink("rig.ini"), 0);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_files_are_the_same),
        TEST(test_messages_are_the_same),
        TEST(test_json_has_points),
        TEST(test_rig_files),
    };
    return cmocka_run_group_tests(tests, begin, finish);
}
