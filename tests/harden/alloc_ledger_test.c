/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the ledger and of what is read out of it fails in turn, and of rig files. Each failure
 * is said, loses no memory and touches neither output nor file. See support/failing.h for what is not failed.
 */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "harden/fail_each.h"
#include "stillrow/kappa.h"
#include "stillrow/ledger_report.h"
#include "stillrow/rig.h"
#include "stillrow/trend.h"
#include "support/ledger_file.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of "
                  "ledgers and rig files\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

static void keep_status(enum sr_status status, const struct sr_error *err)
{
    if (status != SR_OK)
        fail_msg("%s", err->text);
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
    enum sr_added added;
    struct sr_ledger_row row = bare_row("00000000feed0001", 0.4);

    row.build = "heron, \"the steady one\"";
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
    /* A row more, one that cannot be read, and one of a flight that has no note yet. */
    put_text("second.csv", "mine,wobble_px,fingerprint,build,shore_a,note\nx,1,00000000000000ac\ny,bad\n"
                           "x,0.3,0000000000000001,heron,50,filled in\n");
    write_ledger();
    fail_each(&(struct step){"ledger read", read_it, NULL, undo_read, &ledger, sizeof ledger}, 4);
    fail_change("ledger add", add_row, 8);
    fail_change("ledger merge", merge, 12);
    fail_change("ledger rate", rate, 8);
    /* The second once more, as a spreadsheet with decimal commas has it: its first row is looked at twice. */
    put_text("second.csv", "mine;wobble_px;fingerprint\nx;1,5;00000000000000ac\n");
    fail_change("ledger merge of semicolons", merge, 14);
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

static int begin(void **state)
{
    failing_start();
    return enter_ledger_folder(state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ledger),
        cmocka_unit_test(test_read_out),
        cmocka_unit_test(test_rig),
    };
    return cmocka_run_group_tests(tests, begin, leave_ledger_folder);
}
#endif
