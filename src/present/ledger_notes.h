/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What text and JSON say alike of a flight that was added to a ledger. */
#ifndef PRESENT_LEDGER_NOTES_H
#define PRESENT_LEDGER_NOTES_H

#include "stillrow/ledger_report.h"

enum { RECORDED_NOTES_MAX = 7, RECORDED_NOTE_SIZE = 240 };

/* Sentences without a full stop; they point into the flight's report, or into this. */
struct recorded_notes {
    const char *note[RECORDED_NOTES_MAX];
    size_t count;
    char unreadable[RECORDED_NOTE_SIZE], otherwise[RECORDED_NOTE_SIZE];
};

/* of_rig: those, too, that are the same for every flight with this rig. */
void sr_recorded_notes(struct recorded_notes *notes, const struct sr_recorded *recorded, bool of_rig);

#endif
