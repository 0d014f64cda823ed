/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Flights into setups and hardnesses, and the best hardness of each setup. */
#include "private.h"
#include "rank_private.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define BLANKS " \t\r\n\v\f"

/* One flight, ready to be sorted. */
struct item {
    const struct sr_ledger_row *row;
    double from_c; /* NAN: no temperature */
    double shore_a, level_db;
};

double sr_ledger_level_db(const struct sr_ledger_row *row)
{
    double threshold_px = row->threshold_px > 0 ? row->threshold_px : row->width_px / 1920;
    double level_db =
        row->wobble_px > 0 && threshold_px > 0 ? 20 * log10(row->wobble_px / threshold_px) : NAN;
    return isfinite(level_db) ? level_db : NAN;
}

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, BLANKS);
}

/* Many people write one motor's name: case, and blanks more or less, do not count. */
int compare_names(const char *a, const char *b)
{
    if (strcmp(a, b) == 0) /* by far the most common */
        return 0;
    a = skip_blanks(a);
    b = skip_blanks(b);
    while (*a != '\0' && *b != '\0') {
        bool gap_a = strchr(BLANKS, *a) != NULL, gap_b = strchr(BLANKS, *b) != NULL;
        int ca = gap_a ? ' ' : lower_case(*a), cb = gap_b ? ' ' : lower_case(*b);
        if (ca != cb)
            break;
        a = gap_a ? skip_blanks(a) : a + 1;
        b = gap_b ? skip_blanks(b) : b + 1;
    }
    const char *rest_a = skip_blanks(a), *rest_b = skip_blanks(b);
    if (*rest_a == '\0' || *rest_b == '\0')
        return (*rest_a != '\0') - (*rest_b != '\0');
    return lower_case(*a) - lower_case(*b);
}

int compare_numbers(double a, double b)
{
    if (isnan(a) || isnan(b))
        return isnan(a) - isnan(b);
    return (a > b) - (a < b);
}

static int compare_setups(const struct item *a, const struct item *b)
{
    int order = compare_names(a->row->motor, b->row->motor);
    if (order == 0)
        order = compare_names(a->row->prop, b->row->prop);
    return order != 0 ? order : compare_numbers(a->from_c, b->from_c);
}

static int by_setup(const void *x, const void *y)
{
    const struct item *a = x, *b = y;
    int order = compare_setups(a, b);
    if (order == 0)
        order = compare_numbers(a->shore_a, b->shore_a);
    if (order == 0)
        order = compare_names(a->row->build, b->row->build);
    return order != 0 ? order : (a->row > b->row) - (a->row < b->row);
}

/* 0 is added so that no band begins at -0. */
static double band_from(double temperature_c)
{
    return SR_RANK_BAND_C * floor(temperature_c / SR_RANK_BAND_C) + 0.0;
}

/* rows: room for all of them. A flight that stands there twice is one flight. */
static size_t take_items(struct sr_rank *rank, const struct sr_ledger *ledger,
                         const struct sr_ledger_row **rows, struct item *items)
{
    size_t n = 0;

    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct sr_ledger_row *row = &ledger->rows[i];
        double level_db = sr_ledger_level_db(row);
        if (!row->readable)
            rank->unreadable++;
        else if (strcmp(row->verdict, sr_verdict_name(SR_UNPROVEN)) == 0)
            rank->unproven++;
        else if (isnan(row->shore_a))
            rank->no_hardness++;
        else if (row->mount_in == SR_MOUNT_IN_NO)
            rank->no_mount++;
        else if (isnan(level_db))
            rank->no_level++;
        else
            rows[n++] = row;
    }
    rank->flights = rows_once(rows, n);
    rank->doubled = n - rank->flights;
    for (size_t i = 0; i < rank->flights; i++) {
        rank->mount_unknown += rows[i]->mount_in == SR_MOUNT_IN_UNKNOWN;
        items[i] = (struct item){rows[i], band_from(rows[i]->temperature_c), floor(rows[i]->shore_a + 0.5),
                                 sr_ledger_level_db(rows[i])};
    }
    return rank->flights;
}

/* One cell from items[0..): how many of them it took. */
static size_t make_cell(struct sr_rank_cell *cell, struct moments *moments, const struct item *items,
                        size_t n)
{
    size_t i = 0;

    *moments = (struct moments){0, 0, 0};
    *cell = (struct sr_rank_cell){.shore_a = items[0].shore_a};
    for (; i < n && compare_setups(&items[i], &items[0]) == 0 &&
           compare_numbers(items[i].shore_a, items[0].shore_a) == 0;
         i++) {
        moments_add(moments, items[i].level_db);
        cell->builds += i == 0 || compare_names(items[i].row->build, items[i - 1].row->build) != 0;
    }
    cell->flights = i;
    cell->level_db = mean_interval(moments, 0.95);
    cell->sd_db = moments_sd(moments);
    cell->enough = i >= SR_RANK_FLIGHTS_MIN;
    return i;
}

