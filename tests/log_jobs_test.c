/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any number of threads reads the same log, to the last bit, and says the same of a
 * bad one. The oracle is libcsv row by row in one thread, which knows no stretches.
 */
#ifdef __linux__
#define _GNU_SOURCE /* on which processors a thread may run is no part of POSIX */
#endif
#include <sched.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/log.h"
#include "support/ordered.h"
#include "support/same_log.h"
#include "support/text_log.h"

static const size_t thread_counts[] = {1, 2, 3, 8, 0};
#define N_COUNTS (sizeof thread_counts / sizeof thread_counts[0])

/* ---- work in order ---------------------------------------------------------- */

#define SLOTS 16

struct squares {
    size_t items, taken, given, stop_at;
    uint64_t slot[SLOTS];
    bool wrong;
};

static bool take(void *context, size_t slot)
{
    struct squares *s = context;

    if (s->taken == s->items)
        return false;
    s->slot[slot] = s->taken++;
    return true;
}

/* Items take different times. */
static void work(void *context, size_t slot)
{
    struct squares *s = context;
    const uint64_t i = s->slot[slot];
    volatile uint64_t x = 0;

    for (uint64_t k = 0; k < (i * 7919) % 5000; k++)
        x = x + k;
    s->slot[slot] = i * i;
}

static bool give(void *context, size_t slot)
{
    struct squares *s = context;

    s->wrong = s->wrong || s->slot[slot] != (uint64_t)s->given * s->given;
    s->given++;
    return s->given != s->stop_at;
}

static void ordered(void **state)
{
    (void)state;
    for (size_t threads = 1; threads <= 8; threads++)
        for (size_t slots = 1; slots <= SLOTS; slots += 3) {
            struct squares s = {.items = 500};
            struct sr_ordered run = {
                .take = take, .work = work, .give = give, .context = &s, .slots = slots, .threads = threads};
            assert_true(sr_ordered_run(&run));
            assert_true(s.taken == 500 && s.given == 500 && !s.wrong);

            s = (struct squares){.items = 500, .stop_at = 100};
            assert_true(sr_ordered_run(&run));
            assert_true(s.given == 100 && !s.wrong);
            assert_true(s.taken >= 100 && s.taken <= 100 + slots);

            s = (struct squares){.items = 0};
            assert_true(sr_ordered_run(&run));
            assert_true(s.given == 0);
        }
    assert_in_range(sr_ordered_threads(), 1, 8);
}

/* ---- work in no order ------------------------------------------------------- */

#define ITEMS 500

struct errands {
    size_t threads;
    unsigned char done[ITEMS]; /* times, a byte an item */
    atomic_flag busy[8];       /* hands */
    atomic_bool wrong;
};

static void run_errand(void *context, size_t item, size_t hand)
{
    struct errands *e = context;

    if (hand >= 8 || (hand > 0 && hand >= e->threads) || atomic_flag_test_and_set(&e->busy[hand])) {
        atomic_store(&e->wrong, true);
        return;
    }
    for (volatile size_t k = 0; k < (item * 7919) % 5000; k++)
        ;
    e->done[item]++;
    atomic_flag_clear(&e->busy[hand]);
}

/* Every item once, and never two at once with the same hand. */
static void each(void **state)
{
    (void)state;
    for (size_t threads = 0; threads <= 8; threads++)
        for (size_t count = 0; count <= ITEMS; count = 2 * count + 1) {
            struct errands e = {.threads = threads};
            for (size_t h = 0; h < 8; h++)
                atomic_flag_clear(&e.busy[h]);
            sr_each(run_errand, &e, count, threads);
            assert_false(atomic_load(&e.wrong));
            for (size_t i = 0; i < ITEMS; i++)
                assert_int_equal(e.done[i], i < count);
        }
}

#ifdef __GLIBC__

struct whereabouts {
    cpu_set_t allowed;
    atomic_bool wrong;
};

