/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A simulated flight with everything worked out of it, as explain does. Include after cmocka.h. */
#ifndef SUPPORT_WORKED_H
#define SUPPORT_WORKED_H

#include <string.h>

#include "stillrow/explain.h"
#include "support/sim_log.h"

#define WORKED_THRESHOLD_PX 0.2

struct worked {
    struct sr_rig rig;
    struct sr_slices slices;
    struct sr_view view;
    struct sr_score score;
    struct sr_causes causes;
};

/* columns: NULL for throttle and motor speeds. rig: NULL for one that says nothing. Release with release().
 */
static inline struct worked work_out(const struct sim_flight *flight, const struct sim_log_columns *columns,
                                     const struct sr_rig *rig)
{
    struct worked w;
    struct sr_log log;
    memset(&w, 0, sizeof w);
    if (rig != NULL)
        w.rig = *rig;
    else
        sr_rig_init(&w.rig);
    assert_int_equal(sim_log_fly(&log, flight, columns), 0);
    assert_int_equal(sr_slices_make(&w.slices, &log, &w.rig, SR_WINDOW_HANN, NULL), SR_OK);
    assert_int_equal(sr_view_init(&w.view, &w.slices, &w.rig.camera, NULL), SR_OK);
    assert_int_equal(sr_score_make(&w.score, &w.slices, &w.view, WORKED_THRESHOLD_PX, NULL), SR_OK);
    assert_int_equal(sr_causes_find(&w.causes, &w.score, &w.slices, &w.view, &w.rig, NULL), SR_OK);
    sr_log_release(&log);
    return w;
}

static inline void release(struct worked *w)
{
    sr_causes_release(&w->causes);
    sr_score_release(&w->score);
    sr_view_release(&w->view);
    sr_slices_release(&w->slices);
}

/* The simulator's plain craft, in the air from the first sample, logged at 2000 Hz. */
static inline struct sim_flight healthy(double flight_s)
{
    struct sim_flight flight;
    sim_flight_init(&flight);
    flight.rate_hz = 2000;
    flight.flight_s = flight_s;
    flight.ground_s = 0;
    return flight;
}

/* The line of an order, NULL: there is none. Its track has the same index. */
static inline const struct sr_peak *peak_of_order(const struct worked *w, double order)
{
    for (size_t k = 0; k < w->score.n_peaks; k++)
        if (w->score.peaks[k].order == order)
            return &w->score.peaks[k];
    return NULL;
}

#endif
