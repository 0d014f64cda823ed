/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifdef __linux__
#define _GNU_SOURCE /* on which processor a thread starts is no part of POSIX */
#endif
#include "support/ordered.h"

#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <unistd.h>

#define THREADS_USUAL 8
#define EACH_SHARES   8    /* that the items of a thread are taken in: more would share them out better */
#define LOOKS         4000 /* at what another thread does, some 40 to 200 us, before it is waited for asleep */
#define HELPERS_MOST  63   /* of sr_each(), whose threads need no memory from the heap */

/* Between two looks: tells the processor that nothing else is to be done. */
static inline void relax(void)
{
#if defined(__x86_64__) || defined(__i386__)
    __builtin_ia32_pause();
#endif
}

/* Items are numbered as they are taken; item i is in slot i % slots. */
struct run {
    const struct sr_ordered *of;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    atomic_uint changes; /* so far, for those that look without the lock */
    uint64_t taken;      /* items so far */
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
    atomic_fetch_add_explicit(&run->changes, 1, memory_order_relaxed);
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

/*
 * Wait until something changed. Mostly that takes some 30 us, until another thread has taken its item: who
 * slept for that would be woken on the other's processor, and wait for it there. Called and left with
 * the lock held.
 */
static void wait_for_change(struct run *run)
{
    const unsigned before = atomic_load_explicit(&run->changes, memory_order_relaxed);

    pthread_mutex_unlock(&run->lock);
    for (int look = 0; look < LOOKS; look++) {
        if (atomic_load_explicit(&run->changes, memory_order_relaxed) != before)
            break;
        relax();
    }
    pthread_mutex_lock(&run->lock);
    if (atomic_load_explicit(&run->changes, memory_order_relaxed) == before)
        pthread_cond_wait(&run->changed, &run->lock);
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
            wait_for_change(run);
    }
    pthread_mutex_unlock(&run->lock);
    return NULL;
}

/* What threads are started with; stays until they have ended. */
struct starting {
    void *(*body)(void *context);
    void *context;
#ifdef __GLIBC__
    cpu_set_t allowed; /* processors, of the caller */
#endif
};

#ifdef __GLIBC__

/*
 * A thread may be started on the processor of the one that starts it and then wait there for a few ms
 * beside an idle one, which is most of what some of them are for (seen for one start in eight). So it is
 * started on another; from then on it may be moved to any.
 */
static bool elsewhere(struct starting *starting, pthread_attr_t *attributes)
{
    const int here = sched_getcpu();
    cpu_set_t others;

    if (here < 0 || here >= CPU_SETSIZE ||
        sched_getaffinity(0, sizeof starting->allowed, &starting->allowed) != 0 ||
        pthread_attr_init(attributes) != 0)
        return false;
    others = starting->allowed;
    CPU_CLR((size_t)here, &others);
    if (CPU_COUNT(&others) > 0 && pthread_attr_setaffinity_np(attributes, sizeof others, &others) == 0)
        return true;
    pthread_attr_destroy(attributes);
    return false;
}

static void *run_anywhere(void *context)
{
    const struct starting *starting = context;

    (void)sched_setaffinity(0, sizeof starting->allowed, &starting->allowed);
    return starting->body(starting->context);
}

#else

static bool elsewhere(struct starting *starting, pthread_attr_t *attributes)
{
    (void)starting;
    (void)attributes;
    return false;
}

static void *run_anywhere(void *context)
{
    const struct starting *starting = context;

    return starting->body(starting->context);
}

#endif

/* Start up to `count` threads; returns how many there are. */
static size_t start(struct starting *starting, pthread_t *thread, size_t count)
{
    sigset_t all, before;
    pthread_attr_t attributes;
    size_t started = 0;

    sigfillset(&all);
    if (count == 0 || pthread_sigmask(SIG_SETMASK, &all, &before) != 0)
        return 0;
    const bool placed = elsewhere(starting, &attributes);
    while (started < count &&
           ((placed && pthread_create(&thread[started], &attributes, run_anywhere, starting) == 0) ||
            pthread_create(&thread[started], NULL, starting->body, starting->context) == 0))
        started++;
    if (placed)
        pthread_attr_destroy(&attributes);
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
    struct starting starting = {.body = serve, .context = &run};
    const size_t started = thread != NULL ? start(&starting, thread, helpers) : 0;
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
    struct starting starting = {.body = serve_each, .context = &each};
    const size_t started = start(&starting, thread, helpers);
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
