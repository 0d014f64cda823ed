/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The present room, from results made up by hand: what the reports say is compared
 * with what was put in, and the JSON is read back by a parser.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

#include "stillrow/explain_report.h"
#include "stillrow/present.h"
#include "support/near.h"
#include "support/page.h"

static const struct sr_style plain = {false, false};

/* A flight with a known answer in every field that a report shows. */
struct made {
    struct sr_log log;
    struct sr_rig rig;
    struct sr_slices slices;
    struct sr_score score;
    struct sr_score_report report;
    char notes[1][SR_NOTE_MAX];
    struct sr_span spans[1];
};

static void make_log(struct made *made)
{
    struct sr_log *log = &made->log;

    log->name = (char *)"heron \"3\".csv";
    log->n_runs = 1;
    log->count = 42000;
    log->columns =
        (struct sr_columns){.n_columns = 6, .header_line = 3, .delimiter = ';', .decimal_comma = true};
    log->columns.time = (struct sr_column_use){0, "t", "us", true};
    for (int i = 0; i < 3; i++) {
        log->columns.rate[i] = (struct sr_column_use){i + 1, "gyro", "deg/s", false};
        log->columns.accel[i].index = -1;
    }
    log->columns.throttle = (struct sr_column_use){4, "throttle", "%", false};
    log->quality = (struct sr_quality){.rate_hz = 1000.0,
                                       .duration_s = 42.0,
                                       .rows = 42013,
                                       .bad_rows = 9,
                                       .backward_rows = 4,
                                       .first_bad_line = 77,
                                       .gaps = 0,
                                       .jitter_us = 3.25,
                                       .clipped = 5,
                                       .clip_dps = 2000.0,
                                       .nyquist_hz = 500.0};
    log->airborne_how = SR_AIRBORNE_THROTTLE;
    made->spans[0] = (struct sr_span){2.0, 40.0};
    log->airborne = made->spans;
    log->n_airborne = 1;
    snprintf(made->notes[0], SR_NOTE_MAX, "took the unfiltered set of two");
    log->notes = made->notes;
    log->n_notes = 1;
    log->fingerprint = 0x0123456789abcdefU;
}

static void make_score(struct made *made)
{
    static const double low_hz[] = {15.625, 62.5, 250.0, 1000.0};
    static const double high_hz[] = {62.5, 250.0, 500.0, 500.0};
    static const double px[] = {0.3, 3.25, 0.1, 0.0};
    struct sr_score *score = &made->score;

    *score = (struct sr_score){.verdict = SR_WOBBLY,
                               .wobble_px = {3.42, 3.01, 3.88},
                               .median_px = 2.5,
                               .rms_px = 2.625,
                               .threshold_px = 1.0,
                               .headroom_db = -10.68,
                               .steady_share = 0.125,
                               .smear_px = 0.41,
                               .axis_px = {0.5, 3.0, 0.75},
                               .airborne_s = 38.0,
                               .slices = 38,
                               .sees_hz = 500.0,
                               .n_peaks = 1,
                               .rest_share = 0.19,
                               .n_worst = 1};
    for (int i = 0; i < SR_BAND_COUNT - 1; i++)
        score->bands[i] = (struct sr_band_score){
            (enum sr_band)(SR_BAND_BEND + i), low_hz[i], high_hz[i], i < 3, px[i], i == 1 ? 0.93 : 0.03};
    score->peaks[0] = (struct sr_peak){.hz = 212.4,
                                       .rate_dps = 14.1,
                                       .wobble_px = 3.11,
                                       .share = 0.81,
                                       .waves = 3.4,
                                       .crawl_hz = 27.6,
                                       .axis = SR_PITCH,
                                       .cause = SR_CAUSE_ORDER,
                                       .order = 1.0,
                                       .motor = 3,
                                       .true_hz = 212.4,
                                       .evidence = "moves with motor 3"};
    score->worst[0] = (struct sr_moment){59.96, 75.0, 4.21, 212.4, SR_CAUSE_ORDER};
}

static void make(struct made *made)
{
    *made = (struct made){0};
    sr_rig_init(&made->rig);
    make_log(made);
    make_score(made);
    made->slices.window = SR_WINDOW_HANN;
    made->report = (struct sr_score_report){&made->log, &made->rig, &made->slices, &made->score,
                                            .footage_offset_s = NAN};
}

