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

static int by_fingerprint(const void *x, const void *y)
{
    const struct sr_ledger_row *a = *(const struct sr_ledger_row *const *)x;
    const struct sr_ledger_row *b = *(const struct sr_ledger_row *const *)y;
    return strcmp(a->fingerprint, b->fingerprint);
}

static bool is_doubled(const struct sr_ledger_row *const *rows, size_t i)
{
    for (size_t k = i; k > 0 && strcmp(rows[k - 1]->fingerprint, rows[i]->fingerprint) == 0; k--)
        if (row_same_flight(rows[k - 1], rows[i]))
            return true;
    return false;
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
        made.odd_dates += row->date[0] != '\0' && !sr_ledger_is_date(row->date);
        made.no_hardness += isnan(row->shore_a) != 0;
        made.no_temperature += isnan(row->temperature_c) != 0;
    }
    made.readable = n;
    qsort(rows, n, sizeof *rows, by_build);
    for (size_t i = 0; i < n; i++)
        made.builds +=
            compare_names(rows[i]->build, "") != 0 && (i == 0 || by_build(&rows[i - 1], &rows[i]) != 0);
    qsort(rows, n, sizeof *rows, by_fingerprint);
    for (size_t i = 0; i < n; i++) {
        bool doubled = is_doubled(rows, i);
        made.doubled += doubled;
        made.other_rigs += !doubled && i > 0 && by_fingerprint(&rows[i - 1], &rows[i]) == 0;
    }
    free(rows);
    *counts = made;
    return SR_OK;
}
