/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/groups.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "commands/commands.h"

static int out_of_memory(void)
{
    complain("%s", sr_status_text(SR_ERR_MEMORY));
    return EXIT_FAILED;
}

static int add_entry(struct entries *all, const char *path, const struct flight_plan *plan, size_t group)
{
    if (all->count == all->room) {
        size_t room = all->room > 0 ? 2 * all->room : 16;
        struct entry *entry =
            room > SIZE_MAX / sizeof *entry ? NULL : realloc(all->entry, room * sizeof *entry);
        if (entry == NULL)
            return out_of_memory();
        all->entry = entry;
        all->room = room;
    }
    all->entry[all->count++] = (struct entry){.path = path, .plan = *plan, .group = group};
    return EXIT_DONE;
}

int entries_take(struct entries *all, char **operands, size_t count, size_t group, struct flight_args *args)
{
    struct flight_plan plan;

    if (!flight_plan_make(&plan, args))
        return EXIT_USAGE;
    for (size_t i = 0; i < count; i++) {
        if (ends_in_ini(operands[i])) {
            args->rig.file = operands[i];
            if (!flight_plan_make(&plan, args))
                return EXIT_USAGE;
            continue;
        }
        int status = add_entry(all, operands[i], &plan, group);
        if (status != EXIT_DONE)
            return status;
    }
    return EXIT_DONE;
}

/* A number of the rig as a key's text; "?" where it is not given. */
static void number_text(double value, const char *unit, char *text, size_t size)
{
    if (isfinite(value) && value > -300 && fabs(value) > 0)
        snprintf(text, size, "%g%s", value, unit);
    else
        snprintf(text, size, "?");
}

/* What a rig says of one key, false for an unknown key. */
static bool key_text(const struct sr_rig *rig, const char *key, char *text, size_t size)
{
    const struct {
        const char *key, *value;
    } texts[] = {{"motor", rig->build.motor},
                 {"prop", rig->build.prop},
                 {"name", rig->build.name},
                 {"camera", rig->build.camera}};

    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        if (strcmp(key, texts[i].key) == 0) {
            snprintf(text, size, "%s", texts[i].value[0] != '\0' ? texts[i].value : "?");
            return true;
        }
    }
    if (strcmp(key, "blades") == 0)
        number_text(rig->build.blades, " blades", text, size);
    else if (strcmp(key, "hardness") == 0)
        number_text(rig->mount.shore_a, " A", text, size);
    else if (strcmp(key, "temperature") == 0)
        number_text(rig->mount.temperature_c, " C", text, size);
    else
        return false;
    return true;
}

/* "motor, prop" of a rig, joined; false: said on stderr. */
static bool group_text(const struct sr_rig *rig, const char *keys, char *name)
{
    char copy[GROUP_NAME_MAX], part[SR_TEXT_MAX], *rest = copy, *key;
    size_t used = 0;

    snprintf(copy, sizeof copy, "%s", keys);
    name[0] = '\0';
    while ((key = strtok_r(rest, ",", &rest)) != NULL) {
        if (!key_text(rig, key, part, sizeof part)) {
            complain("--by: '%s' is none of motor, prop, blades, name, camera, hardness, temperature", key);
            return false;
        }
        int length = snprintf(name + used, GROUP_NAME_MAX - used, "%s%s", used > 0 ? ", " : "", part);
        used = length < 0 ? used : used + (size_t)length;
        used = used < GROUP_NAME_MAX ? used : GROUP_NAME_MAX - 1;
    }
    if (used == 0)
        complain("--by: names no key");
    return used > 0;
}

static int reserve_names(struct entries *all, size_t count)
{
    free(all->group_name);
    all->group_name = calloc(count > 0 ? count : 1, sizeof *all->group_name);
    return all->group_name != NULL ? EXIT_DONE : out_of_memory();
}

int entries_group_by(struct entries *all, const char *keys)
{
    int status = reserve_names(all, all->count);
    if (status != EXIT_DONE)
        return status;
    all->n_groups = 0;
    for (size_t i = 0; i < all->count; i++) {
        char name[GROUP_NAME_MAX];
        size_t g = 0;
        if (!group_text(&all->entry[i].plan.rig, keys, name))
            return EXIT_USAGE;
        while (g < all->n_groups && strcmp(all->group_name[g], name) != 0)
            g++;
        if (g == all->n_groups)
            memcpy(all->group_name[all->n_groups++], name, sizeof name);
        all->entry[i].group = g;
    }
    return EXIT_DONE;
}

/* An earlier entry of the same flight, in the same group or in another; NULL if there is none. */
static const struct entry *earlier(const struct entries *all, size_t at, bool same_group)
{
    const struct entry *entry = &all->entry[at];

    for (size_t i = 0; i < at; i++) {
        const struct entry *before = &all->entry[i];
        if (before->scored && before->fingerprint == entry->fingerprint &&
            (before->group == entry->group) == same_group)
            return before;
    }
    return NULL;
}

