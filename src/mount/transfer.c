/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From two logs of one flight to the transfer function between their sensors. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mount/align.h"

#define OVERLAP_MIN_S 10.0
#define FINE_S        2.0  /* segments of about this length ... */
#define COARSE_S      1.0  /* ... or, in a short flight, this */
#define LONG_FLIGHT_S 24.0 /* from which the longer ones average enough */

static double flown_s(const struct aligned *al)
{
    size_t count = 0;
    for (size_t i = 0; i < al->count; i++)
        count += al->both[i];
    return (double)count / al->rate_hz;
}

/* Twice: the second time with the drift that the first one shows. */
static enum sr_status bring_together(struct alignment *alignment, struct aligned *al,
                                     const struct sr_log *frame, const struct sr_log *camera,
                                     struct sr_error *err)
{
    enum sr_status status = align_logs(alignment, frame, camera, err);
    if (status == SR_OK)
        status = align_resample(al, alignment, frame, camera, err);
    if (status == SR_OK) {
        status = align_refine(alignment, al, err);
        aligned_release(al);
    }
    return status == SR_OK ? align_resample(al, alignment, frame, camera, err) : status;
}

static enum sr_status finish(struct sr_transfer *transfer, const struct sr_cross *cross, double rate_hz,
                             struct sr_error *err)
{
    size_t bins = cross->bins;
    transfer->re = calloc(bins, 3 * sizeof *transfer->re);
    if (transfer->re == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu bins", bins);
    transfer->im = transfer->re + bins;
    transfer->coherence = transfer->re + 2 * bins;
    transfer->bins = bins;
    transfer->bin_hz = rate_hz / (double)cross->segment;
    /* The three axes share their cause: they are not counted as further averages. */
    transfer->averages = 0.5 * sr_welch_dof(cross->work, cross->segment, cross->hop, cross->segments / 3);
    for (size_t k = 0; k < bins; k++) {
        /* H_v: 2 S_xy / (d + sqrt(d^2 + 4 |S_xy|^2)), d = S_xx - S_yy. */
        double apart = cross->xx[k] - cross->yy[k],
               size = hypot(apart, 2 * hypot(cross->re[k], cross->im[k]));
        bool heard = apart + size > 0;
        transfer->re[k] = heard ? 2 * cross->re[k] / (apart + size) : 0;
        transfer->im[k] = heard ? 2 * cross->im[k] / (apart + size) : 0;
        transfer->coherence[k] = sr_cross_coherence(cross, k);
    }
    return SR_OK;
}

enum sr_status sr_transfer_make(struct sr_transfer *transfer, const struct sr_log *frame,
                                const struct sr_log *camera, struct sr_error *err)
{
    struct alignment alignment;
    struct aligned al = {0};
    struct sr_cross cross = {0};
    struct sr_transfer made = {0};
    enum sr_status status = bring_together(&alignment, &al, frame, camera, err);
    if (status != SR_OK)
        return status;

    made.lag_s = alignment.lag_s;
    made.drift_ppm = 1e6 * alignment.drift;
    made.match = alignment.match;
    made.overlap_s = flown_s(&al);
    if (made.overlap_s < OVERLAP_MIN_S) {
        status = sr_fail(err, SR_ERR_SHORT, camera->name, 0,
                         "only %.1f s of flight are in this log and in '%s': %.0f s are needed",
                         made.overlap_s, frame->name, OVERLAP_MIN_S);
        goto done;
    }
    size_t segment = align_segment(made.overlap_s < LONG_FLIGHT_S ? COARSE_S : FINE_S, al.rate_hz);
    status = sr_cross_init(&cross, SR_WINDOW_HANN, segment, segment / 2, err);
    if (status != SR_OK)
        goto done;
    align_add(&cross, &al);
    if (cross.segments == 0)
        status = sr_fail(err, SR_ERR_SHORT, camera->name, 0,
                         "no stretch of %.0f s without a gap in both logs", (double)segment / al.rate_hz);
    else
        status = finish(&made, &cross, al.rate_hz, err);

done:
    sr_cross_release(&cross);
    aligned_release(&al);
    if (status == SR_OK)
        *transfer = made;
    return status;
}

void sr_transfer_release(struct sr_transfer *transfer)
{
    free(transfer->re);
    memset(transfer, 0, sizeof *transfer);
}
