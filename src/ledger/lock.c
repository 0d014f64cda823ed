/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A ledger's lock, on a file beside it.
 *
 * A lock of the open file description keeps apart programs, and threads of one program, since each opens the
 * file for itself. Classic record locks of fcntl() belong to the process: threads share them, and lose them
 * as soon as any of them closes the file. Where a system knows no other, a mutex is taken first and given
 * back last, so that no thread closes the file while another has the lock.
 */
#define _GNU_SOURCE /* F_OFD_SETLK */
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "private.h"

#define LOCK_STEP_NS 2000000L

/* Taken only where record locks have to do; it remembers nothing from one change to the next. */
static pthread_mutex_t turns = PTHREAD_MUTEX_INITIALIZER;

/* The lock file stays: taking it away while another waits for it would give both the lock. */
static enum sr_status open_lock(struct target *target, const struct stat *info, struct sr_error *err)
{
    char *name = target_beside(target, ".lock");
    if (name == NULL)
        return sr_fail(err, SR_ERR_MEMORY, target->path, 0, "out of memory for the ledger's name");
    target->lock = open(name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
    int why = errno;
    free(name);
    if (target->lock < 0)
        return sr_fail(err, SR_ERR_WRITE, target->path, 0, "cannot make its lock file: %s", strerror(why));
    /* Whoever may write the ledger may lock it. Only the lock's owner can see to that. */
    if (target->exists)
        (void)fchmod(target->lock, info->st_mode & 0666);
    return SR_OK;
}

static double elapsed_s(const struct timespec *since)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - since->tv_sec) + 1e-9 * (double)(now.tv_nsec - since->tv_nsec);
}

/* Once around: 0, or errno's why. */
static int try_lock(struct target *target)
{
    struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};

#ifdef F_OFD_SETLK
    if (!target->by_turns) {
        if (fcntl(target->lock, F_OFD_SETLK, &whole) == 0)
            return 0;
        if (errno != EINVAL) /* so says a system that does not know it */
            return errno;
    }
#endif
    target->by_turns = true;
    if (!target->has_turn && pthread_mutex_trylock(&turns) != 0)
        return EAGAIN;
    target->has_turn = true;
    return fcntl(target->lock, F_SETLK, &whole) == 0 ? 0 : errno;
}

static enum sr_status wait_for_lock(struct target *target, double wait_s, struct sr_error *err)
{
    const struct timespec step = {0, LOCK_STEP_NS};
    struct timespec start;

    clock_gettime(CLOCK_MONOTONIC, &start);
    for (int why; (why = try_lock(target)) != 0;) {
        if (why != EACCES && why != EAGAIN && why != EINTR)
            return sr_fail(err, SR_ERR_LOCK, target->path, 0, "cannot lock the ledger: %s", strerror(why));
        if (elapsed_s(&start) >= wait_s)
            return sr_fail(err, SR_ERR_LOCK, target->path, 0,
                           "another program has held the ledger for %g s; try again", wait_s);
        nanosleep(&step, NULL);
    }
    return SR_OK;
}

enum sr_status lock_take(struct target *target, const struct stat *info, double wait_s, struct sr_error *err)
{
    enum sr_status status = open_lock(target, info, err);
    return status == SR_OK ? wait_for_lock(target, wait_s, err) : status;
}

void lock_leave(struct target *target)
{
    if (target->lock < 0)
        return;
#ifdef F_OFD_SETLK
    /* Closing would not do if the program has forked meanwhile: the child has the file open as well. */
    struct flock whole = {.l_type = F_UNLCK, .l_whence = SEEK_SET};
    if (!target->by_turns)
        (void)fcntl(target->lock, F_OFD_SETLK, &whole);
#endif
    if (target->by_turns && !target->has_turn)
        target->has_turn = pthread_mutex_lock(&turns) == 0;
    close(target->lock);
    target->lock = -1;
    if (target->has_turn)
        pthread_mutex_unlock(&turns);
    target->has_turn = false;
}