static void test_score_says_what_a_pilot_needs(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    struct page page;
    page_open(&page);
    sr_score_text(page.out, &plain, &made.report);
    const char *text = page_text(&page);
    assert_says(text, "heron \"3\".csv  WOBBLY  footage will wobble\n");
    assert_says(text, "3.42 px  19 s in 20 stay below it (95 % interval 3.01 to 3.88)");
    assert_says(text, "1.00 px  headroom -10.7 dB");
    assert_says(text, "12 %   of 38 s in the air; median 2.50 px, RMS 2.62 px");
    assert_says(text, "0.41 px");
    assert_says(text, "roll 0.50, pitch 3.00, yaw 0.75 px RMS");
    assert_says(text, "15.6 to 62.5");
    assert_says(text, "grain     over 1000  not seen: this log ends at 500 Hz");
    assert_says(text, "212.4");
    assert_says(text, "order 1, motor 3");
    assert_says(text, "1:00.0 to 1:15.0");
    assert_says(text, "mostly at 212 Hz (order)");
    assert_says(text, "note: took the unfiltered set of two");
    assert_says(text, "assumed");
    assert_silent_on(text, "\033");
    page_close(&page);
}

static void test_score_gives_moments_in_footage_time(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    made.report.footage_offset_s = -60.0;
    struct page page;
    page_open(&page);
    sr_score_text(page.out, &plain, &made.report);
    assert_says(page_text(&page), "time in the footage");
    assert_says(page_text(&page), "0:00.0 to 0:15.0");
    page_close(&page);
}

static void test_every_verdict_and_cause_has_words(void **state)
{
    static const char *const heads[] = {"STEADY  ", "MARGINAL  ", "WOBBLY  ", "UNPROVEN  "};
    static const char *const causes[] = {"  27.6\n", "  order 2\n", "  fixed\n", "  folded from 1210 Hz\n",
                                         "  broadband\n"};
    struct made made;
    (void)state;
    make(&made);
    made.score.peaks[0].motor = 0;
    made.score.peaks[0].order = 2.0;
    made.score.peaks[0].true_hz = 1210.0;
    for (int i = SR_STEADY; i <= SR_UNPROVEN; i++) {
        struct page page;
        page_open(&page);
        made.score.verdict = (enum sr_verdict)i;
        sr_score_text(page.out, &plain, &made.report);
        assert_says(page_text(&page), heads[i]);
        page_close(&page);
    }
    for (int i = SR_CAUSE_UNDECIDED; i <= SR_CAUSE_BROADBAND; i++) {
        struct page page;
        page_open(&page);
        made.score.peaks[0].cause = (enum sr_cause)i;
        sr_score_text(page.out, &plain, &made.report);
        assert_says(page_text(&page), causes[i]);
        page_close(&page);
    }
    made.score.peaks[0].cause = SR_CAUSE_ORDER;
    made.score.peaks[0].order = 0.0;
    struct page page;
    page_open(&page);
    sr_score_text(page.out, &plain, &made.report);
    assert_says(page_text(&page), "  follows the motors\n");
    page_close(&page);
    made.score.n_peaks = 0;
    page_open(&page);
    sr_score_text(page.out, &plain, &made.report);
    assert_says(page_text(&page), "No single line");
    page_close(&page);
}

static void test_a_filtered_log_is_not_blamed_on_its_rate(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    made.score.sees_hz = 210.0;
    struct page page;
    page_open(&page);
    sr_score_text(page.out, &plain, &made.report);
    assert_says(page_text(&page), "not seen: this log looks filtered above 210 Hz\n");
    page_close(&page);
    made.log.quality.bridged_hz = 210.0;
    page_open(&page);
    sr_score_text(page.out, &plain, &made.report);
    assert_says(page_text(&page), "not seen: this log lacks too many rows above 210 Hz\n");
    page_close(&page);
}

