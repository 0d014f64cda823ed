/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How long a ledger of 100,000 flights takes to be read and ranked, and whether time grows with the rows and
 * no faster: `rank_ledger FILE`, which is written. Fails at 2 s or more: the project's own aim, common
 * practice for what still feels like an answer, no source.
 */
#include <stdio.h>
#include <time.h>

#include "sim/flight.h"
#include "stillrow/rank.h"

#define LIMIT_S 2.0

static int write_ledger(const char *path, int rows)
{
    static const char *const motors[] = {"home-wound A", "home-wound B", "home-wound C", "bought D"};
    static const char *const props[] = {"3.5 inch, 3 blades", "4 inch, 3 blades", "5 inch, 2 blades"};
    uint64_t seed = 1;
    FILE *file = fopen(path, "w");

    if (file == NULL)
        return -1;
    for (size_t k = 0; sr_ledger_column_name(k) != NULL; k++)
        fprintf(file, "%s%s", k > 0 ? "," : "", sr_ledger_column_name(k));
    fputc('\n', file);
    for (int i = 0; i < rows; i++)
        fprintf(file,
                "1,%016x,regatta-%d.csv,2026-06-14,build %d,%s,\"%s\",3,%d,silicone,%.1f,,boathouse 1,1920,1,"
                "steady,%.4f,0.4012,0.6123,0.3456,0.4567,0.1234,0.2345,0.3456,0.4567,0.1234,123.4,212.3,0.61,"
                "order,1,%s,\n",
                (unsigned)i, i, i % 500, motors[i % 4], props[i / 7 % 3], 40 + 10 * (i / 3 % 4),
                -5 + 40 * sim_uniform(&seed), 0.2 + sim_uniform(&seed), i % 5 == 0 ? "clean" : "");
    return fclose(file);
}

static double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Seconds to read and rank, the best of three; below 0: it failed. */
static double time_of(const char *path, int rows)
{
    double best_s = -1;

    if (write_ledger(path, rows) != 0)
        return -1;
    for (int round = 0; round < 3; round++) {
        struct sr_ledger ledger;
        struct sr_rank rank;
        double start_s = now_s();
        if (sr_ledger_read(&ledger, path, NULL) != SR_OK)
            return -1;
        if (sr_rank_make(&rank, &ledger, NULL) != SR_OK || rank.flights != (size_t)rows)
            return -1;
        double taken_s = now_s() - start_s;
        best_s = round == 0 || taken_s < best_s ? taken_s : best_s;
        sr_rank_release(&rank);
        sr_ledger_release(&ledger);
    }
    return best_s;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fputs("usage: rank_ledger FILE\n", stderr);
        return 2;
    }
    double some_s = time_of(argv[1], 25000), all_s = time_of(argv[1], 100000);
    if (!(some_s > 0 && all_s > 0)) {
        fprintf(stderr, "rank_ledger: %s: could not be written, read or ranked\n", argv[1]);
        return 1;
    }
    printf("ledger:   100000 flights read and ranked in %.2f s, %.1f times as long as 25000 (limit %g s)\n",
           all_s, all_s / some_s, LIMIT_S);
    return all_s < LIMIT_S ? 0 : 1;
}
