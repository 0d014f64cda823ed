/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A look over a ledger. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"
#include "rank_private.h"

static int by_build(const void *x, const void *y)
{
    const struct sr_ledger_row *a = *(const struct sr_ledger_row *const *)x;
    const struct sr_ledger_row *b = *(const struct sr_ledger_row *const *)y;
    return compare_names(a->build, b->build);
}

static int by_flight(const void *x, const void *y)
{
    const struct sr_ledger_row *a = *(const struct sr_ledger_row *const *)x;
    const struct sr_ledger_row *b = *(const struct sr_ledger_row *const *)y;
    int order = row_compare_flights(a, b);
    return order != 0 ? order : (a > b) - (a < b);
}

static int by_place(const void *x, const void *y)
{
    const struct sr_ledger_row *a = *(const struct sr_ledger_row *const *)x;
    const struct sr_ledger_row *b = *(const struct sr_ledger_row *const *)y;
    return (a > b) - (a < b);
}

size_t rows_once(const struct sr_ledger_row **rows, size_t n)
{
    size_t left = 0;

    qsort(rows, n, sizeof *rows, by_flight);
    for (size_t i = 0; i < n; i++)
        if (left == 0 || row_compare_flights(rows[left - 1], rows[i]) != 0)
            rows[left++] = rows[i];
    qsort(rows, left, sizeof *rows, by_place);
    return left;
}

/* Rows that are there twice, and logs with several rigs; the rows come to stand by flight. */
static void count_twins(struct sr_ledger_counts *counts, const struct sr_ledger_row **rows, size_t n)
{
    qsort(rows, n, sizeof *rows, by_flight);
    for (size_t i = 1; i < n; i++) {
        const struct sr_ledger_row *last = rows[i - 1], *row = rows[i];
        if (row_compare_flights(last, row) == 0) {
            counts->doubled++;
            if (counts->first_doubled_line == 0 || row->line < counts->first_doubled_line)
                counts->first_doubled_line = row->line;
        } else if (compare_prints(last->fingerprint, row->fingerprint, SIZE_MAX) == 0) {
            counts->other_rigs++;
        }
    }
}

enum sr_status sr_ledger_count(struct sr_ledger_counts *counts, const struct sr_ledger *ledger,
                               struct sr_error *err)
{
    struct sr_ledger_counts made = {.rows = ledger->n_rows};
    const struct sr_ledger_row **rows = NULL;
    size_t n = 0;

    if (ledger->n_rows < SIZE_MAX / sizeof *rows)
        rows = calloc(ledger->n_rows + 1, sizeof *rows);
    if (rows == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the ledger's rows");
    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct sr_ledger_row *row = &ledger->rows[i];
        if (!row->readable)
            continue;
        rows[n++] = row;
        made.rated[row->rating]++;
        if (row->date[0] != '\0' && !sr_ledger_is_date(row->date) && made.odd_dates++ == 0)
            made.first_odd_date_line = row->line;
        made.no_hardness += isnan(row->shore_a) != 0;
        made.no_temperature += isnan(row->temperature_c) != 0;
        made.no_mount += !isnan(row->shore_a) && row->mount_in == SR_MOUNT_IN_NO;
        made.mount_unknown += !isnan(row->shore_a) && row->mount_in == SR_MOUNT_IN_UNKNOWN;
    }
    made.readable = n;
    qsort(rows, n, sizeof *rows, by_build);
    for (size_t i = 0; i < n; i++)
        made.builds +=
            compare_names(rows[i]->build, "") != 0 && (i == 0 || by_build(&rows[i - 1], &rows[i]) != 0);
    count_twins(&made, rows, n);
    free(rows);
    *counts = made;
    return SR_OK;
}