/* The same list of trials, by what the verdict asks for. */
static void test_what_to_try_follows_the_verdict(void **state)
{
    static const struct {
        enum sr_verdict verdict;
        double sees_hz, bridged_hz;
        const char *head, *next;
    } cases[] = {{SR_WOBBLY, 500, 0, "\n  what to try, with the wobble to expect (threshold ",
                  "\n      wobble    change\n"},
                 {SR_MARGINAL, 500, 0, "\n  what to try, with the wobble to expect (threshold ",
                  "\n      wobble    change\n"},
                 {SR_STEADY, 500, 0, "\n  nothing needs to change\n",
                  "\n  for reference, the wobble with each of these"},
                 {SR_UNPROVEN, 500, 0, "\n  what to try first\n  log the gyro faster, at ",
                  "\n  for reference, what each of these makes of the part seen"},
                 {SR_UNPROVEN, 210, 0, "\n  what to try first\n  log the gyro unfiltered: ", "up to 210 Hz"},
                 {SR_UNPROVEN, 210, 210,
                  "\n  what to try first\n  log the gyro without losing rows: ", "up to 210 Hz"}};
    const struct sr_trial trial = {.what = "balance the prop of motor 3", .wobble_px = 0.5, .gain_db = 3};
    const struct sr_causes causes = {.source = SR_SPEED_NONE};
    const struct sr_change change = {.found = false};
    struct made made;

    (void)state;
    make(&made);
    made.log.quality.nyquist_hz = 500;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct page page;
        struct sr_explain_report report = {made.report, &causes, &change, &trial, 1};
        made.score.verdict = cases[i].verdict;
        made.score.sees_hz = cases[i].sees_hz;
        made.log.quality.bridged_hz = cases[i].bridged_hz;
        page_open(&page);
        sr_explain_text(page.out, &plain, &report);
        assert_says(page_text(&page), cases[i].head);
        assert_says(page_text(&page), cases[i].next);
        assert_says(page_text(&page), "balance the prop of motor 3");
        page_close(&page);
        /* With nothing to list, what the verdict says stays. */
        report.n_trials = 0;
        page_open(&page);
        sr_explain_text(page.out, &plain, &report);
        assert_true((strstr(page_text(&page), cases[i].head) != NULL) == (i >= 2));
        assert_null(strstr(page_text(&page), "wobble    change"));
        page_close(&page);
    }
}

static void test_table_counts_failures(void **state)
{
    const struct sr_score_line lines[] = {{"a.csv", SR_STEADY, 0.5, 1.0, 6.02, 1.0},
                                          {"b\033.csv", SR_WOBBLY, 2.0, 1.0, -6.02, 0.25}};
    (void)state;
    struct page page;
    page_open(&page);
    sr_score_table(page.out, &plain, lines, 2, 1);
    assert_says(page_text(&page), "steady         0.50          1.00         +6.0    100 %  a.csv\n");
    assert_says(page_text(&page), "b?.csv");
    assert_says(page_text(&page), "1 of 3 logs could not be scored.");
    page_close(&page);
}

/* One line of JSON, read back. */
static json_t *read_back(struct page *page)
{
    const char *text = page_text(page);
    json_error_t error;
    assert_ptr_equal(strchr(text, '\n'), text + strlen(text) - 1);
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL) {
        print_error("%s in:\n%s\n", error.text, text);
        fail();
    }
    return root;
}

/* The number at a path of keys ("bands.1.low_hz"; digits index arrays), NAN if there is none. */
static double number_at(const json_t *at, const char *path)
{
    char key[64];

    for (size_t length; *path != '\0'; path += length + (path[length] == '.')) {
        length = strcspn(path, ".");
        snprintf(key, sizeof key, "%.*s", (int)length, path);
        at = json_is_array(at) ? json_array_get(at, strtoul(key, NULL, 10)) : json_object_get(at, key);
    }
    return json_is_number(at) ? json_number_value(at) : NAN;
}

/* DEL and C1 drive a terminal, too, and come back as what they were. */
static void test_json_is_harmless(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    made.log.name = (char *)"a\x7f"
                            "b\xc2\x9b"
                            "c\xc3\xa4";
    struct page page;
    page_open(&page);
    assert_int_equal(sr_score_json(page.out, &made.report, NULL), SR_OK);
    const char *text = page_text(&page);
    assert_non_null(strstr(text, "\"a\\u007fb\\u009bc\xc3\xa4\""));
    json_t *root = read_back(&page);
    assert_string_equal(json_string_value(json_object_get(root, "log")), made.log.name);
    json_decref(root);
    page_close(&page);
}

