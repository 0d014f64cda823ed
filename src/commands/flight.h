/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One log on its way through the rooms: read, cut into slices, seen through the
 * camera, scored. Every verb that works on a flight starts here.
 */
#ifndef COMMANDS_FLIGHT_H
#define COMMANDS_FLIGHT_H

#include "commands/shared.h"
#include "stillrow/explain.h"
#include "stillrow/mount.h"
#include "stillrow/wobble.h"

/* What holds for all logs of a command. */
struct flight_plan {
    struct sr_rig rig;
    struct sr_log_options log;
    enum sr_window window;
    bool quiet;     /* no progress on stderr: several logs are read at once */
    bool only_read; /* the log is all that is wanted of a flight */
};

struct flight {
    struct sr_log log;
    struct sr_slices slices;
    struct sr_view view;   /* through the mount, where the rig tells it */
    struct sr_score score; /* with causes */
    struct sr_causes causes;
    char mount_note[SR_MOUNT_TEXT]; /* what the view was scaled by, "" for nothing */
};

/* Make the plan from the shared options. false: said on stderr, EXIT_USAGE. */
bool flight_plan_make(struct flight_plan *plan, const struct flight_args *args);

/* Only read the log, with progress on a terminal's stderr. Release *log with sr_log_release(). */
enum sr_status flight_read(struct sr_log *log, const char *path, const struct flight_plan *plan,
                           struct sr_error *err);

/*
 * The whole way. err->file is set on every failure but that of an option that no log satisfies
 * (SR_ERR_ARGUMENT). Release with flight_release(); nothing to release on failure.
 */
enum sr_status flight_score(struct flight *flight, const char *path, const struct flight_plan *plan,
                            struct sr_error *err);
void flight_release(struct flight *flight);

/* What the reports tell of a scored flight; it points into flight and rig. */
struct sr_score_report flight_report(const struct flight *flight, const struct sr_rig *rig,
                                     double footage_offset_s);

#endif