static size_t lowest(const struct sr_rank_setup *setup, size_t except)
{
    size_t best = SR_RANK_NONE;
    for (size_t c = 0; c < setup->n_cells; c++) {
        const struct sr_rank_cell *cell = &setup->cells[c];
        if (cell->enough && c != except &&
            (best == SR_RANK_NONE || cell->level_db.value < setup->cells[best].level_db.value))
            best = c;
    }
    return best;
}

/*
 * The lowest mean is picked after the fact, but it counts as clear only where it beats every other one, so
 * with equals it is called clear in at most 5 % of setups.
 */
static void pick_best(struct sr_rank_setup *setup, const struct moments *moments)
{
    setup->p_value = setup->margin_db = NAN;
    setup->best = lowest(setup, SR_RANK_NONE);
    setup->second = setup->best != SR_RANK_NONE ? lowest(setup, setup->best) : SR_RANK_NONE;
    if (setup->second == SR_RANK_NONE)
        return;
    setup->margin_db = setup->cells[setup->second].level_db.value - setup->cells[setup->best].level_db.value;
    setup->p_value = 0;
    for (size_t c = 0; c < setup->n_cells; c++)
        if (setup->cells[c].enough && c != setup->best)
            setup->p_value = fmax(setup->p_value, welch_p(&moments[c], &moments[setup->best]));
    setup->clear = setup->p_value < 0.05;
}

/* Whether no build flew both hardnesses; items of one setup, sorted. */
static bool no_build_in_common(const struct sr_rank_setup *setup, const struct item *items)
{
    size_t from[2] = {0, 0};
    const size_t cell[2] = {setup->best, setup->second};

    for (size_t k = 0; k < 2; k++)
        for (size_t c = 0; c < cell[k]; c++)
            from[k] += setup->cells[c].flights;
    size_t a = from[0], end_a = a + setup->cells[cell[0]].flights;
    size_t b = from[1], end_b = b + setup->cells[cell[1]].flights;
    while (a < end_a && b < end_b) {
        int order = compare_names(items[a].row->build, items[b].row->build);
        if (order == 0)
            return false;
        if (order < 0)
            a++;
        else
            b++;
    }
    return true;
}

/* One setup from items[0..), its cells from `cells` on: how many items it took. */
static size_t make_setup(struct sr_rank_setup *setup, struct sr_rank_cell *cells, struct moments *moments,
                         const struct item *items, size_t n)
{
    size_t taken = 0;

    *setup = (struct sr_rank_setup){.motor = items[0].row->motor,
                                    .prop = items[0].row->prop,
                                    .from_c = items[0].from_c,
                                    .to_c = items[0].from_c + SR_RANK_BAND_C,
                                    .cells = cells};
    while (taken < n && compare_setups(&items[taken], &items[0]) == 0) {
        taken += make_cell(&cells[setup->n_cells], &moments[setup->n_cells], items + taken, n - taken);
        setup->n_cells++;
    }
    setup->flights = taken;
    pick_best(setup, moments);
    setup->apart = setup->second != SR_RANK_NONE && no_build_in_common(setup, items);
    return taken;
}

/* Rooms enough for a setup and a cell of each flight; the means' sums are only needed here. */
static enum sr_status make_setups(struct sr_rank *rank, const struct item *items, size_t n,
                                  struct sr_error *err)
{
    struct moments *moments = calloc(n + 1, sizeof *moments);
    size_t cells = 0;

    rank->setups = calloc(n + 1, sizeof *rank->setups);
    rank->cells = calloc(n + 1, sizeof *rank->cells);
    if (moments == NULL || rank->setups == NULL || rank->cells == NULL) {
        free(moments);
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the ranking");
    }
    for (size_t i = 0; i < n;) {
        struct sr_rank_setup *setup = &rank->setups[rank->n_setups++];
        i += make_setup(setup, rank->cells + cells, moments, items + i, n - i);
        cells += setup->n_cells;
        rank->n_counted += setup->best != SR_RANK_NONE;
        rank->n_compared += setup->second != SR_RANK_NONE;
    }
    free(moments);
    return SR_OK;
}

enum sr_status sr_rank_make(struct sr_rank *rank, const struct sr_ledger *ledger, struct sr_error *err)
{
    struct sr_rank made = {0};
    struct item *items = NULL;
    const struct sr_ledger_row **rows = NULL;
    enum sr_status status = SR_OK;

    if (ledger->n_rows < SIZE_MAX / sizeof *items) {
        items = calloc(ledger->n_rows + 1, sizeof *items);
        rows = calloc(ledger->n_rows + 1, sizeof *rows);
    }
    if (items == NULL || rows == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the ranking");
        goto done;
    }
    size_t n = take_items(&made, ledger, rows, items);
    qsort(items, n, sizeof *items, by_setup);
    status = make_setups(&made, items, n, err);
    if (status == SR_OK)
        status = rank_choices(&made, err);

done:
    free(rows);
    free(items);
    if (status != SR_OK)
        sr_rank_release(&made);
    else
        *rank = made;
    return status;
}

void sr_rank_release(struct sr_rank *rank)
{
    free(rank->setups);
    free(rank->cells);
    free(rank->single);
    free(rank->pair);
    memset(rank, 0, sizeof *rank);
}
