/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Simulated flights with known causes, drawn from a seed, and whether the library got them right.
 * Sampling rate, motor speed, speed offsets, profile, blades, wash, noise and readout all vary with the seed.
 */
#ifndef SUPPORT_CAUSE_CASES_H
#define SUPPORT_CAUSE_CASES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum cause_case {
    CASE_IMBALANCE,       /* one motor out of balance: order 1, that motor */
    CASE_BLADE_PASS,      /* blade pass below Nyquist: order = blades */
    CASE_MODE_CROSSED,    /* a mode rung by wash, crossed by an order: both, each as what it is */
    CASE_ORDER_AMPLIFIED, /* an order crosses a mode that hardly rings by itself: the order, no fixed line */
    CASE_TONE,            /* a fixed line that no order excites */
    CASE_FOLDED,          /* blade pass above Nyquist: folded, true frequency */
    CASE_STILL,    /* speed never changes: undecided, unless the line moves over many bins all the same */
    CASE_THROTTLE, /* imbalance, only throttle logged: moves with throttle */
    CASE_THROTTLE_MODE,  /* mode crossed by an order, only throttle logged */
    CASE_ELECTRICAL,     /* imbalance and blade pass, electrical speeds, pole pairs unknown */
    CASE_NOTHING_LOGGED, /* neither speed nor throttle: all undecided */
    CASE_KNOCK,          /* one motor's imbalance jumps at a known second */
    CASE_NO_KNOCK,       /* nothing changes: no change may be found */
    CASE_NOT_LOGGED,     /* imbalance of one motor, whose speed is not logged: no other may be named */
    CASE_OTHER_MISSING,  /* imbalance of one motor, another is not logged: that one is named all the same */
    CASE_COUNT
};

struct case_result {
    bool right; /* all that the case asks for */
    /* Its parts; true where the case does not ask. */
    bool cause, order, motor, time;
    bool false_call;   /* some line was called order, folded or fixed and is not */
    bool motor_unsaid; /* the motor was left open: right only where another turns within 0.3 % of its speed */
    double ringing,
        lines;        /* true shares of a mode's ringing and of the motors' lines, where a case needs them */
    char detail[400]; /* the flight and what was found, for reading */
};

const char *cause_case_name(enum cause_case which);
/* 0, or -1 if the flight could not be made or worked on. */
int cause_case_run(enum cause_case which, uint64_t seed, struct case_result *result);

#endif