static void test_score_json_keeps_its_contract(void **state)
{
    static const char *const fields[] = {
        "schema",     "log",    "verdict",  "wobble_px", "threshold_px", "headroom_db", "steady_share",
        "airborne_s", "slices", "smear_px", "bands",     "peaks",        "worst",       "quality"};
    struct made made;
    (void)state;
    make(&made);
    struct page page;
    page_open(&page);
    assert_int_equal(sr_score_json(page.out, &made.report, NULL), SR_OK);
    json_t *root = read_back(&page);
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        assert_non_null(json_object_get(root, fields[i]));
    assert_string_equal(json_string_value(json_object_get(root, "schema")), "stillrow.score/1");
    assert_string_equal(json_string_value(json_object_get(root, "log")), "heron \"3\".csv");
    assert_string_equal(json_string_value(json_object_get(root, "verdict")), "wobbly");
    assert_string_equal(json_string_value(json_object_get(root, "fingerprint")), "0123456789abcdef");
    assert_near(number_at(root, "wobble_px.p95"), 3.42, 1e-9);
    assert_near(number_at(root, "wobble_px.low"), 3.01, 1e-9);
    assert_near(number_at(root, "wobble_px.high"), 3.88, 1e-9);
    assert_near(number_at(root, "wobble_px.median"), 2.5, 1e-9);
    assert_near(number_at(root, "wobble_px.rms"), 2.625, 1e-9);
    assert_near(number_at(root, "headroom_db"), -10.68, 1e-9);
    assert_near(number_at(root, "steady_share"), 0.125, 1e-9);
    assert_near(number_at(root, "slices"), 38, 0);
    assert_near(number_at(root, "bands.1.wobble_px"), 3.25, 1e-9);
    assert_near(number_at(root, "bands.0.low_hz"), 15.625, 1e-9);
    assert_true(
        json_is_null(json_object_get(json_array_get(json_object_get(root, "bands"), 3), "wobble_px")));
    assert_near(number_at(root, "peaks.0.hz"), 212.4, 1e-9);
    assert_near(number_at(root, "peaks.0.rate_dps"), 14.1, 1e-9);
    assert_near(number_at(root, "peaks.0.waves"), 3.4, 1e-9);
    assert_near(number_at(root, "peaks.0.crawl_hz"), 27.6, 1e-9);
    assert_near(number_at(root, "peaks.0.order"), 1, 0);
    assert_near(number_at(root, "worst.0.from_s"), 59.96, 1e-9);
    assert_near(number_at(root, "quality.rows"), 42013, 0);
    assert_near(number_at(root, "quality.bad_rows"), 9, 0);
    assert_near(number_at(root, "quality.nyquist_hz"), 500, 0);
    assert_int_equal(json_array_size(json_object_get(json_object_get(root, "quality"), "notes")), 1);
    json_decref(root);
    page_close(&page);
}