static void note_whereabouts(void *context, size_t item, size_t hand)
{
    struct whereabouts *w = context;
    cpu_set_t mine;

    (void)item;
    (void)hand;
    if (sched_getaffinity(0, sizeof mine, &mine) != 0 || !CPU_EQUAL(&mine, &w->allowed))
        atomic_store(&w->wrong, true);
    for (volatile size_t k = 0; k < 20000; k++)
        ;
}

/* Threads start on another processor, and may then run on all that the caller may, be it one. */
static void processors(void **state)
{
    struct whereabouts all = {0}, one = {0};

    (void)state;
    assert_int_equal(sched_getaffinity(0, sizeof all.allowed, &all.allowed), 0);
    sr_each(note_whereabouts, &all, ITEMS, 4);
    assert_false(atomic_load(&all.wrong));
    CPU_SET((size_t)sched_getcpu(), &one.allowed);
    assert_int_equal(sched_setaffinity(0, sizeof one.allowed, &one.allowed), 0);
    sr_each(note_whereabouts, &one, ITEMS, 4);
    assert_false(atomic_load(&one.wrong));
    assert_int_equal(sched_setaffinity(0, sizeof all.allowed, &all.allowed), 0);
}

#endif

/* ---- logs ------------------------------------------------------------------- */

static enum sr_status read_with(const struct text *text, size_t jobs, bool plain, struct sr_log *log,
                                struct sr_error *err)
{
    struct sr_log_options options;

    sr_log_options_init(&options);
    options.jobs = jobs;
    options.plain_path = plain;
    return text_read(text, &options, log, err);
}

/* All ways; returns the status, which must be alike, as must be the log or the message. */
static enum sr_status read_all_ways(const struct text *text)
{
    struct sr_log truth;
    struct sr_error truth_err;
    const enum sr_status status = read_with(text, 1, false, &truth, &truth_err);

    for (size_t i = 0; i < N_COUNTS; i++) {
        struct sr_log log;
        struct sr_error err;
        assert_int_equal(read_with(text, thread_counts[i], true, &log, &err), status);
        if (status == SR_OK) {
            const char *differs = log_difference(&log, &truth);
            if (differs != NULL)
                fail_msg("with %zu threads: other %s", thread_counts[i], differs);
        } else {
            assert_string_equal(err.text, truth_err.text);
            assert_int_equal(err.line, truth_err.line);
        }
        sr_log_release(&log);
    }
    sr_log_release(&truth);
    return status;
}

#define ROWS 100000 /* 3 MB or so: many stretches */

/* What befalls a long log, somewhere after its first blocks. */
enum trouble {
    NOTHING,
    QUOTE,
    STRAY_QUOTE,
    QUOTED_LINE_END,
    LONG_LINE,    /* longer than a stretch, not than a block */
    ENDLESS_LINE, /* longer than any block */
    BAD_ROWS,
    SHORT_ROWS,
    BLANK_LINES,
    BACKWARDS,
    JUMP, /* of hours: an error, in its line */
    ZEROS_AT_END,
    CUT_AT_END,
    CARRIAGE_RETURNS,
    CRLF,
    TROUBLES
};

static void add_trouble(struct text *text, enum trouble trouble, size_t row)
{
    if (trouble == LONG_LINE || trouble == ENDLESS_LINE) {
        const size_t size = trouble == LONG_LINE ? 300000 : 3000000;
        for (size_t i = 0; i < size; i += 10)
            text_add(text, "xxxxxxxxxx");
        text_add(text, "\n");
    } else if (trouble == BLANK_LINES) {
        text_add(text, "\n  \n\r\n");
    } else if (trouble == BAD_ROWS) {
        text_add(text, "%zu,n,1,two,3\n", row * 500);
    } else if (trouble == SHORT_ROWS) {
        text_add(text, "%zu,n,1\n", row * 500);
    }
}

static const char *note_of(enum trouble trouble)
{
    return trouble == QUOTE             ? "\"a, b\""
           : trouble == STRAY_QUOTE     ? "\"a"
           : trouble == QUOTED_LINE_END ? "\"a\nb\""
                                        : "n";
}

