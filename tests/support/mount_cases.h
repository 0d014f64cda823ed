/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Flights whose seconds are all alike, a rig on soft pieces, and what the mount room makes of them. */
#ifndef SUPPORT_MOUNT_CASES_H
#define SUPPORT_MOUNT_CASES_H

#include "stillrow/mount.h"

enum { MOUNT_CASE_SLICES = 12, MOUNT_CASE_BINS = 501 };
#define MOUNT_CASE_BIN_HZ 2.0

/* A flight whose seconds are all alike: density(hz) on the pitch axis. Released by the caller. */
struct sr_slices mount_case_flight(double (*density)(double hz));

/* 60 A of TPU at 20 C, 80 Hz, damping 0.08; the assumed camera. */
struct sr_rig mount_case_rig(void);

/* What fails in these ends the program, with a word on stderr. */
struct sr_score mount_case_score(const struct sr_slices *slices, const struct sr_rig *rig);
struct sr_mount_own mount_case_own(const struct sr_rig *rig, const struct sr_identified *identified);

/* As sr_mount_table_make(), with the score made on the way. */
enum sr_status mount_case_table(struct sr_mount_table *table, const struct sr_slices *slices,
                                const struct sr_rig *rig, const struct sr_mount_ask *ask,
                                struct sr_error *err);

#endif
