/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The evidence for a cause, in one sentence that a pilot can act on. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "causes.h"

#define SLICES_LEAST 3

/* Append, cut at the end of the field. */
static void say(char *text, const char *format, ...)
{
    size_t at = strlen(text);
    va_list args;
    va_start(args, format);
    vsnprintf(text + at, SR_EVIDENCE_MAX - at, format, args);
    va_end(args);
}

double sr_case_order(const struct sr_case *c)
{
    if (c->pick->order > 0)
        return (double)c->pick->order;
    return c->speeds->mean_hz > 0 && c->pick->channel != SR_CHANNEL_NONE ? c->pick->f0 / c->speeds->mean_hz
                                                                         : 0;
}

static const char *speed_word(const struct sr_case *c)
{
    if (c->speeds->source == SR_SPEED_THROTTLE)
        return "throttle";
    return c->causes->electrical && !(c->causes->pole_pairs > 0) ? "electrical motor speed" : "motor speed";
}

/* How much the speed changed, so many times over, and as the report's head has it: to 0.1 below 10 %. */
static void say_change(char *text, const struct sr_case *c, double times)
{
    const double percent = 100 * times * c->speeds->spread;
    say(text, "changed by %.*f %%", percent < 9.95 ? 1 : 0, percent);
}

/* How steady frequency over speed is: standard deviation over slices, relative; NAN: too few. */
static double ratio_spread(const struct sr_case *c)
{
    const struct sr_speeds *s = c->speeds;
    size_t channel = (size_t)c->pick->channel, n = 0;
    double sum = 0, square = 0;

    for (size_t m = 1; m < s->channels && c->shares->motor > 0; m++)
        if (s->motor[m] == c->shares->motor)
            channel = m;
    for (size_t i = 0; i < c->gram->slices; i++) {
        if (!s->known[i] || isnan(c->pick->centre_hz[i]))
            continue;
        double ratio = c->pick->centre_hz[i] / s->mean[i * s->channels + channel];
        sum += ratio;
        square += ratio * ratio;
        n++;
    }
    if (n < SLICES_LEAST)
        return NAN;
    double mean = sum / (double)n;
    return sqrt(fmax(square / (double)n - mean * mean, 0)) / mean;
}

static void say_multiple(char *text, const struct sr_case *c, double order)
{
    double most = 0;
    for (size_t m = 0; m < SR_MOTORS_MAX; m++)
        most = fmax(most, c->shares->share[m]);
    say(text, c->pick->order > 0 ? "%.0f x " : "%.3f x ", order);
    if (c->shares->motor > 0)
        say(text, "the speed of motor %d, which carries %.0f %% of it", c->shares->motor, 100 * most);
    else
        say(text, "%s", speed_word(c));
    if (c->shares->motor == 0 && most > 0)
        say(text, c->shares->unfit   ? ", no logged motor turns quite like it (one may not be logged)"
                  : c->shares->alike ? ", motors too alike in speed to say whose"
                                     : ", shared by the motors");
    if (c->causes->pole_pairs > 0)
        say(text, ", taking %.0f pole pairs", c->causes->pole_pairs);
}

/* What an order of that number comes from. */
static void say_source(char *text, const struct sr_case *c, double order)
{
    if (order == 1)
        say(text, "; imbalance of prop, bell or a bent shaft");
    else if (c->pick->order > 1 && order == c->blades)
        say(text, "; blade pass");
    else if (c->pick->order > 1 && c->blades < 1 && c->shares->motor == 0)
        say(text, "; blade pass, if the props have %.0f blades", order);
}

static void say_related(char *text, const struct sr_case *c)
{
    if (!(c->related > 0))
        return;
    say(text, "; %.0f x the line at %.0f Hz", c->related, c->related_hz);
    if (c->related == c->blades)
        say(text, ", so blade pass if that is 1x");
}

static void say_order(char *text, const struct sr_case *c, double order)
{
    double spread = ratio_spread(c);
    bool throttle = c->speeds->source == SR_SPEED_THROTTLE;

    if (throttle)
        say(text, "moves with %s", c->pick->channel == 0 ? "the square root of throttle" : "throttle");
    else
        say_multiple(text, c, order);
    if (isfinite(spread)) {
        say(text, "; ratio steady to %.1f %% while %s ", 100 * spread, throttle ? "that" : "speed");
        say_change(text, c, throttle && c->pick->channel == 1 ? 2 : 1);
    }
    say_related(text, c);
    if (c->crossing_hz > 0)
        say(text, "; far stronger where it crosses %.0f Hz: something resonates there", c->crossing_hz);
    say_source(text, c, order);
}

static void say_folded(char *text, const struct sr_case *c, const struct sr_peak *peak)
{
    if (peak->order > 0)
        say_multiple(text, c, peak->order);
    else
        say(text, "moves with throttle");
    say(text, "; truly at %.0f Hz, above what a %.0f Hz log shows", peak->true_hz, c->gram->rate_hz);
    say_related(text, c);
    say_source(text, c, peak->order);
    say(text, "; about %.2g px in the footage", peak->wobble_px * sqrt(fmax(c->alias_gain, 0)));
}

static void say_undecided(char *text, const struct sr_case *c)
{
    const struct sr_pick *pick = c->pick;
    double order = c->speeds->mean_hz > 0 ? pick->f0 / c->speeds->mean_hz : 0;

    if (c->speeds->channels == 0) {
        say(text, "no motor speed or throttle to go by: nothing to tell what it follows");
        return;
    }
    if (pick->open)
        say(text, "stands out of the flight's mean, but follows neither a frequency nor %s", speed_word(c));
    else if (pick->moves_hz < 2 * c->gram->bin_hz * 1.0001)
        say(text, "%s changed by only %.1f %%, too little to tell a fixed line from one that moves",
            speed_word(c), 100 * c->speeds->spread);
    else
        say(text, "a %s line explains it nearly as well", pick->rival_moves ? "moving" : "fixed");
    if (pick->order > 0)
        say(text, "; it sits at %zu x %s", pick->order, speed_word(c));
    else if (order > 0)
        say(text, "; it sits at %.2f x %s", order, speed_word(c));
}

void sr_evidence_write(struct sr_peak *peak, const struct sr_case *c)
{
    char *text = peak->evidence;
    text[0] = '\0';
    switch (peak->cause) {
    case SR_CAUSE_ORDER:
        say_order(text, c, peak->order);
        break;
    case SR_CAUSE_FOLDED:
        say_folded(text, c, peak);
        break;
    case SR_CAUSE_FIXED:
        say(text, "stays at %.0f Hz while %s ", peak->hz, speed_word(c));
        say_change(text, c, 1);
        say(text, ": a resonance of arm, plate, mount or camera");
        break;
    case SR_CAUSE_BROADBAND:
        say(text, "a hump %.0f Hz wide, not a line: prop wash, bearings or controller noise",
            c->pick->f_hi - c->pick->f_lo);
        break;
    case SR_CAUSE_UNDECIDED:
        say_undecided(text, c);
        break;
    }
}
