/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the other jobs fails in turn: comparing, mounts, the ledger and what is read out of it,
 * rig files, pictures, posts. Each failure is said, loses no memory and touches no output. See
 * support/failing.h for what is not failed.
 */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <sys/stat.h>

#include "harden/fail_each.h"
#include "harden/job.h"
#include "sim/flight.h"
#include "stillrow/compare.h"
#include "stillrow/compare_report.h"
#include "stillrow/mount.h"
#include "stillrow/mount_report.h"
#include "stillrow/plot.h"
#include "stillrow/post.h"
#include "support/ledger_file.h"
#include "support/sim_log.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of "
                  "comparisons, mounts, pictures and posts\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

/* Two flights: the second is the first as felt on the other side of a mount of 60 Hz. */
static struct job job[2];
static struct sr_rig rig;

static void keep_status(enum sr_status status, const struct sr_error *err)
{
    if (status != SR_OK)
        fail_msg("%s", err->text);
}

/* A damped resonance over a signal, by the bilinear transform. */
static void mount_over(double *x, size_t count, double rate_hz, double hz, double damping)
{
    const double w = tan(3.14159265358979 * hz / rate_hz), d = 2 * damping * w;
    const double a0 = 1 + d + w * w, a1 = 2 * (w * w - 1), a2 = 1 - d + w * w;
    const double b0 = d + w * w, b1 = 2 * w * w, b2 = w * w - d;
    double x1 = 0, x2 = 0, y1 = 0, y2 = 0;

    for (size_t i = 0; i < count; i++) {
        const double y = (b0 * x[i] + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2) / a0;
        x2 = x1;
        x1 = x[i];
        y2 = y1;
        x[i] = y1 = y;
    }
}

static void fly(void)
{
    struct sim_flight flight;
    struct sr_error err = {.status = SR_OK};

    sim_flight_init(&flight);
    flight.rate_hz = 500;
    flight.flight_s = 24;
    flight.ground_s = 0;
    flight.hover_rpm = 6000;
    flight.imbalance_dps[1] = 30;
    flight.wash_dps = 12;
    flight.tone[0] = (struct sim_tone){.hz = 91, .dps = 10, .axis = {0, 1, 0}};
    for (int side = 0; side < 2; side++) {
        assert_int_equal(sim_log_fly(&job[side].log, &flight, NULL), 0);
        for (size_t axis = 0; side == 1 && axis < 3; axis++)
            mount_over(job[side].log.gyro_dps[axis], job[side].log.count, 500, 60, 0.1);
        keep_status(job_score(&job[side], &rig, SR_WINDOW_HANN, &err), &err);
        keep_status(job_explain(&job[side], &rig, &err), &err);
    }
}

/* ---- Compare ---- */

static struct sr_compare_flight flights[2];
static struct sr_compare_group groups[2];
static struct sr_comparison comparison;
static struct sr_compare_spectra spectra;

static enum sr_status compare(struct sr_error *err)
{
    return sr_compare(&comparison, &groups[0], &groups[1], err);
}

static uint64_t sum_comparison(void)
{
    return sum_bytes(sum_bytes(0, &comparison.whole, sizeof comparison.whole), comparison.notes,
                     sizeof comparison.notes);
}

static void undo_comparison(void)
{
    memset(&comparison, 0, sizeof comparison);
}

static enum sr_status compare_spectra(struct sr_error *err)
{
    return sr_compare_spectra(&spectra, &groups[0], &groups[1], &comparison, err);
}

static void undo_spectra(void)
{
    sr_compare_spectra_release(&spectra);
    memset(&spectra, 0, sizeof spectra);
}

static enum sr_status adjust(struct sr_error *err)
{
    const double p[] = {0.04, 0.01, 0.5};
    double adjusted[3];

    return sr_adjust_p(p, 3, adjusted, err);
}

static enum sr_status compare_json(FILE *out, struct sr_error *err)
{
    const struct sr_compare_report report = {
        .rig = &rig, .a = &groups[0], .b = &groups[1], .comparison = &comparison, .per_axis = true};
    const struct sr_style style = {.utf8 = true};

    sr_compare_text(out, &style, &report);
    return sr_compare_json(out, &report, err);
}

static enum sr_status print_comparison(struct sr_error *err)
{
    return print(compare_json, err);
}

static void test_compare(void **state)
{
    (void)state;
    for (size_t g = 0; g < 2; g++) {
        flights[g] = (struct sr_compare_flight){"flight", &job[g].slices, &job[g].view, &job[g].score, NULL};
        groups[g] = (struct sr_compare_group){g == 0 ? "A" : "B", &flights[g], 1};
    }
    memset(&comparison, 0, sizeof comparison);
    fail_each(
        &(struct step){"compare", compare, sum_comparison, undo_comparison, &comparison, sizeof comparison},
        5);
    keep_status(compare(&(struct sr_error){.status = SR_OK}), &(struct sr_error){.text = "no comparison"});
    fail_each(
        &(struct step){"compare spectra", compare_spectra, NULL, undo_spectra, &spectra, sizeof spectra}, 1);
    fail_each(&(struct step){"adjust", adjust, NULL, NULL, NULL, 0}, 1);
    fail_each(&(struct step){"compare reports", print_comparison, sum_printed, NULL, NULL, 0}, 1);
}

/* ---- Mounts ---- */

static struct sr_transfer transfer;
static struct sr_identified identified[2];
static struct sr_mount_own own;
static struct sr_mount_ask ask;
static struct sr_mount_table table;

static enum sr_status make_transfer(struct sr_error *err)
{
    return sr_transfer_make(&transfer, &job[0].log, &job[1].log, err);
}

