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
    double alias_gain; /* wobble gain at the true frequency over that where it shows; 1 if not folded */
};

/* "3 x motor speed" or "1.37 x…"; the multiple of the motor speed a pick lies at, 0: unknown. */
double sr_case_order(const struct sr_case *c);

/* Word the evidence for peak->cause into peak->evidence. */
void sr_evidence_write(struct sr_peak *peak, const struct sr_case *c);

#endif
