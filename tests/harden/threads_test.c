/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Threads: four read, score, explain and report flights at once, and each gets to the byte what one alone
 * gets. `make tsan` builds this with the thread sanitizer, which sees what two of them touch without taking
 * turns.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <pthread.h>
#include <stdlib.h>

#include "harden/job.h"
#include "sim/flight.h"

enum { THREADS = 4, FLIGHTS = 3, ROUNDS = 2 };

/* A flight as text, and what is to come out of it. */
struct flight {
    char *text;
    size_t size;
    char *report;
    size_t report_size;
};

static struct flight flights[FLIGHTS];

/* The whole job; *report is allocated. */
static enum sr_status work(const struct flight *flight, char **report, size_t *size)
{
    struct job job = {.n_trials = 0};
    struct sr_rig rig;
    struct sr_error err = {.status = SR_OK};
    FILE *in = fmemopen(flight->text, flight->size, "rb"), *out = open_memstream(report, size);
    enum sr_status status = in != NULL && out != NULL ? SR_OK : SR_ERR_MEMORY;

    sr_rig_init(&rig);
    if (status == SR_OK)
        status = sr_rig_finish(&rig, &err);
    if (status == SR_OK)
        status = sr_log_read_stream(&job.log, in, "flight.csv", NULL, &err);
    if (status == SR_OK)
        status = job_score(&job, &rig, SR_WINDOW_HANN, &err);
    if (status == SR_OK)
        status = job_explain(&job, &rig, &err);
    if (status == SR_OK)
        status = job_print(out, &job, &rig, &err);
    job_release(&job);
    if (in != NULL)
        fclose(in);
    if (out != NULL)
        fclose(out);
    return status;
}

struct worker {
    pthread_t thread;
    size_t number;
    size_t same, different; /* reports */
};

static void *go(void *context)
{
    struct worker *worker = context;

    for (size_t i = 0; i < ROUNDS * FLIGHTS; i++) {
        const struct flight *flight = &flights[(i + worker->number) % FLIGHTS];
        char *report = NULL;
        size_t size = 0;
        const bool same = work(flight, &report, &size) == SR_OK && size == flight->report_size &&
                          memcmp(report, flight->report, size) == 0;
        worker->same += same;
        worker->different += !same;
        free(report);
    }
    return NULL;
}

static void test_threads(void **state)
{
    struct worker workers[THREADS] = {{.number = 0}};

    (void)state;
    for (size_t t = 0; t < THREADS; t++) {
        workers[t].number = t;
        assert_int_equal(pthread_create(&workers[t].thread, NULL, go, &workers[t]), 0);
    }
    for (size_t t = 0; t < THREADS; t++)
        assert_int_equal(pthread_join(workers[t].thread, NULL), 0);
    for (size_t t = 0; t < THREADS; t++) {
        assert_int_equal(workers[t].different, 0);
        assert_int_equal(workers[t].same, ROUNDS * FLIGHTS);
    }
}

/* Rates differ, so that the threads plan transforms of different lengths at once. */
static int fly(struct flight *flight, double rate_hz)
{
    struct sim_flight description;
    struct sim_samples samples;
    const struct sim_csv csv = {.throttle = true, .motor_rpm = true, .rate_digits = 3};

    sim_flight_init(&description);
    description.rate_hz = rate_hz;
    description.flight_s = 9;
    description.ground_s = 0;
    description.hover_rpm = 6000;
    description.imbalance_dps[2] = 25;
    FILE *out = open_memstream(&flight->text, &flight->size);
    if (out == NULL || sim_fly(&description, &samples) != 0)
        return -1;
    const int written = sim_write_csv(&samples, &csv, out);
    sim_samples_release(&samples);
    return fclose(out) == 0 && written == 0 && work(flight, &flight->report, &flight->report_size) == SR_OK &&
                   flight->report_size > 2000
               ? 0
               : -1;
}

static int begin(void **state)
{
    static const double rates_hz[FLIGHTS] = {500, 640, 1000};

    (void)state;
    for (size_t i = 0; i < FLIGHTS; i++)
        if (fly(&flights[i], rates_hz[i]) != 0)
            return -1;
    return 0;
}

static int end(void **state)
{
    (void)state;
    for (size_t i = 0; i < FLIGHTS; i++) {
        free(flights[i].text);
        free(flights[i].report);
    }
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_threads)};
    return cmocka_run_group_tests(tests, begin, end);
}
