/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Writes the sample ledger: `generate_ledger FILE`. The club, its craft and every flight are invented; the
 * truth behind the numbers is in this file, and tests/sample_ledger_test.c checks that `ledger rank` and
 * `threshold` find it. Four digits of each number are written, so that the last bit of a machine's pow() does
 * not show, and the bytes are the same everywhere.
 *
 * The truth: printed TPU mounts whose modulus falls by 2 % a kelvin; each combo wants a hardness of its own,
 * softer in the cold; away from it wobble rises with the square of the distance. Footage shows wobble at
 * 0.9 px on a picture 1920 px wide in half of the cases. Of 40, 50 and 60 A alone, 50 keeps most setups
 * clean, and 40 and 60 together keep all of them. grebe flies on rubber, and one of its bearings wears. For
 * all of this the recorders sat beside the cameras, behind the mounts: mount_in is "logged".
 */
#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "sim/flight.h"

#define KAPPA        0.02 /* [1/K] of TPU */
#define SHOWS_PX     0.9  /* half of the footage shows it */
#define STEEPNESS    5.0  /* of the odds with ln(px) */
#define SCATTER_DB   1.1  /* between flights */
#define PENALTY_A2   30.0 /* [A^2] that cost 1 dB */
#define RESONANCE_HZ 62.0 /* of 50 A at 20 C */

struct craft {
    const char *name, *motor, *prop, *camera, *pilot;
    double width_px, speed_hz; /* speed: of the motors */
};

static const struct craft heron = {"heron", "home-wound A", "4 inch, 3 blades", "boathouse 1", "cox", 1920,
                                   180};
static const struct craft moorhen = {
    "moorhen", "home-wound A", "4 inch, 3 blades", "boathouse 1", "bow", 1920, 183};
static const struct craft dipper = {
    "dipper", "home-wound B", "3.5 inch, 3 blades", "boathouse 2", "bow", 2704, 207};
static const struct craft coot = {"coot", "home-wound B", "3.5 inch, 3 blades", "boathouse 3", "cox", 1920,
                                  211};
static const struct craft grebe = {"grebe", "home-wound C", "5 inch, 3 blades", "boathouse 1", "stroke", 1920,
                                   150};

/* A combo in a season: the hardness it wants, and its level there. */
struct setup {
    const struct craft *craft[2];
    double wants_a, floor_db;
};

static const struct {
    const char *month;
    double temperature_c;
    struct setup setups[2];
} seasons[] = {
    {"2026-01", 4, {{{&heron, &moorhen}, 46, -3.5}, {{&dipper, &coot}, 40, -2.5}}},
    {"2026-04", 14, {{{&heron, &moorhen}, 54, -3.5}, {{&dipper, &coot}, 46, -2.5}}},
    {"2026-07", 25, {{{&heron, &moorhen}, 63, -3.5}, {{&dipper, &coot}, 53.5, -2.5}}},
};

/* One flight, before it is written. */
struct row {
    const struct craft *craft;
    char date[16];
    double shore_a, temperature_c, resonance_hz, level_db; /* resonance 0: not measured */
    const char *material;
    bool unrated;
};

struct writer {
    FILE *out;
    uint64_t seed;
    unsigned flights;
};

static void write_header(FILE *out)
{
    fputs(
        "ledger,fingerprint,log,date,build,motor,prop,blades,shore_a,material,temperature_c,resonance_hz,"
        "camera,"
        "width_px,threshold_px,verdict,wobble_px,low_px,high_px,median_px,rms_px,bend_px,wave_px,ripple_px,"
        "grain_px,smear_px,airborne_s,main_hz,main_share,main_cause,main_order,rating,note,mount_in,pilot\n",
        out);
}

static const char *rate(struct writer *w, const struct row *row, double shown_px)
{
    double odds = pow(shown_px / SHOWS_PX, STEEPNESS);
    bool shows = sim_uniform(&w->seed) < odds / (1 + odds);

    if (row->unrated)
        return "";
    return !shows ? "clean" : shown_px > 1.3 ? "bad" : "slight";
}

static const char *verdict(double low_px, double high_px, double threshold_px)
{
    return high_px < threshold_px ? "steady" : low_px > threshold_px ? "wobbly" : "marginal";
}

