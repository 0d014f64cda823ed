/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which lines account for a difference: the peaks of both groups, paired by order, else by frequency. */
#include <math.h>
#include <stdlib.h>

#include "matched.h"

#define SAME_HZ    0.03 /* relative difference of one line seen in two flights */
#define SAME_LEAST 4.0  /* [Hz] or this much */
#define MOVED_HZ   0.15 /* a line this near is taken for the same one, moved */
#define SAME_ORDER 0.06
#define GROWN      1.122 /* 1 dB: below that a line stayed as it was */

/* One line of one group, over its flights. */
struct cluster {
    double hz, order;
    double weight;    /* energy its frequency was averaged with */
    double energy[2]; /* [px^2] mean over the flights of each group */
    double hz_of[2];  /* [Hz] in each group, NAN: not there */
};

static bool near_hz(double x, double y, double relative)
{
    return fabs(x - y) <= fmax(SAME_LEAST, relative * fmax(x, y));
}

static bool same_line(const struct cluster *c, const struct sr_peak *peak)
{
    double order = peak->cause == SR_CAUSE_ORDER ? peak->order : 0;
    if (order > 0 && c->order > 0)
        return fabs(order - c->order) <= SAME_ORDER;
    return (order > 0) == (c->order > 0) && near_hz(c->hz, peak->hz, SAME_HZ);
}

static void add_peak(struct cluster *clusters, size_t *count, const struct sr_peak *peak, double flights)
{
    double energy = peak->wobble_px * peak->wobble_px / flights;
    size_t i = 0;
    while (i < *count && !same_line(&clusters[i], peak))
        i++;
    struct cluster *c = &clusters[i];
    if (i == *count) {
        *c = (struct cluster){.order = peak->cause == SR_CAUSE_ORDER ? peak->order : 0};
        (*count)++;
    }
    c->hz = (c->hz * c->weight + peak->hz * energy) / (c->weight + energy);
    c->weight += energy;
}

static size_t cluster_group(const struct matched *m, int group, struct cluster *clusters)
{
    size_t count = 0, flights = 0;
    for (size_t f = 0; f < m->count; f++)
        flights += m->flights[f].group == group && !m->flights[f].dropped;
    for (size_t f = 0; f < m->count; f++) {
        const struct sr_score *score = m->flights[f].flight->score;
        if (m->flights[f].group != group || m->flights[f].dropped || score == NULL)
            continue;
        for (size_t p = 0; p < score->n_peaks; p++)
            if (score->peaks[p].hz <= m->limit_hz && score->peaks[p].wobble_px > 0)
                add_peak(clusters, &count, &score->peaks[p], (double)flights);
    }
    for (size_t i = 0; i < count; i++) {
        clusters[i].energy[group] = clusters[i].weight;
        clusters[i].hz_of[group] = clusters[i].hz;
        clusters[i].hz_of[!group] = NAN;
    }
    return count;
}

/* The cluster of b that is the same line as one of a, or b's count. */
static size_t partner(const struct cluster *one, const struct cluster *b, const bool *used, size_t nb)
{
    size_t best = nb;
    double nearest = INFINITY;
    for (size_t j = 0; j < nb; j++) {
        bool orders = one->order > 0 && b[j].order > 0;
        bool like = orders ? fabs(one->order - b[j].order) <= SAME_ORDER
                           : (one->order > 0) == (b[j].order > 0) && near_hz(one->hz, b[j].hz, MOVED_HZ);
        double distance = fabs(log(one->hz / b[j].hz));
        if (like && !used[j] && distance < nearest) {
            nearest = distance;
            best = j;
        }
    }
    return best;
}

static const char *change_of(const struct cluster *c)
{
    if (!isfinite(c->hz_of[0]))
        return "new";
    if (!isfinite(c->hz_of[1]))
        return "gone";
    double ratio = sqrt(c->energy[1] / c->energy[0]);
    if (ratio > GROWN)
        return "grown";
    if (ratio < 1 / GROWN)
        return "shrunk";
    return near_hz(c->hz_of[0], c->hz_of[1], SAME_HZ) ? "same" : "moved";
}

static int by_difference(const void *x, const void *y)
{
    const struct cluster *a = x, *b = y;
    double da = fabs(a->energy[1] - a->energy[0]), db = fabs(b->energy[1] - b->energy[0]);
    return (da < db) - (da > db);
}

static size_t pair_up(struct cluster *a, size_t na, const struct cluster *b, size_t nb, bool *used)
{
    for (size_t i = 0; i < na; i++) {
        size_t j = partner(&a[i], b, used, nb);
        if (j == nb)
            continue;
        used[j] = true;
        a[i].energy[1] = b[j].energy[1];
        a[i].hz_of[1] = b[j].hz_of[1];
    }
    for (size_t j = 0; j < nb; j++)
        if (!used[j])
            a[na++] = b[j];
    return na;
}

static void report(struct sr_comparison *c, const struct cluster *lines, size_t count)
{
    double all = 0;
    for (size_t i = 0; i < count; i++)
        all += fabs(lines[i].energy[1] - lines[i].energy[0]);
    for (size_t i = 0; i < count && c->n_lines < SR_COMPARE_LINES_MAX; i++) {
        c->lines[c->n_lines++] = (struct sr_compare_line){
            .hz_a = lines[i].hz_of[0],
            .hz_b = lines[i].hz_of[1],
            .px_a = sqrt(lines[i].energy[0]),
            .px_b = sqrt(lines[i].energy[1]),
            .order = lines[i].order,
            .share = all > 0 ? (lines[i].energy[1] - lines[i].energy[0]) / all : 0,
            .change = change_of(&lines[i]),
        };
    }
}

enum sr_status compare_lines(struct sr_comparison *c, const struct matched *m, struct sr_error *err)
{
    size_t room = 2 * m->count * SR_PEAKS_MAX;
    struct cluster *a = calloc(room, sizeof *a), *b = calloc(room, sizeof *b);
    bool *used = calloc(room, sizeof *used);
    enum sr_status status = SR_OK;
    if (a == NULL || b == NULL || used == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the lines of %zu flights", m->count);
    } else {
        size_t na = cluster_group(m, 0, a), nb = cluster_group(m, 1, b);
        size_t count = pair_up(a, na, b, nb, used);
        qsort(a, count, sizeof *a, by_difference);
        report(c, a, count);
    }
    free(used);
    free(b);
    free(a);
    return status;
}
