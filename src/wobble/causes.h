/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: what a cause is written down from. */
#ifndef WOBBLE_CAUSES_H
#define WOBBLE_CAUSES_H

#include "tracks.h"

/* Everything known about one line when its evidence is worded. */
struct sr_case {
    const struct sr_pick *pick;
    const struct sr_speeds *speeds;
    const struct sr_gram *gram;
    const struct sr_causes *causes;
    const struct sr_motor_shares *shares;
    double blades; /* 0: unknown */
    double
        related; /* throttle only: this line's frequency over that of the lowest related one, 0: unrelated */
    double related_hz;
    const struct sr_view *view;
    double crossing_hz; /* where a moving line is amplified, 0: nowhere */
    double alias_gain;  /* wobble gain at the true frequency over that where it shows; 1 if not folded */
};

/* "3 x motor speed" or "1.37 x…"; the multiple of the motor speed a pick lies at, 0: unknown. */
double sr_case_order(const struct sr_case *c);

/*
 * Where a moving line is far stronger than its speed accounts for [Hz]: it drives something that resonates
 * there. 0: nowhere. plain[slices]: its energy [px^2] in each slice as the speed alone accounts for, never
 * more than it is.
 */
enum sr_status sr_crossing_find(const struct sr_case *c, double *crossing_hz, double *plain,
                                struct sr_error *err);

/* Word the evidence for peak->cause into peak->evidence. */
void sr_evidence_write(struct sr_peak *peak, const struct sr_case *c);

#endif
