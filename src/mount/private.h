/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of the mount room share. */
#ifndef MOUNT_PRIVATE_H
#define MOUNT_PRIVATE_H

#include "stillrow/mount.h"

#define CONTROLLER_LEAST 0.1   /* a soft-mounted controller is undone by at most 10 dB */
#define OWN_LEAST        0.001 /* the own mount, behind which a log is cleaner, by at most 30 dB */

/* value, low and high of `a` times `b`, the two doubts independent (joined as squares of logs). */
struct sr_interval mount_times(struct sr_interval a, struct sr_interval b);
/* The same of the square root. */
struct sr_interval mount_root(struct sr_interval a);

/* Damping of the rig's soft-mounted controller; 0 for fn_hz where there is none. */
struct sr_isolator mount_controller(const struct sr_rig *rig);

/* Append to a text of `size` bytes, cut where it is full. */
void mount_append(char *text, size_t size, const char *format, ...) __attribute__((format(printf, 3, 4)));

#endif