static void write_row(struct writer *w, const struct row *row)
{
    const struct craft *craft = row->craft;
    double threshold_px = craft->width_px / 1920;
    double px = threshold_px * pow(10, row->level_db / 20), low_px = 0.93 * px, high_px = 1.06 * px;
    double airborne_s = floor(40 + 80 * sim_uniform(&w->seed)), share = 0.4 + 0.4 * sim_uniform(&w->seed);
    double main_hz = craft->speed_hz * (0.97 + 0.06 * sim_uniform(&w->seed));
    const char *rating = rate(w, row, px / threshold_px);
    char resonance[32] = "", hash[17];

    w->flights++;
    if (row->resonance_hz > 0)
        snprintf(resonance, sizeof resonance, "%.1f", row->resonance_hz);
    snprintf(hash, sizeof hash, "%016" PRIx64, (uint64_t)w->flights * UINT64_C(0x9e3779b97f4a7c15));
    fprintf(w->out, "1,%s,%s-%s-%02u.csv,%s,%s,%s,\"%s\",3,%g,%s,%.1f,%s,%s,%g,%.4g,%s,", hash, craft->name,
            row->date, w->flights, row->date, craft->name, craft->motor, craft->prop, row->shore_a,
            row->material, row->temperature_c, resonance, craft->camera, craft->width_px, threshold_px,
            verdict(low_px, high_px, threshold_px));
    fprintf(w->out,
            "%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,%.4g,,%.4g,%g,%.1f,%.3f,order,1,%s,invented,logged,%s\n", px,
            low_px, high_px, 0.84 * px, 0.87 * px, 0.3 * px, 0.8 * px, 0.13 * px, 0.6 * px, airborne_s,
            main_hz, share, rating, craft->pilot);
}

/* Natural frequency of a TPU mount: the root of Gent's modulus, and of exp(-kappa T). */
static double resonance(struct writer *w, double shore_a, double temperature_c)
{
    double at_50 = (56 + 7.62336 * 50) / (254 - 2.54 * 50),
           here = (56 + 7.62336 * shore_a) / (254 - 2.54 * shore_a);
    return RESONANCE_HZ * sqrt(here / at_50 * exp(-KAPPA * (temperature_c - 20))) *
           (1 + 0.02 * sim_normal(&w->seed));
}

/* Flights of one setup on one hardness, craft turn about; the first has its resonance measured. */
static void write_cell(struct writer *w, size_t season, size_t combo, double shore_a, int flights)
{
    const struct setup *setup = &seasons[season].setups[combo];

    for (int f = 0; f < flights; f++) {
        struct row row = {
            .craft = setup->craft[(f + (int)season) % 2], .shore_a = shore_a, .material = "tpu"};
        double off = shore_a - setup->wants_a;
        snprintf(row.date, sizeof row.date, "%s-%02d", seasons[season].month, 3 + (int)(w->flights % 25));
        row.temperature_c =
            floor(10 * (seasons[season].temperature_c + 4 * sim_uniform(&w->seed) - 2) + 0.5) / 10;
        row.level_db = setup->floor_db + off * off / PENALTY_A2 + SCATTER_DB * sim_normal(&w->seed);
        if (f < 2 && shore_a < 55)
            row.resonance_hz = resonance(w, shore_a, row.temperature_c);
        row.unrated = w->flights % 9 == 4;
        write_row(w, &row);
    }
}

/* grebe in August: on rubber of 60 A, each flight a little worse. */
static void write_grebe(struct writer *w)
{
    for (int f = 0; f < 6; f++) {
        struct row row = {.craft = &grebe,
                          .shore_a = 60,
                          .temperature_c = 24,
                          .resonance_hz = 58,
                          .material = "natural-rubber",
                          .level_db = -1.5 + 1.2 * f + 0.4 * sim_normal(&w->seed)};
        snprintf(row.date, sizeof row.date, "2026-08-%02d", 2 + 3 * f);
        write_row(w, &row);
    }
}

static void write_all(struct writer *w)
{
    write_header(w->out);
    for (size_t season = 0; season < 3; season++) {
        for (size_t combo = 0; combo < 2; combo++)
            for (int kind = 0; kind < 3; kind++)
                write_cell(w, season, combo, 40 + 10 * kind, 3);
        if (season > 0) /* a box of 70 A came late, and was tried a little */
            write_cell(w, season, 0, 70, 2);
    }
    write_grebe(w);
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fputs("usage: generate_ledger FILE\n", stderr);
        return 2;
    }
    struct writer writer = {.out = fopen(argv[1], "wb"), .seed = 20260131};
    if (writer.out == NULL) {
        fprintf(stderr, "generate_ledger: %s: cannot open: %s\n", argv[1], strerror(errno));
        return 1;
    }
    write_all(&writer);
    bool failed = ferror(writer.out) != 0;
    if (fclose(writer.out) != 0 || failed) {
        fprintf(stderr, "generate_ledger: %s: cannot write\n", argv[1]);
        return 1;
    }
    return 0;
}
