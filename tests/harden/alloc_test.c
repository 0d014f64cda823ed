/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the main job fails in turn: reading a log, scoring it, explaining it, and the reports.
 * Each failure is said, loses no memory and touches no output. See support/failing.h for what is not failed.
 */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "harden/fail_each.h"
#include "harden/job.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of the "
                  "main job\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

#define RATE_HZ 500
#define FLOWN_S 14

static char *text; /* a log */
static size_t text_size;
static struct sr_log_options options;
static struct sr_rig rig;
static struct job job, saved;

/* ---- A flight ---- */

/* Motors that speed up and slow down, a line at their order 1, one that stands, and noise. */
static void write_log(void)
{
    uint32_t seed = 1;
    double phase = 0;
    FILE *out = open_memstream(&text, &text_size);

    assert_non_null(out);
    fputs("time [us],gyro x [deg/s],gyro y [deg/s],gyro z [deg/s],throttle [%],rpm 1,rpm 2,rpm 3,rpm 4\n",
          out);
    for (int i = 0; i < RATE_HZ * FLOWN_S; i++) {
        const double t = (double)i / RATE_HZ, rpm = 6000 + 900 * sin(0.9 * t);
        phase += 2 * 3.14159265358979 * rpm / 60 / RATE_HZ;
        seed = seed * 1664525U + 1013904223U;
        const double noise = (double)(seed >> 8) / 16777216.0 - 0.5;
        const double line = (t > 7 ? 50 : 12) * sin(phase), fixed = 20 * sin(2 * 3.14159265358979 * 61 * t);
        fprintf(out, "%d,%.3f,%.3f,%.3f,%.1f,%.0f,%.0f,%.0f,%.0f\n", i * (1000000 / RATE_HZ), line + noise,
                0.5 * line + fixed - noise, fixed + 2 * noise, 40 + 5 * sin(0.9 * t), rpm, rpm + 150,
                rpm - 120, rpm + 33);
    }
    assert_int_equal(fclose(out), 0);
}

static enum sr_status read_text(struct sr_error *err)
{
    FILE *stream = fmemopen(text, text_size, "rb");

    if (stream == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for the test's own stream");
    const enum sr_status status = sr_log_read_stream(&job.log, stream, "flight.csv", &options, err);
    fclose(stream);
    return status;
}

static uint64_t sum_log(void)
{
    uint64_t sum = sum_bytes(0, &job.log.fingerprint, sizeof job.log.fingerprint);

    sum = sum_bytes(sum, &job.log.quality, sizeof job.log.quality);
    for (size_t axis = 0; axis < 3; axis++)
        sum = sum_bytes(sum, job.log.gyro_dps[axis], job.log.count * sizeof(double));
    for (size_t i = 0; i < job.log.n_notes; i++)
        sum = sum_bytes(sum, job.log.notes[i], strlen(job.log.notes[i]));
    return sum;
}

static void undo_log(void)
{
    sr_log_release(&job.log);
    memset(&job.log, 0, sizeof job.log);
}

/* ---- Score ---- */

static enum sr_status make_slices(struct sr_error *err)
{
    return sr_slices_make(&job.slices, &job.log, &rig, SR_WINDOW_HANN, err);
}

static void undo_slices(void)
{
    sr_slices_release(&job.slices);
    job.slices = saved.slices;
}

static enum sr_status make_view(struct sr_error *err)
{
    return sr_view_init(&job.view, &job.slices, &rig.camera, err);
}

static void undo_view(void)
{
    sr_view_release(&job.view);
    job.view = saved.view;
}

static enum sr_status make_score(struct sr_error *err)
{
    return sr_score_make(&job.score, &job.slices, &job.view, sr_rig_threshold_px(&rig), err);
}

static uint64_t sum_score(void)
{
    uint64_t sum = sum_bytes(0, &job.score.wobble_px, sizeof job.score.wobble_px);

    for (size_t i = 0; i < job.score.n_peaks; i++) {
        const struct sr_peak *peak = &job.score.peaks[i];
        sum = sum_bytes(sum, &peak->hz, sizeof peak->hz);
        sum = sum_bytes(sum, &peak->share, sizeof peak->share);
        sum = sum_bytes(sum, peak->evidence, strlen(peak->evidence));
    }
    return sum;
}

static void undo_score(void)
{
    sr_score_release(&job.score);
    job.score = saved.score;
}

static enum sr_status find_causes(struct sr_error *err)
{
    return sr_causes_find(&job.causes, &job.score, &job.slices, &job.view, &rig, err);
}

/* The score is changed in its place, but for what it owns. */
static void undo_causes(void)
{
    sr_causes_release(&job.causes);
    job.causes = saved.causes;
    job.score = saved.score;
}

/* ---- Explain ---- */

static enum sr_status find_change(struct sr_error *err)
{
    return sr_change_find(&job.change, &job.score, &job.slices, &job.view, &job.causes, err);
}

static uint64_t sum_change(void)
{
    return sum_bytes(sum_bytes(0, &job.change.at_s, sizeof(double)), &job.change.p_value, sizeof(double));
}

static void undo_change(void)
{
    job.change = saved.change;
}

static enum sr_status make_trials(struct sr_error *err)
{
    return sr_trials_make(job.trials, &job.n_trials, &job.score, &job.causes, &job.slices, &job.view, &rig,
                          err);
}

static uint64_t sum_trials(void)
{
    uint64_t sum = sum_bytes(0, &job.n_trials, sizeof job.n_trials);

    for (size_t i = 0; i < job.n_trials; i++)
        sum = sum_bytes(sum, job.trials[i].what, strlen(job.trials[i].what));
    return sum;
}

static void undo_trials(void)
{
    memcpy(job.trials, saved.trials, sizeof job.trials);
    job.n_trials = saved.n_trials;
}

/* ---- Reports ---- */

static const struct sr_style style = {.utf8 = true, .color = true};

static enum sr_status score_text(FILE *out, struct sr_error *err)
{
    const struct sr_explain_report report = job_report(&job, &rig);

