/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Could flights that are missing change which choice comes first?
 *
 * Each other choice, the rival, is given the luck that suits it best against the first, the leader: what
 * only the rival lacks turns out so low that nothing comes near, what only the leader lacks so high that it
 * is of no use. What both lack, or neither has to do with, has three ways to help: levels that both share
 * may make them alike in a setup that the rival would lose; a third hardness that is far better than both
 * makes the regret of both as large as one likes, and then the nearer one has the lesser. If the rival does
 * not come before the leader like that, it never does.
 */
#include <math.h>

#include "rank_private.h"

/* One setup with the luck that suits the rival. Regrets [dB]; the leader's may be infinite, the rival's not.
 */
struct outcome {
    int gain; /* setups under the threshold: the rival's less the leader's, the most that can be */
    double rival_db, leader_db;
    bool may_equal; /* both can be made to have one and the same regret, up to the lesser of these two */
    bool may_keep;  /* these two can be had without a loss in gain */
    bool may_grow;  /* and both can be made larger by as much as one likes */
};

/* What two choices have in one setup. */
struct standing {
    double rival_db, leader_db, shared_db; /* lowest level of what only they have, or both; INFINITY: none */
    bool rival_lacks, shared_lacks, others_lack;
};

/* A choice as columns of the grid; of one hardness, both are the same. */
struct columns {
    size_t at[2], count;
};

static struct columns columns_of(const struct grid *grid, const struct sr_rank_choice *choice)
{
    struct columns c = {{0, 0}, choice->count};
    for (size_t k = 0; k < 2; k++)
        while (compare_numbers(grid->shore_a[c.at[k]], choice->shore_a[k]) < 0)
            c.at[k]++;
    return c;
}

static bool has(const struct columns *columns, size_t column)
{
    return columns->at[0] == column || columns->at[1] == column;
}

/* fmin() leaves a level that is missing out. */
static struct standing stand(const struct grid *grid, size_t setup, const struct columns *leader,
                             const struct columns *rival)
{
    const double *levels = grid->level_db + setup * grid->n_shore;
    struct standing s = {INFINITY, INFINITY, INFINITY, false, false, false};
    size_t lacking = 0;

    for (size_t k = 0; k < leader->count; k++) {
        double level_db = levels[leader->at[k]];
        bool shared = has(rival, leader->at[k]), lacks = isnan(level_db);
        double *lowest_db = shared ? &s.shared_db : &s.leader_db;
        *lowest_db = fmin(*lowest_db, level_db);
        s.shared_lacks |= shared && lacks;
        lacking += lacks ? 1 : 0;
    }
    for (size_t k = 0; k < rival->count; k++) {
        double level_db = levels[rival->at[k]];
        if (has(leader, rival->at[k]))
            continue;
        s.rival_db = fmin(s.rival_db, level_db);
        s.rival_lacks |= isnan(level_db);
        lacking += isnan(level_db) ? 1 : 0;
    }
    s.others_lack = grid->n_lacking[setup] > lacking;
    return s;
}

static struct outcome best_luck(const struct standing *s, double best_db)
{
    double leader_db = fmin(s->leader_db, s->shared_db), rival_db = fmin(s->rival_db, s->shared_db);

    if (s->rival_lacks)
        return (struct outcome){1 - (leader_db < 0), 0, INFINITY, false, true, false};
    if (isinf(leader_db)) /* nothing is known of the leader; something is of the rival, or it would lack */
        return (struct outcome){rival_db < 0, rival_db - best_db, INFINITY, false, true, false};
    struct outcome out = {.gain = (rival_db < 0) - (leader_db < 0),
                          .rival_db = rival_db - best_db,
                          .leader_db = leader_db - best_db,
                          .may_grow = s->others_lack};
    out.may_equal = s->shared_lacks && out.gain <= 0;
    out.may_keep = !out.may_equal || out.gain == 0;
    out.gain = out.may_equal ? 0 : out.gain;
    return out;
}

/* The worst that the rival has in setups where nothing can spare it that, and what the leader may have. */
struct contest {
    int gain;
    double rival_db;
    bool certain; /* the rival has the lesser worst regret, or can be given it */
    bool alike;   /* both can be given the same */
};

static void add_setup(struct contest *contest, const struct outcome *out, bool equal_levels)
{
    contest->gain += out->gain;
    if (!out->may_equal)
        contest->rival_db = fmax(contest->rival_db, out->rival_db);
    contest->certain |= isinf(out->leader_db) ||
                        (out->may_grow && out->may_keep && !equal_levels && out->rival_db < out->leader_db);
    contest->alike |= out->may_grow && (out->may_equal || equal_levels);
}

/* Setups in which the leader's regret can be the worst of all. */
static void settle_setup(struct contest *contest, const struct outcome *out)
{
    if (out->may_keep) {
        double rival_db = fmax(contest->rival_db, out->rival_db);
        contest->certain |= out->leader_db > rival_db;
        contest->alike |= out->leader_db >= rival_db;
    }
    contest->alike |= out->may_equal && fmin(out->leader_db, out->rival_db) >= contest->rival_db;
}

/* Ties go to the lesser hardness, as once nothing is missing. */
static bool wins_ties(const struct sr_rank_choice *rival, const struct sr_rank_choice *leader)
{
    int order = compare_numbers(rival->shore_a[0], leader->shore_a[0]);
    return (order != 0 ? order : compare_numbers(rival->shore_a[1], leader->shore_a[1])) < 0;
}

static bool can_overtake(const struct grid *grid, const double *best, const struct sr_rank_choice *leader,
                         const struct sr_rank_choice *rival)
{
    const struct columns one = columns_of(grid, leader), other = columns_of(grid, rival);
    struct contest contest = {0, 0, false, false};

    for (size_t s = 0; s < grid->n_setups; s++) {
        struct standing standing = stand(grid, s, &one, &other);
        struct outcome out = best_luck(&standing, best[s]);
        add_setup(&contest, &out, compare_numbers(out.rival_db, out.leader_db) == 0);
    }
    if (contest.gain != 0)
        return contest.gain > 0;
    for (size_t s = 0; s < grid->n_setups && !contest.certain; s++) {
        struct standing standing = stand(grid, s, &one, &other);
        struct outcome out = best_luck(&standing, best[s]);
        settle_setup(&contest, &out);
    }
    return contest.certain || (contest.alike && wins_ties(rival, leader));
}

bool rank_is_settled(const struct grid *grid, const double *best, const struct sr_rank_choice *choices,
                     size_t n)
{
    for (size_t i = 1; i < n; i++)
        if (can_overtake(grid, best, &choices[0], &choices[i]))
            return false;
    return n > 0;
}
