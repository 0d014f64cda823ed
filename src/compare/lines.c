/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which lines account for a difference, at the conditions that are compared. A score's peaks are of a whole
 * flight as flown; here they say where a line runs, and its energy is taken over the matched slices, with the
 * weights of all else. Lines are paired by order, else by frequency.
 */
#include <math.h>
#include <stdlib.h>

#include "matched.h"
#include "stillrow/explain.h"

#define SAME_PART     0.03 /* relative difference of one line seen in two flights */
#define SAME_LEAST_HZ 4.0  /* [Hz] or this much */
#define MOVED_PART    0.15 /* a line this near is taken for the same one, moved */
#define SAME_ORDER    0.06
#define GROWN         1.122 /* 1 dB: below that a line stayed as it was */
#define THERE         0.25 /* of the other group's energy, where no flight of a group has it among its peaks */

/* A peak of one flight, at matched conditions. */
struct found {
    size_t flight, peak;
    double energy; /* [px^2] */
    double hz;     /* [Hz] mean, weighted by energy */
    size_t line;
};

/* One line over the flights of both groups. */
struct cluster {
    double order;
    bool there[2];
    double hz[2];
    double weight[2]; /* [px^2] that hz was averaged with */
    double energy[2]; /* [px^2] mean over the flights of each group */
    bool merged;      /* into another */
};

struct search {
    const struct matched *m;
    struct found *found;
    size_t n_found;
    struct cluster *lines;
    size_t n_lines;
};

static bool near_hz(double x, double y, double relative)
{
    return fabs(x - y) <= fmax(SAME_LEAST_HZ, relative * fmax(x, y));
}

/* Energy [px^2] of a slice in bins [low, high), all axes. */
static double slice_energy(const struct matched_flight *f, size_t i, size_t low, size_t high)
{
    double sum = 0;
    for (int a = 0; a < 3; a++)
        sum += sr_view_energy(f->flight->view, f->flight->slices, i, (enum sr_picture_axis)a, low, high);
    return sum;
}

/*
 * What stands out along a course (Hz in each bin of the condition) in the matched slices of a flight [px^2].
 * The floor is the lower of both sides, so that a neighbour on one is not taken for it.
 */
static double stands_out(const struct matched *m, const struct matched_flight *f, const double *course)
{
    const struct sr_view *view = f->flight->view;
    double weight[SR_COMPARE_BINS_MAX], middle = 0, below = 0, above = 0;
    bool all_below = true, all_above = true;

    matched_weights(m, f, weight);
    for (size_t i = 0; i < f->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        double hz = course[f->bin[i]], w = weight[f->bin[i]];
        size_t half = (size_t)ceil(fmax(SAME_LEAST_HZ, SAME_PART * hz) / view->bin_hz), width = 2 * half + 1;
        size_t at = (size_t)lround(hz / view->bin_hz), low = at > half ? at - half : 0, high = at + half + 1;
        all_below = all_below && low >= view->first_bin + width;
        all_above = all_above && high + width <= view->bins;
        middle += w * slice_energy(f, i, low, high);
        below += all_below ? w * slice_energy(f, i, low - width, low) : 0;
        above += all_above ? w * slice_energy(f, i, high, high + width) : 0;
    }
    if (!all_below && !all_above)
        return 0; /* no floor to tell it from */
    return fmax(0, middle - (!all_below ? above : !all_above ? below : fmin(below, above)));
}

/* Where the line of a peak lies in each slice, and its energy there; NULL: not followed. */
static const struct sr_track *track_of(const struct matched_flight *f, size_t peak)
{
    const struct sr_causes *causes = f->flight->causes;
    return causes != NULL && peak < causes->n_tracks ? &causes->tracks[peak] : NULL;
}

static double tracked_energy(const struct matched *m, const struct matched_flight *f,
                             const struct sr_track *track, double *hz)
{
    double weight[SR_COMPARE_BINS_MAX], all = 0, moment = 0, known = 0;

    matched_weights(m, f, weight);
    for (size_t i = 0; i < f->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        double energy = weight[f->bin[i]] * track->wobble_px[i] * track->wobble_px[i];
        all += energy;
        moment += isfinite(track->hz[i]) ? energy * track->hz[i] : 0;
        known += isfinite(track->hz[i]) ? energy : 0;
    }
    *hz = known > 0 ? moment / known : *hz;
    return all;
}

static void take_peak(struct search *s, size_t flight, size_t p)
{
    const struct matched_flight *f = &s->m->flights[flight];
    const struct sr_track *track = track_of(f, p);
    struct found found = {.flight = flight, .peak = p, .hz = f->flight->score->peaks[p].hz};

    if (track != NULL) {
        found.energy = tracked_energy(s->m, f, track, &found.hz);
    } else {
        double course[SR_COMPARE_BINS_MAX];
        for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
            course[b] = found.hz;
        found.energy = stands_out(s->m, f, course);
    }
    if (found.energy > 0)
        s->found[s->n_found++] = found;
}

