/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/ordered.h"

#include <pthread.h>
#include <signal.h>
#include <stdint.h>
#include <stdlib.h>
#include <unistd.h>

#define THREADS_USUAL 8
#define EACH_SHARES   8  /* that the items of a thread are taken in: more would share them out better */
#define HELPERS_MOST  63 /* of sr_each(), whose threads need no memory from the heap */

/* Items are numbered as they are taken; item i is in slot i % slots. */
struct run {
    const struct sr_ordered *of;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    uint64_t taken; /* items so far */
    uint64_t given;
    bool *done; /* [slots] its item is worked on, and waits to be handed on */
    bool taking, giving;
    bool ended; /* no more items */
    bool stop;  /* no more are wanted */
};

/*
 * Something changed that another thread may wait for. One is enough, as it passes the word on when
 * it has taken an item; at the end all must know.
 */
static void tell(struct run *run)
{
    if (run->stop || (run->ended && run->given == run->taken))
        pthread_cond_broadcast(&run->changed);
    else
        pthread_cond_signal(&run->changed);
}

/* Hand on the item whose turn it is. Called and left with the lock held. */
static void give_one(struct run *run)
{
    const size_t slot = (size_t)(run->given % run->of->slots);

    run->giving = true;
    pthread_mutex_unlock(&run->lock);
    const bool more = run->of->give(run->of->context, slot);
    pthread_mutex_lock(&run->lock);
    run->giving = false;
    run->done[slot] = false;
    run->given++;
    run->stop = run->stop || !more;
    tell(run);
}

/* Take an item and work on it. Called and left with the lock held. */
static void take_one(struct run *run)
{
    const size_t slot = (size_t)(run->taken % run->of->slots);

    run->taking = true;
    pthread_mutex_unlock(&run->lock);
    const bool got = run->of->take(run->of->context, slot);
    pthread_mutex_lock(&run->lock);
    run->taking = false;
    run->ended = !got;
    run->taken += got;
    tell(run);
    if (!got)
        return;
    pthread_mutex_unlock(&run->lock);
    run->of->work(run->of->context, slot);
    pthread_mutex_lock(&run->lock);
    run->done[slot] =
        true; /* nobody is told: who may hand it on is awake, this thread or one that does so now */
}

/* What every thread does; handing on comes first, so that slots get free. */
static void *serve(void *context)
{
    struct run *run = context;

    pthread_mutex_lock(&run->lock);
    while (!run->stop && !(run->ended && run->given == run->taken)) {
        const bool may_take = !run->ended && !run->taking && run->taken - run->given < run->of->slots;
        if (!run->giving && run->done[run->given % run->of->slots])
            give_one(run);
        else if (may_take)
            take_one(run);
        else
            pthread_cond_wait(&run->changed, &run->lock);
    }
    pthread_mutex_unlock(&run->lock);
    return NULL;
}

/* Start up to `count` threads; returns how many there are. */
static size_t start(void *(*body)(void *), void *context, pthread_t *thread, size_t count)
{
    sigset_t all, before;
    size_t started = 0;

    sigfillset(&all);
    if (count == 0 || pthread_sigmask(SIG_SETMASK, &all, &before) != 0)
        return 0;
    while (started < count && pthread_create(&thread[started], NULL, body, context) == 0)
        started++;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return started;
}

bool sr_ordered_run(const struct sr_ordered *ordered)
{
    struct run run = {.of = ordered};
    const size_t helpers = ordered->threads > 1 ? ordered->threads - 1 : 0;
    pthread_t *thread = helpers > 0 ? calloc(helpers, sizeof *thread) : NULL;
    bool ok = false;

    run.done = calloc(ordered->slots, sizeof *run.done);
    if (run.done == NULL || pthread_mutex_init(&run.lock, NULL) != 0)
        goto free_all;
    if (pthread_cond_init(&run.changed, NULL) != 0)
        goto destroy_lock;
    ok = true;
    const size_t started = thread != NULL ? start(serve, &run, thread, helpers) : 0;
    serve(&run);
    for (size_t i = 0; thread != NULL && i < started; i++)
        pthread_join(thread[i], NULL);
    pthread_cond_destroy(&run.changed);

destroy_lock:
    pthread_mutex_destroy(&run.lock);
free_all:
    free(run.done);
    free(thread);
    return ok;
}

/* ---- in no order ---------------------------------------------------------- */

struct each {
    void (*work)(void *context, size_t item, size_t hand);
    void *context;
    size_t count;
    size_t step; /* items taken at once, so that small ones are not all about the lock */
    pthread_mutex_t lock;
    size_t next, hands;
};

static void *serve_each(void *context)
{
    struct each *each = context;

    pthread_mutex_lock(&each->lock);
    const size_t hand = each->hands++;
    while (each->next < each->count) {
        const size_t first = each->next;
        const size_t end = each->count - first > each->step ? first + each->step : each->count;
        each->next = end;
        pthread_mutex_unlock(&each->lock);
        for (size_t item = first; item < end; item++)
            each->work(each->context, item, hand);
        pthread_mutex_lock(&each->lock);
    }
    pthread_mutex_unlock(&each->lock);
    return NULL;
}

void sr_each(void (*work)(void *context, size_t item, size_t hand), void *context, size_t count,
             size_t threads)
{
    struct each each = {.work = work, .context = context, .count = count};
    pthread_t thread[HELPERS_MOST];
    const size_t most = threads < count ? threads : count;
    const size_t helpers = most > HELPERS_MOST ? HELPERS_MOST : most > 1 ? most - 1 : 0;

    if (helpers == 0 || pthread_mutex_init(&each.lock, NULL) != 0) {
        for (size_t i = 0; i < count; i++)
            work(context, i, 0);
        return;
    }
    each.step = count / (EACH_SHARES * (helpers + 1)) + 1;
    const size_t started = start(serve_each, &each, thread, helpers);
    serve_each(&each);
    for (size_t i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
    pthread_mutex_destroy(&each.lock);
}

size_t sr_ordered_threads(void)
{
    const long online = sysconf(_SC_NPROCESSORS_ONLN);

    return online < 1 ? 1 : online > THREADS_USUAL ? THREADS_USUAL : (size_t)online;
}
