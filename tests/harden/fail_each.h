/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fail every allocation of a step in turn. Include after cmocka.h, in one file of a program, of which the
 * first line is #define _GNU_SOURCE.
 */
#ifndef HARDEN_FAIL_EACH_H
#define HARDEN_FAIL_EACH_H

#include <stdio.h>
#include <string.h>

#include "stillrow/status.h"
#include "support/failing.h"

/* One call of the library. */
struct step {
    const char *name;
    enum sr_status (*run)(struct sr_error *err);
    uint64_t (*sum)(
        void); /* of what it made, to tell a whole answer from half a one; NULL: nothing to look at */
    void (*undo)(void); /* after a success: as it was before run(); NULL: nothing to do */
    void *output;       /* what run() fills in, and must not touch on failure; NULL: nothing */
    size_t size;
};

/* FNV-1a, 64 bit, carried on from `sum` (0 to begin). */
static inline uint64_t sum_bytes(uint64_t sum, const void *data, size_t size)
{
    const unsigned char *byte = data;

    sum = sum == 0 ? UINT64_C(14695981039346656037) : sum;
    for (size_t i = 0; i < size; i++)
        sum = (sum ^ byte[i]) * UINT64_C(1099511628211);
    return sum;
}

/* The statuses that a lack of memory may come out as: a file that cannot be opened for it says so. */
static inline bool is_out_of_memory(enum sr_status status, const struct sr_error *err)
{
    return status == SR_ERR_MEMORY || ((status == SR_ERR_OPEN || status == SR_ERR_READ ||
                                        status == SR_ERR_WRITE || status == SR_ERR_PLOT) &&
                                       strstr(err->text, strerror(ENOMEM)) != NULL);
}

/* One round: true while an allocation failed. */
static inline bool fail_one(const struct step *step, size_t n, enum sr_status usual, uint64_t sum,
                            const unsigned char *before, size_t *refused)
{
    struct sr_error err = {.status = SR_OK};

    failing_after(n);
    const enum sr_status status = step->run(&err);
    const bool failed = failing_end();
    if (status != SR_OK && status == usual && !failed)
        return false; /* it has no answer at all, memory or not */
    if (status == SR_OK) {
        /* Nothing failed, or nothing that matters: a stream's buffer, libcsv that tries a smaller one,
         * qsort(). */
        if (step->sum != NULL && step->sum() != sum)
            fail_msg("%s: allocation %zu failed, and half an answer was given for a whole one", step->name,
                     n);
        if (step->undo != NULL)
            step->undo();
        return failed;
    }
    if (!failed || (!is_out_of_memory(status, &err) && status != usual))
        fail_msg("%s: allocation %zu: status %d, '%s'", step->name, n, (int)status, err.text);
    assert_int_equal(err.status, status);
#ifdef FAILING_COUNTED
    if (failing_live != 0)
        fail_msg("%s: allocation %zu failed, and %ld blocks are lost", step->name, n, failing_live);
#endif
    if (step->output != NULL && memcmp(step->output, before, step->size) != 0)
        fail_msg("%s: allocation %zu failed, and the output was touched", step->name, n);
    ++*refused;
    return true;
}

/*
 * Fail allocation 0, 1, 2… of a step until it is done with none failing. `least`: how many refusals must come
 * of it, or the test would show nothing. Returns how many allocations there were.
 */
static inline size_t fail_each(const struct step *step, size_t least)
{
    struct sr_error err = {.status = SR_OK};
    unsigned char *before = NULL;
    size_t n = 0, refused = 0;

    if (step->output != NULL) {
        before = malloc(step->size);
        assert_non_null(before);
        memcpy(before, step->output, step->size);
    }
    const enum sr_status usual = step->run(&err);
    const uint64_t sum = usual == SR_OK && step->sum != NULL ? step->sum() : 0;
    if (usual == SR_OK && step->undo != NULL)
        step->undo();
    while (fail_one(step, n, usual, sum, before, &refused))
        n++;
    free(before);
    print_message("%-18s %4zu allocations, %4zu refusals%s%s\n", step->name, n, refused,
                  usual == SR_OK ? "" : "; no answer: ", usual == SR_OK ? "" : err.text);
    if (refused < least)
        fail_msg("%s: %zu refusals, %zu at least were expected", step->name, refused, least);
    return n;
}

/* ---- Texts into memory that is there already ---- */

static char printed[1 << 20];
static size_t printed_size;

/* The stream itself is made and ended with plenty of memory. A text that says too little without a word would
 * be a lie: the stream's error counts as one. */
static inline enum sr_status print(enum sr_status (*report)(FILE *out, struct sr_error *err),
                                   struct sr_error *err)
{
    static char buffer[BUFSIZ];
    const bool on = failing_on;

    failing_on = false;
    FILE *out = fmemopen(printed, sizeof printed, "wb");
    assert_non_null(out);
    setvbuf(out, buffer, _IOFBF, sizeof buffer);
    failing_on = on;
    enum sr_status status = report(out, err);
    if (status == SR_OK && (fflush(out) != 0 || ferror(out)))
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "the stream says so");
    failing_on = false;
    printed_size = (size_t)ftell(out);
    fclose(out);
    failing_on = on;
    return status;
}

static inline uint64_t sum_printed(void)
{
    assert_true(printed_size > 100);
    return sum_bytes(0, printed, printed_size);
}

#endif
