/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/wobble.h"

const char *sr_verdict_name(enum sr_verdict verdict)
{
    switch (verdict) {
    case SR_STEADY:
        return "steady";
    case SR_MARGINAL:
        return "marginal";
    case SR_WOBBLY:
        return "wobbly";
    case SR_UNPROVEN:
        return "unproven";
    }
    return "unknown";
}

const char *sr_cause_name(enum sr_cause cause)
{
    switch (cause) {
    case SR_CAUSE_UNDECIDED:
        return "undecided";
    case SR_CAUSE_ORDER:
        return "order";
    case SR_CAUSE_FIXED:
        return "fixed";
    case SR_CAUSE_FOLDED:
        return "folded";
    case SR_CAUSE_BROADBAND:
        return "broadband";
    }
    return "unknown";
}
