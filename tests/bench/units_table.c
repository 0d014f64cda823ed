/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often the unit of rates that have none written is told, on flights of the model craft: units_table
 * [FIRST_SEED]. From smooth to rough craft, from slow pilots to wild ones, under names that speak for
 * degrees, for radians or for neither, written in either unit, in steps of the gyro or to decimals. Fails
 * where one log in a hundred is read in the wrong unit: that is 35 dB.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sim/flight.h"
#include "support/text_log.h"

#define RADIAN 0.017453292519943295
#define WRONG  0.01

static const char *const names[][3] = {{"gyro_x", "gyro_y", "gyro_z"},
                                       {"rate_x", "rate_y", "rate_z"},
                                       {"p", "q", "r"},
                                       {"omega_x", "omega_y", "omega_z"}};
static const char *const name_words[] = {"gyro", "rate", "p q r", "omega"};
enum { NAMES = sizeof names / sizeof *names };

struct tally {
    size_t logs, right, refused, wrong;
};

/* One flight as it is written: radians or degrees, in steps of the gyro with six digits, or to `digits`. */
static void write_log(struct text *text, const struct sim_samples *flight, const char *const name[3],
                      bool radians, double step_dps, int digits)
{
    text_add(text, "time_us,%s,%s,%s\n", name[0], name[1], name[2]);
    for (size_t i = 0; i < flight->count; i++) {
        text_add(text, "%.0f", 1e6 * flight->time_s[i]);
        for (size_t axis = 0; axis < 3; axis++) {
            double dps = flight->gyro_dps[axis][i];
            if (step_dps > 0.0)
                dps = step_dps * (double)(long)(dps / step_dps + (dps < 0.0 ? -0.5 : 0.5));
            text_add(text, ",%.*f", step_dps > 0.0 ? 6 : digits, radians ? dps * RADIAN : dps);
        }
        text_add(text, "\n");
    }
}

/* Count what becomes of it; -1 if it could not be read for another reason. */
static int read_log(const struct text *text, bool radians, struct tally *tally)
{
    struct sr_log_options options;
    struct sr_log log;
    struct sr_error err;
    FILE *stream = fmemopen(text->bytes, text->size, "rb");

    if (stream == NULL)
        return -1;
    sr_log_options_init(&options);
    const enum sr_status status = sr_log_read_stream(&log, stream, "flight.csv", &options, &err);
    fclose(stream);
    tally->logs++;
    if (status == SR_OK) {
        const bool right = strcmp(log.columns.rate[0].unit, radians ? "rad/s" : "deg/s") == 0;
        tally->right += right;
        tally->wrong += !right;
        sr_log_release(&log);
    } else if (status == SR_ERR_COLUMNS && strstr(err.text, "--rate-unit") != NULL) {
        tally->refused++;
    } else {
        fprintf(stderr, "units_table: %s\n", err.text);
        return -1;
    }
    return 0;
}

/* One flight under all names, in both units, in steps and to decimals. */
static int try_flight(const struct sim_flight *plan, struct tally tally[2][NAMES])
{
    struct sim_samples flight;
    int failed = 0;

    if (sim_fly(plan, &flight) != 0)
        return -1;
    for (size_t n = 0; n < NAMES; n++)
        for (int radians = 0; radians < 2; radians++)
            for (int stepped = 0; stepped < 2; stepped++) {
                struct text text = {0};
                write_log(&text, &flight, names[n], radians == 1, stepped == 1 ? 0.061 : 0.0, 4);
                failed = failed || read_log(&text, radians == 1, &tally[radians][n]) != 0;
                text_free(&text);
            }
    sim_samples_release(&flight);
    return failed ? -1 : 0;
}

int main(int argc, char **argv)
{
    static const double imbalances[] = {0.3, 1.0, 4.0}, pilots[] = {0.3, 1.0, 4.0}, rates[] = {500.0, 2000.0};
    struct tally tally[2][NAMES] = {{{0}}}, all = {0};
    uint64_t seed = argc > 1 ? strtoul(argv[1], NULL, 10) : 1001;

    for (int profile = SIM_HOVER; profile <= SIM_CHASE; profile++)
        for (size_t k = 0; k < 18; k++) {
            struct sim_flight plan;
            sim_flight_init(&plan);
            plan.seed = seed++;
            plan.profile = (enum sim_profile)profile;
            plan.rate_hz = rates[k % 2];
            plan.flight_s = 12;
            plan.ground_s = 2;
            plan.pilot_dps *= pilots[k / 2 % 3];
            plan.wash_dps *= imbalances[k / 6];
            plan.blade_dps *= imbalances[k / 6];
            for (size_t m = 0; m < SIM_MOTORS; m++)
                plan.imbalance_dps[m] *= imbalances[k / 6];
            if (try_flight(&plan, tally) != 0)
                return 1;
        }
    printf("%-8s  %-6s  %5s  %5s  %7s  %5s\n", "written", "names", "logs", "right", "refused", "wrong");
    for (int radians = 0; radians < 2; radians++)
        for (size_t n = 0; n < NAMES; n++) {
            const struct tally *t = &tally[radians][n];
            printf("%-8s  %-6s  %5zu  %5zu  %7zu  %5zu\n", radians ? "rad/s" : "deg/s", name_words[n],
                   t->logs, t->right, t->refused, t->wrong);
            all.logs += t->logs;
            all.right += t->right;
            all.refused += t->refused;
            all.wrong += t->wrong;
        }
    const bool bad = (double)all.wrong > WRONG * (double)all.logs;
    printf("%-8s  %-6s  %5zu  %5zu  %7zu  %5zu%s\n", "all", "", all.logs, all.right, all.refused, all.wrong,
           bad ? "  FAILED" : "");
    return bad ? 1 : 0;
}