static void write_log(struct text *text, enum trouble trouble, uint64_t seed)
{
    const char *line_end = trouble == CARRIAGE_RETURNS ? "\r" : trouble == CRLF ? "\r\n" : "\n";
    const size_t from = ROWS / 2 + (size_t)(sim_uniform(&seed) * ROWS / 3);

    text_add(text, "time (us),note,gyro x (deg/s),gyro y (deg/s),gyro z (deg/s),throttle (%%)%s", line_end);
    for (size_t i = 0; i < ROWS; i++) {
        const bool here = i == from || (i > from && i % 7919 == 0);
        size_t us = i * 500;
        if (here)
            add_trouble(text, trouble, i);
        if (here && trouble == BACKWARDS)
            us -= 5000;
        if (i > from && trouble == JUMP)
            us += 8000000000U;
        text_add(text, "%zu,%s,%d.%02d,%d,%d,%d%s", us, here ? note_of(trouble) : "n", (int)(i % 91),
                 (int)(i % 97), (int)(i % 83), -(int)(i % 101), (int)(30 + i % 13), line_end);
    }
    if (trouble == CUT_AT_END)
        text->size -= 9;
    for (size_t i = 0; trouble == ZEROS_AT_END && i < 300000; i++)
        text_bytes(text, "\0\0\0\0\0\0\0\0\0\0", 10);
}

static void troubles(void **state)
{
    (void)state;
    for (int trouble = NOTHING; trouble < TROUBLES; trouble++) {
        struct text text = {0};
        write_log(&text, (enum trouble)trouble, 17 + (uint64_t)trouble);
        const enum sr_status status = read_all_ways(&text);
        if (trouble == ENDLESS_LINE)
            assert_int_equal(status, SR_ERR_FORMAT);
        else if (trouble == JUMP)
            assert_int_equal(status, SR_ERR_TIME);
        else
            assert_int_equal(status, SR_OK);
        text_free(&text);
    }
}

/* Rows of very different lengths, so that stretches end everywhere in a row. */
static void ragged(void **state)
{
    static const char filling[] = "0123456789012345678901234567890123456789012345678901234567890123456789";
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        struct text text = {0};
        uint64_t draws = seed * 7919;
        text_add(&text, "time (ms);gyro x;gyro y;gyro z;what\n");
        for (size_t i = 0; i < 60000; i++)
            text_add(&text, "%zu,5;%.*f;%.3e;%d;%.*s\n", i, (int)(sim_uniform(&draws) * 20.0),
                     100.0 * sim_normal(&draws), sim_normal(&draws), (int)(i % 71),
                     (int)(sim_uniform(&draws) * 70.0), filling);
        assert_int_equal(read_all_ways(&text), SR_OK);
        text_free(&text);
    }
}

/* Never backwards, and to the end. */
static void progress_is_told(void *context, uint64_t done, uint64_t total)
{
    uint64_t *last = context;

    assert_true(done >= *last && done <= total);
    *last = done;
}

static void progress(void **state)
{
    char path[] = "/tmp/stillrow-jobs-XXXXXX";
    struct text text = {0};
    (void)state;
    write_log(&text, NOTHING, 1);
    const int fd = mkstemp(path);
    assert_true(fd >= 0);
    FILE *out = fdopen(fd, "wb");
    assert_non_null(out);
    assert_true(fwrite(text.bytes, 1, text.size, out) == text.size);
    assert_int_equal(fclose(out), 0);
    for (size_t i = 0; i < N_COUNTS; i++) {
        struct sr_log_options options;
        struct sr_log log;
        struct sr_error err;
        uint64_t last = 0;
        sr_log_options_init(&options);
        options.jobs = thread_counts[i];
        options.progress = progress_is_told;
        options.progress_context = &last;
        assert_int_equal(sr_log_read(&log, path, &options, &err), SR_OK);
        assert_true(last == text.size);
        sr_log_release(&log);
    }
    remove(path);
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(ordered),    cmocka_unit_test(each),
#ifdef __GLIBC__
                                       cmocka_unit_test(processors),
#endif
                                       cmocka_unit_test(troubles),   cmocka_unit_test(ragged),
                                       cmocka_unit_test(progress)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
