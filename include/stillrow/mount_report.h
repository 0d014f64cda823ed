/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A table of mounts as text, JSON, or a picture. Belongs to the present room. */
#ifndef STILLROW_MOUNT_REPORT_H
#define STILLROW_MOUNT_REPORT_H

#include <stdio.h>

#include "stillrow/mount.h"
#include "stillrow/plot.h"
#include "stillrow/present.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Nothing is owned. */
struct sr_mount_report {
    const struct sr_log *log;
    const struct sr_rig *rig;
    const struct sr_mount_table *table;
    const struct sr_identified *identified; /* NULL: none */
};

void sr_mounts_text(FILE *out, const struct sr_style *style, const struct sr_mount_report *report);

/* One line of JSON, schema "stillrow.mounts/1". Errors: SR_ERR_MEMORY, SR_ERR_WRITE. */
enum sr_status sr_mounts_json(FILE *out, const struct sr_mount_report *report, struct sr_error *err);

/*
 * The flight's spectrum, and over it how much of each frequency every hardness lets
 * through at the flight's own temperature. options->kind is not looked at.
 * Errors: as sr_plot_flight(); SR_ERR_ARGUMENT for a text plot.
 */
enum sr_status sr_plot_mounts(const struct sr_plot_flight *flight, const struct sr_mount_table *table,
                              const struct sr_plot_options *options, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