static void test_json_survives_what_is_not_a_number_or_not_utf8(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    made.log.name = (char *)"\xff\xc3\x28 \xed\xa0\x80 \xf0\x9f\x90\xa6 \xe2\x82 \"\\\n.csv";
    made.score.headroom_db = INFINITY;
    made.score.wobble_px.low = NAN;
    struct page page;
    page_open(&page);
    assert_int_equal(sr_score_json(page.out, &made.report, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_true(json_is_null(json_object_get(root, "headroom_db")));
    assert_true(json_is_null(json_object_get(json_object_get(root, "wobble_px"), "low")));
    /* One U+FFFD a byte that begins nothing (a surrogate is three such bytes); the bird is whole. */
    assert_string_equal(json_string_value(json_object_get(root, "log")),
                        "\ufffd\ufffd( \ufffd\ufffd\ufffd \U0001f426 \ufffd\ufffd \"\\\n.csv");
    json_decref(root);
    page_close(&page);
}

static void test_inspect_tells_columns_and_quality(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    struct sr_inspect_report report = {.log = &made.log,
                                       .rig = &made.rig,
                                       .axis = {{0.5, 12.25, 99.5}, {0.25, 3.5, 40.0}, {-1.5, 2.0, 10.0}},
                                       .highest_band = SR_BAND_RIPPLE,
                                       .sees_hz = 500.0,
                                       .clear_hz = 250.0};
    struct page page;
    page_open(&page);
    sr_inspect_text(page.out, &plain, &report);
    const char *text = page_text(&page);
    assert_says(text, "6 columns between semicolons, decimal commas, header on line 3");
    assert_says(text, "column 1 't', in us (assumed: no unit is written)");
    assert_says(text, "column 5 'throttle', in %");
    assert_says(text, "42.0 s, 42013 rows at 1000 Hz");
    assert_says(text, "9, the first on line 77");
    assert_says(text, "4 rows whose time repeats or goes back");
    assert_says(text, "5 samples at the sensor's limit of 2000 deg/s");
    assert_says(text, "gyro x       mean 0.500, standard deviation 12.2, peak 99.5 deg/s");
    assert_says(text, "0:02.0 to 0:40.0 (38.0 s)");
    assert_says(text, "enough to clear a flight");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_inspect_json(page.out, &report, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_near(number_at(root, "columns.time.column"), 1, 0);
    assert_near(number_at(root, "gyro.x.sd_dps"), 12.25, 1e-9);
    assert_near(number_at(root, "airborne.spans.0.to_s"), 40, 1e-9);
    assert_true(json_is_null(
        json_object_get(json_object_get(json_object_get(root, "columns"), "accelerometer"), "x")));
    json_decref(root);
    page_close(&page);
}

static void test_camera_report(void **state)
{
    struct made made;
    const struct sr_camera_row row = {100.0, 1.6, 20.0, SR_BAND_WAVE, {0.25, 0.5, 0.75}, {4.0, 2.0, INFINITY},
                                      2.0};
    const struct sr_flicker_report flicker = {100.0, 1.5, 0.25, 0.015, 0.0125, 0.0175, true};
    (void)state;
    make(&made);
    const struct sr_camera_report report = {&made.rig, 880.0, 1.0, &row, 1, &flicker};
    struct page page;
    page_open(&page);
    sr_camera_text(page.out, &plain, &report);
    assert_says(page_text(&page), "15 ms, between 12.5 and 17.5 ms");
    assert_says(page_text(&page), "readout_ms = 15");
    assert_says(page_text(&page), "focal length 880 px, threshold 1 px RMS (the default for this width)");
    assert_says(page_text(&page), "100    1.60  wave        20.0     0.250    0.500    0.750        2.00");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_camera_json(page.out, &report, NULL), SR_OK);
    json_t *root = read_back(&page);
    assert_near(number_at(root, "at.0.gain_px_per_dps.pitch"), 0.5, 1e-9);
    assert_true(json_is_null(json_object_get(
        json_object_get(json_array_get(json_object_get(root, "at"), 0), "allowance_dps"), "yaw")));
    assert_near(number_at(root, "flicker.low_ms"), 12.5, 1e-9);
    assert_int_equal(json_array_size(json_object_get(root, "bands")), SR_BAND_COUNT);
    json_decref(root);
    page_close(&page);
}

/* Allocation number `allocations_left` of jansson fails, and every one after it. */
static size_t allocations_left;

static void *scarce(size_t size)
{
    if (allocations_left == 0)
        return NULL;
    allocations_left--;
    return malloc(size);
}

static void test_json_runs_out_of_memory_at_every_step(void **state)
{
    struct made made;
    (void)state;
    make(&made);
    json_set_alloc_funcs(scarce, free);
    size_t failures = 0;
    for (size_t n = 0;; n++) {
        struct page page;
        page_open(&page);
        struct sr_error err = {0};
        allocations_left = n;
        enum sr_status status = sr_score_json(page.out, &made.report, &err);
        if (status == SR_OK) {
            page_close(&page);
            break;
        }
        assert_int_equal(status, SR_ERR_MEMORY);
        assert_int_equal(err.status, SR_ERR_MEMORY);
        assert_string_equal(page_text(&page), "");
        page_close(&page);
        failures++;
    }
    json_set_alloc_funcs(malloc, free);
    assert_true(failures > 100); /* a report takes some hundred allocations */
}

static void test_json_notices_a_full_disk(void **state)
{
    struct made made;
    struct sr_error err = {0};
    (void)state;
    make(&made);
    FILE *full = fopen("/dev/full", "w");
    assert_non_null(full);
    setvbuf(full, NULL, _IONBF, 0);
    assert_int_equal(sr_score_json(full, &made.report, &err), SR_ERR_WRITE);
    fclose(full);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_score_says_what_a_pilot_needs),
        cmocka_unit_test(test_score_gives_moments_in_footage_time),
        cmocka_unit_test(test_every_verdict_and_cause_has_words),
        cmocka_unit_test(test_a_filtered_log_is_not_blamed_on_its_rate),
        cmocka_unit_test(test_what_to_try_follows_the_verdict),
        cmocka_unit_test(test_table_counts_failures),
        cmocka_unit_test(test_score_json_keeps_its_contract),
        cmocka_unit_test(test_json_is_harmless),
        cmocka_unit_test(test_json_survives_what_is_not_a_number_or_not_utf8),
        cmocka_unit_test(test_inspect_tells_columns_and_quality),
        cmocka_unit_test(test_camera_report),
        cmocka_unit_test(test_json_runs_out_of_memory_at_every_step),
        cmocka_unit_test(test_json_notices_a_full_disk),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
