/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ledger_notes.h"

#include <stdio.h>

static void add(struct recorded_notes *notes, const char *text)
{
    if (text != NULL && text[0] != '\0' && notes->count < RECORDED_NOTES_MAX)
        notes->note[notes->count++] = text;
}

static void say_otherwise(char *text, size_t size, const struct sr_recorded *recorded)
{
    const char *now = sr_mount_in_name(recorded->mount_in);

    if (recorded->otherwise == SR_MOUNT_IN_UNKNOWN)
        snprintf(
            text, size,
            "the row that is there (line %zu) does not say whether the mount is in its wobble: if it was "
            "added with this rig, write '%s' under mount_in; if not, take it out and add the log again",
            recorded->otherwise_line, now);
    else
        snprintf(
            text, size,
            "the row that is there (line %zu) has mount_in '%s', and with this rig it is '%s': to have it "
            "so, take that row out and add the log again",
            recorded->otherwise_line, sr_mount_in_name(recorded->otherwise), now);
}

/* Rows of the same log. */
static void add_twins(struct recorded_notes *notes, const struct sr_recorded *recorded)
{
    if (recorded->other_rigs > 0)
        add(notes,
            "the same log is there with another build, hardness or camera as well: that counts as another "
            "flight; if it is none, take one of the rows out");
    if (recorded->unreadable_line > 0) {
        snprintf(notes->unreadable, sizeof notes->unreadable,
                 "line %zu has this log too, and cannot be read ('ledger check' says why): put it right and "
                 "keep one of the two, or take it out",
                 recorded->unreadable_line);
        add(notes, notes->unreadable);
    }
    if (recorded->otherwise_line > 0) {
        say_otherwise(notes->otherwise, sizeof notes->otherwise, recorded);
        add(notes, notes->otherwise);
    }
}

void sr_recorded_notes(struct recorded_notes *notes, const struct sr_recorded *recorded, bool of_rig)
{
    notes->count = 0;
    add_twins(notes, recorded);
    add(notes, recorded->trend->text);
    if (!of_rig)
        return;
    add(notes, recorded->assumed);
    add(notes, recorded->mount_note);
    if (recorded->mount_in == SR_MOUNT_IN_NO)
        add(notes,
            "no mount is in this wobble, so 'ledger rank' leaves the flight out when it sets hardnesses "
            "against each other: give the mount's resonance_hz in the rig, or log behind it (on = camera)");
}