    (void)err;
    sr_score_text(out, &style, &report.score);
    return SR_OK;
}

static enum sr_status score_json(FILE *out, struct sr_error *err)
{
    const struct sr_explain_report report = job_report(&job, &rig);

    return sr_score_json(out, &report.score, err);
}

static enum sr_status explain_text(FILE *out, struct sr_error *err)
{
    const struct sr_explain_report report = job_report(&job, &rig);

    (void)err;
    sr_explain_text(out, &style, &report);
    return SR_OK;
}

static enum sr_status explain_json(FILE *out, struct sr_error *err)
{
    const struct sr_explain_report report = job_report(&job, &rig);

    return sr_explain_json(out, &report, err);
}

static enum sr_status inspect_json(FILE *out, struct sr_error *err)
{
    const struct sr_inspect_report report = {.log = &job.log, .rig = &rig};

    return sr_inspect_json(out, &report, err);
}

static enum sr_status inspect_text(FILE *out, struct sr_error *err)
{
    const struct sr_inspect_report report = {.log = &job.log, .rig = &rig};

    (void)err;
    sr_inspect_text(out, &style, &report);
    return SR_OK;
}

static enum sr_status print_score_text(struct sr_error *err)
{
    return print(score_text, err);
}

static enum sr_status print_score_json(struct sr_error *err)
{
    return print(score_json, err);
}

static enum sr_status print_explain_text(struct sr_error *err)
{
    return print(explain_text, err);
}

static enum sr_status print_explain_json(struct sr_error *err)
{
    return print(explain_json, err);
}

static enum sr_status print_inspect_text(struct sr_error *err)
{
    return print(inspect_text, err);
}

static enum sr_status print_inspect_json(struct sr_error *err)
{
    return print(inspect_json, err);
}

/* ---- The tests ---- */

/* The job is left as it was before; what the next steps need is then made for good. */
static void step_over(struct step step, size_t least)
{
    saved = job;
    step.output = &job;
    step.size = sizeof job;
    fail_each(&step, least);
    assert_int_equal(step.run(NULL), SR_OK);
}

static void test_reading(void **state)
{
    (void)state;
    const struct step plain = {.name = "read", .run = read_text, .sum = sum_log, .undo = undo_log};
    step_over(plain, 10);
    undo_log();

    const struct step record = {.name = "read by libcsv", .run = read_text, .sum = sum_log, .undo = undo_log};
    options.plain_path = false;
    step_over(record, 10);
    options.plain_path = true;
}

static void test_score(void **state)
{
    (void)state;
    step_over((struct step){.name = "slices", .run = make_slices, .undo = undo_slices}, 4);
    step_over((struct step){.name = "view", .run = make_view, .undo = undo_view}, 1);
    step_over((struct step){.name = "score", .run = make_score, .sum = sum_score, .undo = undo_score}, 8);
    step_over((struct step){.name = "causes", .run = find_causes, .sum = sum_score, .undo = undo_causes}, 8);
    assert_true(job.score.n_peaks > 0);
}

static void test_explain(void **state)
{
    (void)state;
    step_over((struct step){.name = "change", .run = find_change, .sum = sum_change, .undo = undo_change}, 1);
    step_over((struct step){.name = "trials", .run = make_trials, .sum = sum_trials, .undo = undo_trials}, 2);
    assert_true(job.n_trials > 0);
}

/* The JSON's allocations are jansson's: where only the library's own fail, there is little to refuse. */
static void test_reports(void **state)
{
#ifdef FAILING_COUNTED
    const size_t many = 50;
#else
    const size_t many = 0;
#endif
    (void)state;
    step_over((struct step){.name = "score text", .run = print_score_text, .sum = sum_printed}, 0);
    step_over((struct step){.name = "score JSON", .run = print_score_json, .sum = sum_printed}, many);
    step_over((struct step){.name = "explain text", .run = print_explain_text, .sum = sum_printed}, 0);
    step_over((struct step){.name = "explain JSON", .run = print_explain_json, .sum = sum_printed}, many);
    step_over((struct step){.name = "inspect text", .run = print_inspect_text, .sum = sum_printed}, 0);
    step_over((struct step){.name = "inspect JSON", .run = print_inspect_json, .sum = sum_printed}, many);
}

static int begin(void **state)
{
    struct sr_error err;

    (void)state;
    failing_start();
    write_log();
    sr_log_options_init(&options);
    sr_rig_init(&rig);
    rig.mount.shore_a = 50;
    rig.mount.resonance_hz = 60;
    return sr_rig_finish(&rig, &err) == SR_OK ? 0 : -1;
}

static int end(void **state)
{
    (void)state;
    job_release(&job);
    free(text);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reading),
        cmocka_unit_test(test_score),
        cmocka_unit_test(test_explain),
        cmocka_unit_test(test_reports),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
#endif