static void collect(struct search *s)
{
    for (size_t f = 0; f < s->m->count; f++) {
        const struct sr_score *score = s->m->flights[f].flight->score;
        for (size_t p = 0; score != NULL && !s->m->flights[f].dropped && p < score->n_peaks; p++)
            if (score->peaks[p].hz <= s->m->limit_hz && score->peaks[p].wobble_px > 0)
                take_peak(s, f, p);
    }
}

static double order_of(const struct search *s, const struct found *found)
{
    const struct sr_peak *peak = &s->m->flights[found->flight].flight->score->peaks[found->peak];
    return peak->cause == SR_CAUSE_ORDER ? peak->order : 0;
}

static bool alike(double order, double hz, double other_order, double other_hz, double relative)
{
    if (order > 0 && other_order > 0)
        return fabs(order - other_order) <= SAME_ORDER;
    return (order > 0) == (other_order > 0) && near_hz(hz, other_hz, relative);
}

/* Put each peak to its group's line, or make it one. */
static void gather_lines(struct search *s)
{
    for (size_t i = 0; i < s->n_found; i++) {
        struct found *found = &s->found[i];
        int group = s->m->flights[found->flight].group;
        double order = order_of(s, found);
        size_t at = 0;
        while (at < s->n_lines &&
               !(s->lines[at].there[group] &&
                 alike(s->lines[at].order, s->lines[at].hz[group], order, found->hz, SAME_PART)))
            at++;
        struct cluster *line = &s->lines[at];
        if (at == s->n_lines) {
            *line = (struct cluster){.order = order, .hz = {NAN, NAN}};
            line->there[group] = true;
            line->hz[group] = 0;
            s->n_lines++;
        }
        line->hz[group] = (line->hz[group] * line->weight[group] + found->hz * found->energy) /
                          (line->weight[group] + found->energy);
        line->weight[group] += found->energy;
        found->line = at;
    }
}

/* The line of b that is the same as one of a, or the number of lines. */
static size_t partner(const struct search *s, const struct cluster *one)
{
    size_t best = s->n_lines;
    double nearest = INFINITY;
    for (size_t j = 0; j < s->n_lines; j++) {
        const struct cluster *other = &s->lines[j];
        if (!other->there[1] || other->there[0] || other->merged ||
            !alike(one->order, one->hz[0], other->order, other->hz[1], MOVED_PART))
            continue;
        double distance = fabs(log(one->hz[0] / other->hz[1]));
        if (distance < nearest) {
            nearest = distance;
            best = j;
        }
    }
    return best;
}

static void pair_up(struct search *s)
{
    for (size_t i = 0; i < s->n_lines; i++) {
        struct cluster *one = &s->lines[i];
        size_t j = one->there[0] && !one->merged ? partner(s, one) : s->n_lines;
        if (j == s->n_lines)
            continue;
        s->lines[j].merged = true;
        one->there[1] = true;
        one->hz[1] = s->lines[j].hz[1];
        for (size_t k = 0; k < s->n_found; k++)
            if (s->found[k].line == j)
                s->found[k].line = i;
    }
}

/* Frequency of a line in each bin of the condition, as one group's flights have it. */
static void fill_course(const struct search *s, size_t line, int group, double course[SR_COMPARE_BINS_MAX])
{
    double weight[SR_COMPARE_BINS_MAX] = {0}, moment[SR_COMPARE_BINS_MAX] = {0};
    for (size_t k = 0; k < s->n_found; k++) {
        const struct matched_flight *f = &s->m->flights[s->found[k].flight];
        const struct sr_track *track = track_of(f, s->found[k].peak);
        if (s->found[k].line != line || f->group != group || track == NULL)
            continue;
        for (size_t i = 0; i < f->n; i++) {
            if (!matched_keeps(s->m, f, i) || !isfinite(track->hz[i]))
                continue;
            double energy = track->wobble_px[i] * track->wobble_px[i];
            weight[f->bin[i]] += energy;
            moment[f->bin[i]] += energy * track->hz[i];
        }
    }
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
        course[b] = weight[b] > 0 ? moment[b] / weight[b] : s->lines[line].hz[group];
}

/*
 * A peak carries 3 % of a flight as flown; what carries less there may carry more at the matched conditions.
 * So a flight without such a peak is measured where the line runs in the others.
 */
static double line_energy(const struct search *s, size_t line, size_t flight, const double *course)
{
    double energy = 0;
    bool has = false;
    for (size_t k = 0; k < s->n_found; k++) {
        if (s->found[k].line != line || s->found[k].flight != flight)
            continue;
        energy += s->found[k].energy;
        has = true;
    }
    return has ? energy : stands_out(s->m, &s->m->flights[flight], course);
}