static void undo_transfer(void)
{
    sr_transfer_release(&transfer);
    memset(&transfer, 0, sizeof transfer);
}

static enum sr_status identify(struct sr_error *err)
{
    return sr_identify_transfer(&identified[0], &transfer, err);
}

static enum sr_status identify_mounts(struct sr_error *err)
{
    return sr_identify_mounts(&identified[0], &identified[1], &job[0].slices, &job[1].slices, err);
}

static void undo_identified(void)
{
    memset(identified, 0, sizeof identified);
}

static enum sr_status make_table(struct sr_error *err)
{
    return sr_mount_table_make(&table, &ask, &own, &job[0].slices, &job[0].score, &rig, err);
}

static void undo_table(void)
{
    sr_mount_table_release(&table);
    memset(&table, 0, sizeof table);
}

static enum sr_status try_mount(struct sr_error *err)
{
    struct sr_trial trial;
    bool worth;

    return sr_mount_trial(&trial, &worth, &job[0].slices, &job[0].score, &rig, err);
}

static enum sr_status mounts_json(FILE *out, struct sr_error *err)
{
    const struct sr_mount_report report = {.log = &job[0].log, .rig = &rig, .table = &table};
    const struct sr_style style = {.color = true};

    sr_mounts_text(out, &style, &report);
    return sr_mounts_json(out, &report, err);
}

static enum sr_status print_mounts(struct sr_error *err)
{
    return print(mounts_json, err);
}

static void test_mounts(void **state)
{
    struct sr_error err = {.status = SR_OK};

    (void)state;
    fail_each(&(struct step){"transfer", make_transfer, NULL, undo_transfer, &transfer, sizeof transfer}, 5);
    keep_status(make_transfer(&err), &err);
    fail_each(&(struct step){"identify", identify, NULL, undo_identified, identified, sizeof identified}, 3);
    undo_transfer();
    fail_each(
        &(struct step){"two mounts", identify_mounts, NULL, undo_identified, identified, sizeof identified},
        1);
    keep_status(sr_mount_resolve(&own, &rig, NULL, &err), &err);
    ask = (struct sr_mount_ask){{40, 60}, 2, {5, 25}, 2};
    fail_each(&(struct step){"mount table", make_table, NULL, undo_table, &table, sizeof table}, 5);
    keep_status(make_table(&err), &err);
    fail_each(&(struct step){"mount reports", print_mounts, sum_printed, NULL, NULL, 0}, 1);
    fail_each(&(struct step){"mount trial", try_mount, NULL, NULL, NULL, 0}, 3);
    undo_table();
}

/* ---- Pictures and posts ---- */

static struct sr_plot_options options;

static struct sr_plot_flight drawn(void)
{
    return (struct sr_plot_flight){.log_name = "flight.csv",
                                   .rig = &rig,
                                   .slices = &job[0].slices,
                                   .view = &job[0].view,
                                   .score = &job[0].score,
                                   .causes = &job[0].causes,
                                   .change = &job[0].change};
}

static enum sr_status plot(struct sr_error *err)
{
    const struct sr_plot_flight flight = drawn();

    return sr_plot_flight(&flight, &options, err);
}

/* What is written is whole, or is not written. */
static void undo_plot(void)
{
    assert_int_equal(access(options.output, F_OK), 0);
    unlink(options.output);
}

static enum sr_status post(FILE *out, struct sr_error *err)
{
    const struct sr_plot_flight flight = drawn();
    const struct sr_post text = {
        .flight = &flight, .trials = job[0].trials, .n_trials = job[0].n_trials, .command = "stillrow plot"};

    return sr_post_write(out, SR_POST_MARKDOWN, &text, err);
}

static enum sr_status print_post(struct sr_error *err)
{
    return print(post, err);
}

/* Draws nothing, quickly: what is looked at is on this side of the pipe. */
static void write_gnuplot(void)
{
    put_text("gnuplot", "#!/bin/sh\ncat >/dev/null\necho '<?xml?><svg></svg>'\n");
    assert_int_equal(chmod("gnuplot", 0755), 0);
}

static void test_plots(void **state)
{
    char name[40];

    (void)state;
    write_gnuplot();
    for (int kind = 0; kind < SR_PLOT_KINDS; kind++) {
        sr_plot_options_init(&options);
        options.kind = (enum sr_plot_kind)kind;
        options.gnuplot = "./gnuplot";
        for (int text = 0; text < 2; text++) {
            options.format = text ? SR_PLOT_TEXT : SR_PLOT_SVG;
            options.output = text ? "p.txt" : "p.svg";
            snprintf(name, sizeof name, "%s as %s", sr_plot_kind_name(options.kind),
                     sr_plot_format_ending(options.format));
            fail_each(&(struct step){name, plot, NULL, undo_plot, NULL, 0}, 1);
            assert_int_not_equal(access(options.output, F_OK), 0);
        }
    }
    fail_each(&(struct step){"post", print_post, sum_printed, NULL, NULL, 0}, 0);
}

static int begin(void **state)
{
    struct sr_error err;

    failing_start();
    sr_rig_init(&rig);
    rig.mount.shore_a = 50;
    rig.mount.temperature_c = 20;
    rig.mount.resonance_hz = 60;
    rig.mount.material = SR_MATERIAL_TPU;
    if (sr_rig_finish(&rig, &err) != SR_OK || enter_ledger_folder(state) != 0)
        return -1;
    fly();
    return 0;
}

static int end(void **state)
{
    for (size_t side = 0; side < 2; side++)
        job_release(&job[side]);
    return leave_ledger_folder(state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_compare),
        cmocka_unit_test(test_mounts),
        cmocka_unit_test(test_plots),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
#endif
