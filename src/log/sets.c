/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/sets.h"

#include <string.h>

#define SETS_MAX    32                  /* sets of one role that are told apart */
#define SET_COLUMNS (SR_MOTORS_MAX + 1) /* by the number written, 0 or 1 based */

/* Columns whose names differ in their axis or number only. */
struct set {
    const struct sr_name *like;
    int column[SET_COLUMNS];
    int first; /* its first column in the file */
};

static bool alike(const struct sr_name *a, const struct sr_name *b)
{
    return a->style == b->style && a->electrical == b->electrical && strcmp(a->key, b->key) == 0;
}

/* Sort the columns of a role into sets; returns how many. Of two columns with one name the first counts. */
static size_t gather(const struct sr_name *name, size_t count, enum sr_role role, struct set *sets)
{
    size_t n = 0;

    for (size_t i = 0; i < count; i++) {
        size_t k = 0;
        if (name[i].role != role || name[i].index >= SET_COLUMNS)
            continue;
        while (k < n && !alike(sets[k].like, &name[i]))
            k++;
        if (k == n) {
            if (n == SETS_MAX)
                continue;
            sets[n++] = (struct set){.like = &name[i], .first = (int)i};
            for (size_t c = 0; c < SET_COLUMNS; c++)
                sets[k].column[c] = -1;
        }
        int *place = &sets[k].column[name[i].index < 0 ? 0 : name[i].index];
        if (*place < 0)
            *place = (int)i;
    }
    return n;
}

/* 0 or 1: where its numbering starts. Letters always start at 0. */
static int base_of(const struct set *set)
{
    return set->like->style == SR_AXIS_INDEX && set->column[0] < 0 ? 1 : 0;
}

static size_t length_of(const struct set *set)
{
    const int base = base_of(set);
    size_t n = 0;

    while (n < SR_MOTORS_MAX && base + (int)n < SET_COLUMNS && set->column[base + (int)n] >= 0)
        n++;
    return n;
}

/* A weak name ("w", "p q r", "g") only counts where there is no better one; then raw goes first. */
static int score_rate(const struct sr_name *name)
{
    return (name->rank >= 30 ? 1000 : 0) + 100 * name->marker + name->rank;
}

static void choose_rates(const struct sr_name *name, size_t count, struct sr_choice *choice)
{
    struct set sets[SETS_MAX];
    const size_t n = gather(name, count, SR_ROLE_RATE, sets);
    const struct set *best = NULL;

    for (size_t k = 0; k < n; k++)
        if (length_of(&sets[k]) >= 3) {
            choice->rate_sets++;
            if (best == NULL || score_rate(sets[k].like) > score_rate(best->like))
                best = &sets[k];
        }
    if (best == NULL)
        return;
    for (int axis = 0; axis < 3; axis++)
        choice->rate[axis] = best->column[base_of(best) + axis];
    choice->marker = best->like->marker;
    for (size_t k = 0; k < n && choice->other_rate < 0; k++)
        if (&sets[k] != best && length_of(&sets[k]) >= 3)
            choice->other_rate = sets[k].column[base_of(&sets[k])];
}

static void choose_accel(const struct sr_name *name, size_t count, struct sr_choice *choice)
{
    struct set sets[SETS_MAX];
    const size_t n = gather(name, count, SR_ROLE_ACCEL, sets);

    for (size_t k = 0; k < n && choice->accel[0] < 0; k++)
        if (length_of(&sets[k]) >= 3)
            for (int axis = 0; axis < 3; axis++)
                choice->accel[axis] = sets[k].column[base_of(&sets[k]) + axis];
}

/* Columns of a role by number, or, where they are not numbered, in the order of the file. */
static size_t choose_motors(const struct sr_name *name, size_t count, enum sr_role role, int *column,
                            const struct sr_name **like)
{
    struct set sets[SETS_MAX];
    const size_t n = gather(name, count, role, sets);
    const struct set *best = NULL;
    size_t found = 0;

    for (size_t k = 0; k < n; k++)
        if (best == NULL || sets[k].like->rank > best->like->rank ||
            (sets[k].like->rank == best->like->rank && length_of(&sets[k]) > length_of(best)))
            best = &sets[k];
    if (best == NULL)
        return 0;
    *like = best->like;
    if (length_of(best) >= 2) {
        for (; found < length_of(best); found++)
            column[found] = best->column[base_of(best) + (int)found];
        return found;
    }
    for (size_t k = 0; k < n && found < SR_MOTORS_MAX; k++) /* rpm_front_left, rpm_front_right, … */
        if (sets[k].like->rank == best->like->rank && sets[k].like->electrical == best->like->electrical)
            column[found++] = sets[k].first;
    return found;
}

int sr_choose_time(const struct sr_name *name, size_t count, const bool *passed)
{
    int best = -1;

    for (size_t i = 0; i < count; i++)
        if (name[i].role == SR_ROLE_TIME && (passed == NULL || !passed[i]) &&
            (best < 0 || name[i].rank > name[best].rank))
            best = (int)i;
    return best;
}

void sr_choose(const struct sr_name *name, size_t count, struct sr_choice *choice)
{
    const struct sr_name *like = NULL;
    int throttle = -1;

    *choice =
        (struct sr_choice){.rate = {-1, -1, -1}, .accel = {-1, -1, -1}, .other_rate = -1, .other_time = -1};
    choice->time = sr_choose_time(name, count, NULL);
    for (size_t i = 0; i < count; i++) {
        if (name[i].role == SR_ROLE_THROTTLE && (throttle < 0 || name[i].rank > name[throttle].rank))
            throttle = (int)i;
        if (name[i].role == SR_ROLE_TIME && (int)i != choice->time && choice->other_time < 0)
            choice->other_time = (int)i;
    }
    choice->throttle = throttle;
    choose_rates(name, count, choice);
    choose_accel(name, count, choice);
    choice->n_motors = choose_motors(name, count, SR_ROLE_SPEED, choice->motor, &like);
    choice->electrical = choice->n_motors > 0 && like->electrical;
    choice->n_outputs = choose_motors(name, count, SR_ROLE_OUTPUT, choice->output, &like);
}
