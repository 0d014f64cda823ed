/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Logs on their way into groups: which rig each was flown with, which group it
 * belongs to, and its slices once it was read.
 */
#ifndef COMMANDS_GROUPS_H
#define COMMANDS_GROUPS_H

#include <stdint.h>

#include "commands/flight.h"
#include "stillrow/compare.h"

#define GROUP_NAME_MAX 160

/* One log of a comparison. */
struct entry {
    const char *path;
    struct flight_plan plan;
    size_t group;
    bool scored;
    bool again;           /* the same flight stands in its group already: it counts once */
    uint64_t fingerprint; /* of the log, once scored */
    struct flight flight; /* the samples are let go once they are slices */
};

struct entries {
    struct entry *entry;
    size_t count, room;
    char (*group_name)[GROUP_NAME_MAX];
    size_t n_groups;
    struct sr_compare_flight *flights; /* [count] in the order of groups */
    struct sr_compare_group *groups;   /* [n_groups] */
};

/*
 * Take operands as logs of group `group`; one that ends in ".ini" is the rig of the logs that follow.
 * EXIT_DONE, EXIT_USAGE or EXIT_FAILED; said on stderr.
 */
int entries_take(struct entries *all, char **operands, size_t count, size_t group, struct flight_args *args);

/*
 * Group by what the rigs say instead: keys is "motor,prop…". EXIT_DONE, EXIT_USAGE or EXIT_FAILED.
 */
int entries_group_by(struct entries *all, const char *keys);

/* Score every log; how many failed (said on stderr, as is a flight that is there twice, which counts once a
 * group). */
size_t entries_score(struct entries *all);

/* Build the groups from what was scored. false: said on stderr. */
bool entries_groups(struct entries *all);

void entries_release(struct entries *all);

#endif