static void measure(struct search *s, size_t at)
{
    struct cluster *line = &s->lines[at];
    double course[2][SR_COMPARE_BINS_MAX];
    size_t flights[2] = {0, 0};

    for (int g = 0; g < 2; g++)
        fill_course(s, at, line->there[g] ? g : !g, course[g]);
    for (size_t f = 0; f < s->m->count; f++) {
        int group = s->m->flights[f].group;
        if (s->m->flights[f].dropped)
            continue;
        line->energy[group] += line_energy(s, at, f, course[group]);
        flights[group]++;
    }
    for (int g = 0; g < 2; g++)
        line->energy[g] /= (double)flights[g];
    for (int g = 0; g < 2; g++) {
        if (line->there[g] || line->energy[g] < THERE * line->energy[!g])
            continue;
        line->there[g] = true;
        line->hz[g] = line->hz[!g];
    }
}

static const char *change_of(const struct cluster *line)
{
    if (!line->there[0])
        return "new";
    if (!line->there[1])
        return "gone";
    double ratio = sqrt(line->energy[1] / line->energy[0]);
    if (ratio > GROWN)
        return "grown";
    if (ratio < 1 / GROWN)
        return "shrunk";
    return near_hz(line->hz[0], line->hz[1], SAME_PART) ? "same" : "moved";
}

static int by_difference(const void *x, const void *y)
{
    const struct cluster *a = x, *b = y;
    double da = fabs(a->energy[1] - a->energy[0]), db = fabs(b->energy[1] - b->energy[0]);
    return (da < db) - (da > db);
}

static enum sr_band band_of(const struct sr_camera *camera, double hz)
{
    enum sr_band band = SR_BAND_BEND;
    while (band + 1 < SR_BAND_COUNT && hz >= sr_band_low_hz(camera, (enum sr_band)(band + 1)))
        band = (enum sr_band)(band + 1);
    return band;
}

static void report(struct sr_comparison *c, const struct search *s)
{
    const double whole[2] = {c->whole.a_px * c->whole.a_px, c->whole.b_px * c->whole.b_px};
    const struct sr_camera *camera = &s->m->flights[0].flight->view->camera;

    for (size_t i = 0; i < s->n_lines && c->n_lines < SR_COMPARE_LINES_MAX; i++) {
        const struct cluster *line = &s->lines[i];
        if (line->merged || (line->energy[0] < SR_PEAK_SHARE_MIN * whole[0] &&
                             line->energy[1] < SR_PEAK_SHARE_MIN * whole[1]))
            continue;
        c->lines[c->n_lines++] = (struct sr_compare_line){
            .hz_a = line->there[0] ? line->hz[0] : NAN,
            .hz_b = line->there[1] ? line->hz[1] : NAN,
            .px_a = sqrt(line->energy[0]),
            .px_b = sqrt(line->energy[1]),
            .order = line->order,
            .change = change_of(line),
            .band = band_of(camera, fmax(line->there[0] ? line->hz[0] : 0, line->there[1] ? line->hz[1] : 0)),
        };
    }
    compare_settle(c);
}

void compare_settle(struct sr_comparison *c)
{
    double all = 0;
    size_t kept = 0;

    for (size_t i = 0; i < c->n_lines; i++) {
        const struct sr_compare_line *line = &c->lines[i];
        if (!c->whole.shown && !c->band[line->band - SR_BAND_BEND].shown)
            continue;
        all += fabs(line->px_b * line->px_b - line->px_a * line->px_a);
        c->lines[kept++] = *line;
    }
    c->n_lines = kept;
    for (size_t i = 0; i < kept; i++) {
        struct sr_compare_line *line = &c->lines[i];
        line->share = all > 0 ? (line->px_b * line->px_b - line->px_a * line->px_a) / all : 0;
    }
    c->winner = !c->whole.shown ? SR_NO_DIFFERENCE : c->whole.db > 0 ? SR_A_QUIETER : SR_B_QUIETER;
}

enum sr_status compare_lines(struct sr_comparison *c, const struct matched *m, struct sr_error *err)
{
    size_t room = m->count * SR_PEAKS_MAX;
    struct search s = {
        .m = m, .found = calloc(room, sizeof *s.found), .lines = calloc(room, sizeof *s.lines)};
    enum sr_status status = SR_OK;
    if (s.found == NULL || s.lines == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the lines of %zu flights", m->count);
    } else {
        collect(&s);
        gather_lines(&s);
        pair_up(&s);
        for (size_t i = 0; i < s.n_lines; i++)
            if (!s.lines[i].merged)
                measure(&s, i);
        qsort(s.lines, s.n_lines, sizeof *s.lines, by_difference);
        report(c, &s);
    }
    free(s.lines);
    free(s.found);
    return status;
}
