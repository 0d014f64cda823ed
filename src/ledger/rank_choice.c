/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which one or two hardnesses to ship: every choice over all setups. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rank_private.h"

static void find_hardnesses(struct grid *grid, const struct sr_rank *rank)
{
    bool flown[RANK_SHORE_MAX] = {false};

    for (size_t s = 0; s < rank->n_setups; s++)
        for (size_t c = 0; c < rank->setups[s].n_cells; c++)
            if (rank->setups[s].cells[c].enough)
                flown[(size_t)rank->setups[s].cells[c].shore_a] = true;
    for (size_t h = 0; h < RANK_SHORE_MAX; h++)
        if (flown[h])
            grid->shore_a[grid->n_shore++] = (double)h;
}

static enum sr_status grid_make(struct grid *grid, const struct sr_rank *rank, struct sr_error *err)
{
    *grid = (struct grid){0};
    find_hardnesses(grid, rank);
    size_t width = grid->n_shore > 0 ? grid->n_shore : 1;
    if (rank->n_counted < SIZE_MAX / sizeof(double) / width) {
        grid->level_db = calloc((rank->n_counted + 1) * width, sizeof *grid->level_db);
        grid->setup = calloc(rank->n_counted + 1, sizeof *grid->setup);
        grid->n_lacking = calloc(rank->n_counted + 1, sizeof *grid->n_lacking);
    }
    if (grid->level_db == NULL || grid->setup == NULL || grid->n_lacking == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the ranking");
    for (size_t s = 0; s < rank->n_setups; s++) {
        const struct sr_rank_setup *setup = &rank->setups[s];
        if (setup->best == SR_RANK_NONE)
            continue;
        double *levels = grid->level_db + grid->n_setups * grid->n_shore;
        for (size_t h = 0, c = 0; h < grid->n_shore; h++) {
            while (c < setup->n_cells && setup->cells[c].shore_a < grid->shore_a[h])
                c++;
            bool has =
                c < setup->n_cells && setup->cells[c].shore_a <= grid->shore_a[h] && setup->cells[c].enough;
            levels[h] = has ? setup->cells[c].level_db.value : NAN;
            grid->n_lacking[grid->n_setups] += !has;
        }
        grid->setup[grid->n_setups++] = s;
    }
    return SR_OK;
}

static void grid_release(struct grid *grid)
{
    free(grid->level_db);
    free(grid->setup);
    free(grid->n_lacking);
}

/* fmin() takes the number where the other is NAN. */
static double best_level(const struct grid *grid, size_t setup)
{
    double best = NAN;
    for (size_t h = 0; h < grid->n_shore; h++)
        best = fmin(best, grid->level_db[setup * grid->n_shore + h]);
    return best;
}

/* A choice of hardnesses a and b (the same for a choice of one). best[n_setups]: lowest level of each setup.
 */
static struct sr_rank_choice judge(const struct grid *grid, const double *best, size_t a, size_t b)
{
    struct sr_rank_choice choice = {.shore_a = {grid->shore_a[a], grid->shore_a[b]},
                                    .count = a == b ? 1 : 2,
                                    .worst_regret_db = NAN,
                                    .worst_setup = SR_RANK_NONE};
    size_t known = 0;
    double sum_db = 0;

    for (size_t s = 0; s < grid->n_setups; s++) {
        double first = grid->level_db[s * grid->n_shore + a], second = grid->level_db[s * grid->n_shore + b];
        double level_db = fmin(first, second), regret_db = level_db - best[s];
        bool under = level_db < 0, both = isfinite(first) && isfinite(second);
        choice.under += under;
        choice.over += !under && both;
        choice.unknown += !under && !both;
        if (isnan(level_db))
            continue;
        known++;
        sum_db += regret_db;
        if (!(regret_db <= choice.worst_regret_db)) {
            choice.worst_regret_db = regret_db;
            choice.worst_setup = grid->setup[s];
        }
    }
    choice.share = share_interval(choice.under, choice.under + choice.over, 0.95);
    choice.mean_regret_db = known > 0 ? sum_db / (double)known : NAN;
    return choice;
}

static int by_merit(const void *x, const void *y)
{
    const struct sr_rank_choice *a = x, *b = y;
    if (a->under != b->under)
        return a->under > b->under ? -1 : 1;
    double ra = isnan(a->worst_regret_db) ? INFINITY : a->worst_regret_db;
    double rb = isnan(b->worst_regret_db) ? INFINITY : b->worst_regret_db;
    if (ra < rb || ra > rb)
        return ra < rb ? -1 : 1;
    if (a->unknown != b->unknown)
        return a->unknown < b->unknown ? -1 : 1;
    for (size_t i = 0; i < 2; i++)
        if (a->shore_a[i] < b->shore_a[i] || a->shore_a[i] > b->shore_a[i])
            return a->shore_a[i] < b->shore_a[i] ? -1 : 1;
    return 0;
}

enum sr_status rank_choices(struct sr_rank *rank, struct sr_error *err)
{
    struct grid grid;
    double *best = NULL;

    enum sr_status status = grid_make(&grid, rank, err);
    if (status != SR_OK)
        goto done;
    best = calloc(grid.n_setups + 1, sizeof *best);
    rank->single = calloc(grid.n_shore + 1, sizeof *rank->single);
    rank->pair = calloc(grid.n_shore * grid.n_shore / 2 + 1, sizeof *rank->pair);
    if (best == NULL || rank->single == NULL || rank->pair == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the ranking");
        goto done;
    }
    for (size_t s = 0; s < grid.n_setups; s++)
        best[s] = best_level(&grid, s);
    for (size_t a = 0; a < grid.n_shore; a++) {
        rank->single[rank->n_single++] = judge(&grid, best, a, a);
        for (size_t b = a + 1; b < grid.n_shore; b++)
            rank->pair[rank->n_pair++] = judge(&grid, best, a, b);
    }
    qsort(rank->single, rank->n_single, sizeof *rank->single, by_merit);
    qsort(rank->pair, rank->n_pair, sizeof *rank->pair, by_merit);
    rank->single_settled = rank_is_settled(&grid, best, rank->single, rank->n_single);
    rank->pair_settled = rank_is_settled(&grid, best, rank->pair, rank->n_pair);

done:
    free(best);
    grid_release(&grid);
    return status;
}
