/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Work side by side: in order at both ends, or, where items stand each for themselves, in none.
 *
 * Items are taken one after another, worked on by several threads at once, and
 * handed on one after another in the order they were taken, so that what comes out
 * does not depend on the number of threads. An item lives in one of a few slots,
 * which the caller owns; a slot is taken again once its item was handed on.
 */
#ifndef SR_SUPPORT_ORDERED_H
#define SR_SUPPORT_ORDERED_H

#include <stdbool.h>
#include <stddef.h>

struct sr_ordered {
    /* The next item into a slot. False: there is none, and it is not asked again. One call at a time. */
    bool (*take)(void *context, size_t slot);
    /* What may be done side by side with other slots. */
    void (*work)(void *context, size_t slot);
    /* Hand the item on. False: no more items are wanted. One call at a time, beside take() and work(). */
    bool (*give)(void *context, size_t slot);
    void *context;
    size_t slots;   /* >= 1: items that may be under way at once */
    size_t threads; /* >= 1: the caller's is one of them; no more than slots make sense */
};

/*
 * Run until all items are handed on, or give() returned false; then items that were
 * taken already are worked on but not handed on, and stay in their slots. All threads
 * have ended on return. If fewer threads can be had, it is done with those. Signals go
 * to other threads than those started here. Locales are by thread: work() that minds sets its own.
 * A thread that has nothing to do looks for up to some 0.2 ms before it sleeps.
 * False: not even a lock could be had, and nothing was done.
 */
bool sr_ordered_run(const struct sr_ordered *ordered);

/*
 * work() for each item below count, side by side by up to `threads` threads (0 and 1: the caller's
 * alone, which is always one of them), in no particular order; all have ended on return. hand < threads:
 * no two calls at once have the same, so that scratch memory may go by it. What comes out depends on the
 * number of threads only if work() does. Always done, by fewer threads if no more can be had. Signals
 * and locales as above.
 */
void sr_each(void (*work)(void *context, size_t item, size_t hand), void *context, size_t count,
             size_t threads);

/* Threads for "as many as make sense": the processors online, 1 to 8. */
size_t sr_ordered_threads(void);

#endif
