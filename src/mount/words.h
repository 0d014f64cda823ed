/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef MOUNT_WORDS_H
#define MOUNT_WORDS_H

#include "mount/private.h"

/* What the table rests on, into its notes. noise_share: the largest over the hardnesses asked for. */
void mount_notes(struct sr_mount_table *table, const struct sr_rig *rig, double noise_share);

#endif
