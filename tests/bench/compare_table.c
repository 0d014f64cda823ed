/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How honest a comparison is, on flights whose difference is known: false claims where there is none, power
 * at a true difference, coverage of the interval. Fails where the figures leave what is promised: at most 5 %
 * of false claims, within two standard errors of the simulation, and intervals that hold the true difference
 * in 93 to 97 % of comparisons.
 *
 *     compare_table [runs]     how often each is flown, 1000 unless given
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "sim/flight.h"
#include "stillrow/compare.h"
#include "support/fake_flights.h"

#define FLIGHTS_MAX 8

struct scenario {
    const char *what;
    size_t flights;                     /* each side */
    size_t seconds;                     /* each flight */
    double true_db;                     /* between the combos */
    double between_db;                  /* standard deviation of flights of one combo */
    double correlation;                 /* of neighbouring seconds */
    double covered_least, covered_most; /* of true_db by the interval */
};

/*
 * Welch's t with three values a side errs on the safe side: its false claims are 3.5 % for normal values of
 * equal variance (200 000 draws). Student's pooled t would make 5 %, but 8 % where one combo
 * scatters four times as much as the other, and how combos scatter is what three flights cannot tell.
 */
#define THREE_LEAST 0.948 /* 96.5 % within three standard errors of 1000 runs */
#define THREE_MOST  0.982

struct tally {
    int runs, claims, band_claims, covered;
    double smallest_db;
};

static int fly_group(struct fake *fakes, struct sr_compare_flight *flights, const struct scenario *s,
                     double level_db, uint64_t *seed)
{
    for (size_t i = 0; i < s->flights; i++) {
        struct fake_flight flight = {.seconds = s->seconds,
                                     .level_db = level_db + s->between_db * sim_normal(seed),
                                     .scatter_db = 2,
                                     .correlation = s->correlation,
                                     .throttle_low = 0.3,
                                     .throttle_high = 0.45 + 0.1 * sim_uniform(seed),
                                     .throttle_db = 3,
                                     .unscored = true};
        if (fake_fly(&fakes[i], &flight, seed) != 0)
            return -1;
        flights[i] = (struct sr_compare_flight){"fake", &fakes[i].slices, &fakes[i].view, NULL, NULL};
    }
    return 0;
}

static int one_run(struct tally *t, const struct scenario *s, uint64_t *seed)
{
    struct fake fakes[2][FLIGHTS_MAX];
    struct sr_compare_flight flights[2][FLIGHTS_MAX];
    struct sr_compare_group groups[2];
    struct sr_comparison c;
    struct sr_error err;

    for (int g = 0; g < 2; g++) {
        if (fly_group(fakes[g], flights[g], s, g == 1 ? s->true_db : 0, seed) != 0)
            return -1;
        groups[g] = (struct sr_compare_group){g == 0 ? "A" : "B", flights[g], s->flights};
    }
    if (sr_compare(&c, &groups[0], &groups[1], &err) != SR_OK) {
        fprintf(stderr, "compare_table: %s\n", err.text);
        return -1;
    }
    bool band = false;
    for (int b = 0; b < SR_BAND_COUNT - 1; b++)
        band = band || c.band[b].shown;
    t->runs++;
    t->claims += c.winner != SR_NO_DIFFERENCE;
    t->band_claims += band;
    t->covered += c.whole.low_db <= s->true_db && s->true_db <= c.whole.high_db;
    t->smallest_db += c.smallest_db;
    for (int g = 0; g < 2; g++)
        for (size_t i = 0; i < s->flights; i++)
            fake_release(&fakes[g][i]);
    return 0;
}

static bool keeps(const struct scenario *s, const struct tally *t)
{
    double n = t->runs, most = 0.05 + 2 * sqrt(0.05 * 0.95 / n);
    double claims = t->claims / n, bands = t->band_claims / n, covered = t->covered / n;

    if (!(fabs(s->true_db) > 0) && (claims > most || bands > most))
        return false;
    return covered >= s->covered_least && covered <= s->covered_most;
}

int main(int argc, char **argv)
{
    const struct scenario scenarios[] = {
        {"no difference, 5 flights each", 5, 40, 0, 1.5, 0.4, 0.93, 0.97},
        {"no difference, 3 flights each", 3, 40, 0, 1.5, 0.4, THREE_LEAST, THREE_MOST},
        {"no difference, 1 flight each, these flights only", 1, 60, 0, 0, 0.4, 0.93, 0.97},
        {"no difference, 2 flights each, restless air", 2, 60, 0, 0, 0.6, 0.93, 0.97},
        {"3 dB, 5 flights each", 5, 40, 3, 1.5, 0.4, 0.93, 0.97},
        {"6 dB, 3 flights each", 3, 40, 6, 1.5, 0.4, THREE_LEAST, THREE_MOST},
        {"1 dB, 1 flight each, these flights only", 1, 60, 1, 0, 0.4, 0.93, 0.97},
    };
    const int runs = argc > 1 ? atoi(argv[1]) : 1000;
    if (runs < 1) {
        fprintf(stderr, "compare_table: runs: a number, 1 or more\n");
        return 2;
    }
    bool fine = true;
    uint64_t seed = 20240229;

    printf("%-52s %6s %8s %8s %9s %9s\n", "comparison", "runs", "claimed", "a band", "covered", "smallest");
    for (size_t i = 0; i < sizeof scenarios / sizeof *scenarios; i++) {
        const struct scenario *s = &scenarios[i];
        struct tally t = {0};
        for (int run = 0; run < runs; run++)
            if (one_run(&t, s, &seed) != 0)
                return 1;
        bool kept = keeps(s, &t);
        printf("%-52s %6d %6.1f %% %6.1f %% %7.1f %% %6.1f dB%s\n", s->what, t.runs,
               100.0 * t.claims / t.runs, 100.0 * t.band_claims / t.runs, 100.0 * t.covered / t.runs,
               t.smallest_db / t.runs, kept ? "" : "  << outside what is promised");
        fine = fine && kept;
    }
    printf("claimed: a difference of the whole flight, false where there is none, else the power; a band: of "
           "any band, after Benjamini-Hochberg; "
           "covered: the 95 %%\n"
           "interval holds the true difference; smallest: what the comparison says it would have shown 8 "
           "times in 10\n");
    return fine ? 0 : 1;
}
