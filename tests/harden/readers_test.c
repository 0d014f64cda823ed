/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Logs of some megabytes, whole and spoiled, read by one thread, by several, and by libcsv, the reader of
 * record: the same log to the bit, or the same refusal. (What is shorter than the first block is never read
 * side by side; the fuzz target holds those against libcsv.)
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "harden/mutations.h"
#include "sim/flight.h"
#include "support/same_log.h"

#ifdef UNDER_SANITIZER
enum { LOGS = 15, SEAM_STEP = 2 };
#else
enum { LOGS = 28, SEAM_STEP = 1 };
#endif

static struct bytes whole;
static size_t n_read, n_refused;

static enum sr_status read_log(const struct bytes *b, size_t jobs, bool plain, struct sr_log *log,
                               struct sr_error *err)
{
    struct sr_log_options options;
    FILE *stream = b->size > 0 ? fmemopen(b->data, b->size, "rb") : fopen("/dev/null", "rb");

    assert_non_null(stream);
    memset(log, 0, sizeof *log);
    memset(err, 0, sizeof *err);
    sr_log_options_init(&options);
    options.jobs = jobs;
    options.plain_path = plain;
    const enum sr_status status = sr_log_read_stream(log, stream, "flight.csv", &options, err);
    fclose(stream);
    return status;
}

static void hold_against(const struct bytes *b, size_t jobs, bool plain, enum sr_status status,
                         const struct sr_log *log, const struct sr_error *err, const char *what)
{
    struct sr_log other;
    struct sr_error other_err;
    const enum sr_status other_status = read_log(b, jobs, plain, &other, &other_err);
    const char *differs = status == SR_OK && other_status == SR_OK ? log_difference(log, &other) : NULL;

    if (other_status != status || strcmp(err->text, other_err.text) != 0 || err->line != other_err.line)
        fail_msg("%s: %s: one thread: line %zu '%s', %zu%s: line %zu '%s'", what, "another answer", err->line,
                 err->text, jobs, plain ? " threads" : " by libcsv", other_err.line, other_err.text);
    if (differs != NULL)
        fail_msg("%s: the %s differ between one thread and %zu%s", what, differs, jobs,
                 plain ? " threads" : " by libcsv");
    sr_log_release(&other);
}

static void read_all_ways(const struct bytes *b, const char *what)
{
    struct sr_log log;
    struct sr_error err;
    const enum sr_status status = read_log(b, 1, true, &log, &err);

    hold_against(b, 2, true, status, &log, &err, what);
    hold_against(b, 5, true, status, &log, &err, what);
    hold_against(b, 1, false, status, &log, &err, what);
    n_read += status == SR_OK;
    n_refused += status != SR_OK;
    sr_log_release(&log);
}

static void test_whole(void **state)
{
    (void)state;
    assert_true(whole.size > 2000000);
    read_all_ways(&whole, "as it is");
    assert_int_equal(n_read, 1);
}

static void test_spoiled(void **state)
{
    (void)state;
    n_read = n_refused = 0;
    for (size_t i = 0; i < LOGS; i++) {
        uint64_t seed = 3 + 1009 * (uint64_t)i;
        const struct mutation *mutation = &mutations[i % MUTATIONS];
        struct bytes b = {malloc(whole.size), whole.size};
        char what[80];

        assert_non_null(b.data);
        memcpy(b.data, whole.data, whole.size);
        snprintf(what, sizeof what, "spoiled log %zu, %s", i, mutation->name);
        mutation->spoil(&b, &seed);
        read_all_ways(&b, what);
        free(b.data);
    }
    print_message("%d spoiled logs: %zu read, %zu refused\n", (int)LOGS, n_read, n_refused);
    assert_true(n_read > LOGS / 3 && n_refused > 0);
}

/* A quote, a long line, zeros: where one block ends and the next begins, or close by. */
static void test_seams(void **state)
{
    static const char zeros[300];
    static const struct {
        const char *text;
        size_t size;
    } texts[] = {{"\"", 1},    {"\"1\"", 3}, {"\n", 1},   {"\r", 1},    {"\n\n\n", 3},
                 {zeros, 200}, {"x,", 2},    {"\n\0", 2}, {",,,,,", 5}, {zeros, 1}};

    (void)state;
    for (size_t at = (1U << 20) - 2; at < whole.size; at += SEAM_STEP * (128U << 10) - 1)
        for (size_t t = at % 4; t < sizeof texts / sizeof *texts; t += 4) {
            struct bytes b = {malloc(whole.size), whole.size};
            char what[80];
            assert_non_null(b.data);
            memcpy(b.data, whole.data, whole.size);
            splice(&b, at, at, texts[t].text, texts[t].size);
            snprintf(what, sizeof what, "text %zu at byte %zu", t, at);
            read_all_ways(&b, what);
            free(b.data);
        }
}

static int begin(void **state)
{
    struct sim_flight flight;
    struct sim_samples samples;
    const struct sim_csv csv = {.throttle = true, .motor_rpm = true, .rate_digits = 4, .padding_columns = 6};
    FILE *out = open_memstream(&whole.data, &whole.size);

    (void)state;
    sim_flight_init(&flight);
    flight.rate_hz = 1000;
    flight.flight_s = 30;
    flight.ground_s = 1;
    if (out == NULL || sim_fly(&flight, &samples) != 0)
        return -1;
    const int written = sim_write_csv(&samples, &csv, out);
    sim_samples_release(&samples);
    return fclose(out) == 0 ? written : -1;
}

static int end(void **state)
{
    (void)state;
    free(whole.data);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_whole),
        cmocka_unit_test(test_spoiled),
        cmocka_unit_test(test_seams),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