/*
 * A flight given twice in a group would count as two flights of a combo, and the interval would come out too
 * narrow: it counts once. In two groups it is left, since their rigs may differ.
 */
static void count_once(struct entries *all, size_t at)
{
    struct entry *entry = &all->entry[at];
    const struct entry *twin = earlier(all, at, true), *other = earlier(all, at, false);

    entry->again = twin != NULL;
    if (twin != NULL)
        complain("compare: %s and %s are the same flight, which counts once in its group", twin->path,
                 entry->path);
    else if (other != NULL)
        complain(
            "compare: %s and %s are the same flight, so there is nothing to compare in them but their rigs",
            other->path, entry->path);
}

size_t entries_score(struct entries *all)
{
    size_t failed = 0;
    for (size_t i = 0; i < all->count; i++) {
        struct entry *entry = &all->entry[i];
        struct sr_error err = {0};
        entry->scored = flight_score(&entry->flight, entry->path, &entry->plan, &err) == SR_OK;
        if (entry->scored) {
            entry->fingerprint = entry->flight.log.fingerprint;
            sr_log_release(&entry->flight.log);
            count_once(all, i);
        } else {
            complain_error(&err);
        }
        failed += !entry->scored;
    }
    return failed;
}

/* What every rig of a group says of a key; false: they differ, or do not say. */
static bool key_of_group(const struct entries *all, size_t g, const char *key, char *name)
{
    char text[SR_TEXT_MAX];

    name[0] = '\0';
    for (size_t i = 0; i < all->count; i++) {
        if (all->entry[i].group != g)
            continue;
        if (!key_text(&all->entry[i].plan.rig, key, text, sizeof text) || strcmp(text, "?") == 0 ||
            (name[0] != '\0' && strcmp(text, name) != 0))
            return false;
        snprintf(name, GROUP_NAME_MAX, "%s", text);
    }
    return name[0] != '\0';
}

/* Name the groups by a key that tells each from the others. */
static bool name_by_key(struct entries *all, const char *key)
{
    for (size_t g = 0; g < all->n_groups; g++) {
        if (!key_of_group(all, g, key, all->group_name[g]))
            return false;
        for (size_t before = 0; before < g; before++)
            if (strcmp(all->group_name[before], all->group_name[g]) == 0)
                return false;
    }
    return true;
}

/* By the first key of the rigs that tells the groups apart, else "A", "B"… */
static int name_groups(struct entries *all)
{
    static const char *const keys[] = {"name",     "prop",        "motor", "blades",
                                       "hardness", "temperature", "camera"};
    int status = reserve_names(all, all->n_groups);

    for (size_t k = 0; k < sizeof keys / sizeof *keys && status == EXIT_DONE; k++)
        if (name_by_key(all, keys[k]))
            return EXIT_DONE;
    for (size_t g = 0; g < all->n_groups && status == EXIT_DONE; g++)
        memset(all->group_name[g], 0, sizeof all->group_name[g]);
    for (size_t g = 0; g < all->n_groups && status == EXIT_DONE; g++) {
        if (g < 26)
            all->group_name[g][0] = (char)('A' + (int)g);
        else
            snprintf(all->group_name[g], GROUP_NAME_MAX, "group %zu", g + 1);
    }
    return status;
}

bool entries_groups(struct entries *all)
{
    size_t at = 0;

    if (all->group_name == NULL && name_groups(all) != EXIT_DONE)
        return false;
    all->flights = calloc(all->count > 0 ? all->count : 1, sizeof *all->flights);
    all->groups = calloc(all->n_groups > 0 ? all->n_groups : 1, sizeof *all->groups);
    if (all->flights == NULL || all->groups == NULL) {
        out_of_memory();
        return false;
    }
    for (size_t g = 0; g < all->n_groups; g++) {
        struct sr_compare_group *group = &all->groups[g];
        *group = (struct sr_compare_group){all->group_name[g], all->flights + at, 0};
        for (size_t i = 0; i < all->count; i++) {
            const struct entry *entry = &all->entry[i];
            if (entry->group != g || !entry->scored || entry->again)
                continue;
            all->flights[at++] =
                (struct sr_compare_flight){entry->path, &entry->flight.slices, &entry->flight.view,
                                           &entry->flight.score, &entry->flight.causes};
            group->count++;
        }
        if (group->count == 0) {
            complain("compare: group %s has no flight that could be scored", all->group_name[g]);
            return false;
        }
    }
    return true;
}

void entries_release(struct entries *all)
{
    for (size_t i = 0; i < all->count; i++)
        if (all->entry[i].scored)
            flight_release(&all->entry[i].flight);
    free(all->entry);
    free(all->group_name);
    free(all->flights);
    free(all->groups);
    memset(all, 0, sizeof *all);
}
