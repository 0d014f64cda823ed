/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the ledger room finds, as text and JSON. Belongs to the present room. */
#ifndef STILLROW_LEDGER_REPORT_H
#define STILLROW_LEDGER_REPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "stillrow/kappa.h"
#include "stillrow/ledger.h"
#include "stillrow/present.h"
#include "stillrow/rank.h"
#include "stillrow/status.h"
#include "stillrow/threshold.h"
#include "stillrow/trend.h"

#ifdef __cplusplus
extern "C" {
#endif

/*
 * The JSON of each is one line and names its schema: "stillrow.ledger/1" with an "action", or
 * "stillrow.rank/1", "stillrow.threshold/1". Errors of all: SR_ERR_MEMORY, SR_ERR_WRITE.
 */

/* A flight that was to be added. */
struct sr_recorded {
    const char *path; /* of the ledger */
    const char *log;
    const char *fingerprint;
    enum sr_added added;
    const struct sr_trend *trend; /* of its build */
    size_t other_rigs;            /* rows of the same log with another build, hardness or camera */
    size_t unreadable_line;       /* [1-based] the first row of it that cannot be read, 0: none */
    /* Where no report stands beside it: what was assumed of the rig, and how the mount entered the wobble, in
     * words; NULL or "": nothing to say. */
    const char *assumed, *mount_note;
    enum sr_mount_in mount_in;  /* of this flight with this rig */
    enum sr_mount_in otherwise; /* of the row that is there already, */
    size_t otherwise_line;      /* [1-based] and where it is; 0: there is none, or it has the same */
    bool rig_told;              /* text: what is the rig's was said of a flight before */
};
void sr_recorded_text(FILE *out, const struct sr_style *style, const struct sr_recorded *recorded);
enum sr_status sr_recorded_json(FILE *out, const struct sr_recorded *recorded, struct sr_error *err);

/* Rows as a table; of one build only, if build is not NULL. As JSON one line a row. */
void sr_ledger_list_text(FILE *out, const struct sr_style *style, const struct sr_ledger *ledger,
                         const char *build);
enum sr_status sr_ledger_list_json(FILE *out, const struct sr_ledger *ledger, const char *build,
                                   struct sr_error *err);

/* What a check found: counts, and each row that cannot be read. */
struct sr_ledger_check_report {
    const char *path;
    const struct sr_ledger *ledger;
    const struct sr_ledger_counts *counts;
};
void sr_ledger_check_text(FILE *out, const struct sr_style *style,
                          const struct sr_ledger_check_report *report);
enum sr_status sr_ledger_check_json(FILE *out, const struct sr_ledger_check_report *report,
                                    struct sr_error *err);

/* A merge. */
void sr_ledger_merge_text(FILE *out, const char *into, const char *from, const struct sr_merge_count *count);
enum sr_status sr_ledger_merge_json(FILE *out, const char *into, const char *from,
                                    const struct sr_merge_count *count, struct sr_error *err);

/* Kappa of one material, or why there is none. */
struct sr_kappa_report {
    const char *material;
    bool known;
    struct sr_kappa kappa;
    const char *reason; /* where not known */
};

struct sr_rank_report {
    const char *path;
    const struct sr_rank *rank;
    const struct sr_kappa_report *kappas;
    size_t n_kappas;
    bool brief; /* text: choices only, without the setups */
};
void sr_rank_text(FILE *out, const struct sr_style *style, const struct sr_rank_report *report);
enum sr_status sr_rank_json(FILE *out, const struct sr_rank_report *report, struct sr_error *err);

struct sr_threshold_report {
    const char *path;
    const struct sr_threshold *threshold;
    const char *written; /* rig file it was written to, NULL: none */
    double written_px;   /* [px RMS] on that rig's picture */
    double width_px;     /* [px] of it */
    bool made;           /* the rig file was not there before */
};
void sr_threshold_text(FILE *out, const struct sr_style *style, const struct sr_threshold_report *report);
enum sr_status sr_threshold_json(FILE *out, const struct sr_threshold_report *report, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
