/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the other jobs fails in turn: comparing, mounts, the ledger and what is read out of it,
 * rig files, pictures, posts. Each failure is said, loses no memory and touches no output. See
 * harden/failing.h for what is not failed.
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
#include "stillrow/kappa.h"
#include "stillrow/ledger_report.h"
#include "stillrow/mount.h"
#include "stillrow/mount_report.h"
#include "stillrow/plot.h"
#include "stillrow/post.h"
#include "stillrow/trend.h"
#include "support/ledger_file.h"
#include "support/sim_log.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of "
                  "comparisons, mounts, ledgers, rig files, pictures and posts\n");
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

/* ---- Texts into memory that is there already ---- */

static char printed[1 << 20];
static size_t printed_size;

static enum sr_status print(enum sr_status (*report)(FILE *out, struct sr_error *err), struct sr_error *err)
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

static uint64_t sum_printed(void)
{
    assert_true(printed_size > 100);
    return sum_bytes(0, printed, printed_size);
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
        flights[g] = (struct sr_compare_flight){"flight", &job[g].slices, &job[g].view, &job[g].score};
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

/* ---- Ledger and rig ---- */

static struct sr_ledger ledger;

static void write_ledger(void)
{
    FILE *out = fopen("l.csv", "wb");

    assert_non_null(out);
    fputs("fingerprint,width_px,wobble_px,motor,prop,material,shore_a,temperature_c,resonance_hz,build,"
          "rating,date,"
          "mine\n",
          out);
    for (int i = 0; i < 90; i++)
        fprintf(out, "%016x,1920,%.2f,A,4 inch,tpu,%d,%d,%d,heron,%s,2026-0%d-%02d,\"x, %d\"\n", i + 1,
                0.3 + 0.03 * i, i % 3 * 10 + 50, i % 4 * 10, 70 - i % 4 * 4,
                i % 5 == 4       ? ""
                : i + i % 7 < 40 ? "clean"
                                 : "bad",
                1 + i / 28, 1 + i % 28, i);
    fputs("broken,1920,\"row\",,,,,,,,,,,long\n", out);
    assert_int_equal(fclose(out), 0);
}

static enum sr_status read_it(struct sr_error *err)
{
    return sr_ledger_read(&ledger, "l.csv", err);
}

static void undo_read(void)
{
    sr_ledger_release(&ledger);
    memset(&ledger, 0, sizeof ledger);
}

static uint64_t sum_file(void)
{
    const bool on = failing_on;

    failing_on = false;
    char *text = get_text("l.csv");
    const uint64_t sum = sum_bytes(0, text, strlen(text));
    free(text);
    failing_on = on;
    return sum;
}

static enum sr_status add_row(struct sr_error *err)
{
    char hex[SR_FINGERPRINT_SIZE];
    enum sr_added added;
    struct sr_ledger_row row;

    sr_ledger_row_from(&row, hex, &job[0].log, &rig, &job[0].score);
    row.fingerprint = "00000000feed0001";
    return sr_ledger_add("l.csv", &row, &added, err);
}

static enum sr_status merge(struct sr_error *err)
{
    struct sr_merge_count count;

    return sr_ledger_merge("l.csv", "second.csv", &count, err);
}

static enum sr_status rate(struct sr_error *err)
{
    return sr_ledger_rate("l.csv", "0000000000000003", SR_RATED_BAD, err);
}

/* The file a failed change leaves is the old one; that it is so is looked at by the sum of a success, too. */
static void fail_change(const char *name, enum sr_status (*run)(struct sr_error *err), size_t least)
{
    write_ledger();
    fail_each(&(struct step){name, run, sum_file, write_ledger, NULL, 0}, least);
    assert_int_not_equal(access("l.csv.stillrow-new", F_OK), 0);
    char *now = get_text("l.csv");
    write_ledger();
    assert_file_is("l.csv", now);
    free(now);
}

static void test_ledger(void **state)
{
    (void)state;
    put_text("second.csv", "mine,wobble_px,fingerprint\nx,1,00000000000000ac\ny,bad\n");
    write_ledger();
    fail_each(&(struct step){"ledger read", read_it, NULL, undo_read, &ledger, sizeof ledger}, 4);
    fail_change("ledger add", add_row, 8);
    fail_change("ledger merge", merge, 12);
    fail_change("ledger rate", rate, 8);
}

static enum sr_status rank_it(FILE *out, struct sr_error *err)
{
    struct sr_rank rank;
    const struct sr_style style = {.utf8 = true};
    enum sr_status status = sr_rank_make(&rank, &ledger, err);

    if (status != SR_OK)
        return status;
    const struct sr_rank_report report = {.path = "l.csv", .rank = &rank};
    sr_rank_text(out, &style, &report);
    status = sr_rank_json(out, &report, err);
    sr_rank_release(&rank);
    return status;
}

static enum sr_status find_threshold(FILE *out, struct sr_error *err)
{
    struct sr_threshold threshold;
    enum sr_status status = sr_threshold_find(&threshold, &ledger, err);
    const struct sr_threshold_report report = {.path = "l.csv", .threshold = &threshold};

    return status == SR_OK ? sr_threshold_json(out, &report, err) : status;
}

static enum sr_status find_others(FILE *out, struct sr_error *err)
{
    struct sr_kappa kappa;
    struct sr_trend trend;
    struct sr_ledger_counts counts;
    enum sr_status status = sr_ledger_kappa(&kappa, &ledger, SR_MATERIAL_TPU, err);

    if (status == SR_OK)
        status = sr_trend_find(&trend, &ledger, &ledger.rows[0], err);
    if (status == SR_OK)
        status = sr_ledger_count(&counts, &ledger, err);
    if (status == SR_OK)
        fprintf(out, "%0100zu\n", counts.readable);
    return status;
}

static enum sr_status list(FILE *out, struct sr_error *err)
{
    return sr_ledger_list_json(out, &ledger, NULL, err);
}

static enum sr_status print_rank(struct sr_error *err)
{
    return print(rank_it, err);
}

static enum sr_status print_threshold(struct sr_error *err)
{
    return print(find_threshold, err);
}

static enum sr_status print_others(struct sr_error *err)
{
    return print(find_others, err);
}

static enum sr_status print_list(struct sr_error *err)
{
    return print(list, err);
}

static void test_read_out(void **state)
{
    struct sr_error err = {.status = SR_OK};

    (void)state;
    write_ledger();
    keep_status(read_it(&err), &err);
    fail_each(&(struct step){"rank", print_rank, sum_printed, NULL, NULL, 0}, 4);
    fail_each(&(struct step){"threshold", print_threshold, sum_printed, NULL, NULL, 0}, 2);
    fail_each(&(struct step){"kappa, trend", print_others, sum_printed, NULL, NULL, 0}, 2);
    undo_read();
    keep_status(sr_ledger_read(&ledger, "second.csv", &err), &err);
    fail_each(&(struct step){"ledger list", print_list, sum_printed, NULL, NULL, 0}, 1);
    undo_read();
}

static struct sr_rig read_rig;

static enum sr_status read_rig_file(struct sr_error *err)
{
    return sr_rig_read(&read_rig, "r.ini", err);
}

static void undo_rig(void)
{
    sr_rig_init(&read_rig);
}

static enum sr_status write_threshold(struct sr_error *err)
{
    return sr_rig_write_threshold("r.ini", 1.5, err);
}

static void write_rig(void)
{
    put_text("r.ini", "[camera]\nfps = 50\n[mode slow]\nfps = 25\n[threshold]\npx = 1 ; from footage\n");
}

static void test_rig(void **state)
{
    (void)state;
    write_rig();
    memset(&read_rig, 0, sizeof read_rig);
    undo_rig();
    fail_each(&(struct step){"rig read", read_rig_file, NULL, undo_rig, &read_rig, sizeof read_rig}, 2);
    fail_each(&(struct step){"rig threshold", write_threshold, NULL, write_rig, NULL, 0}, 3);
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
        cmocka_unit_test(test_compare),  cmocka_unit_test(test_mounts), cmocka_unit_test(test_ledger),
        cmocka_unit_test(test_read_out), cmocka_unit_test(test_rig),    cmocka_unit_test(test_plots),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
#endif
