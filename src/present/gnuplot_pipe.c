/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/gnuplot_pipe.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <spawn.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "present/plot_words.h"

extern char **environ;

enum { SCRIPT = 0, PICTURE, COMPLAINT, N_PIPES };

struct child {
    const char *program;
    pid_t pid;
    int ours[N_PIPES];   /* our ends, -1 once closed */
    int theirs[N_PIPES]; /* its ends, -1 once closed */
    double deadline_s;
    struct sr_bytes picture;
    size_t room; /* bytes that picture.data holds, the terminator not counted */
    char complaint[400];
    size_t complaint_length;
};

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void close_end(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

/* Above the standard streams, whatever of those the caller has closed, and closed in the child. */
static int lift(int fd)
{
    int lifted = fcntl(fd, F_DUPFD_CLOEXEC, STDERR_FILENO + 1);
    close(fd);
    return lifted;
}

static int open_pipes(struct child *child)
{
    for (int i = 0; i < N_PIPES; i++) {
        int ends[2];
        if (pipe(ends) != 0)
            return -1;
        int reader = lift(ends[0]);
        int writer = lift(ends[1]);
        child->ours[i] = i == SCRIPT ? writer : reader;
        child->theirs[i] = i == SCRIPT ? reader : writer;
        if (reader < 0 || writer < 0 || fcntl(child->ours[i], F_SETFL, O_NONBLOCK) != 0)
            return -1;
    }
    return 0;
}

/* Its own process group, so that a hung one is killed with whatever it started; signals as a program expects.
 */
static int set_attributes(posix_spawnattr_t *attributes)
{
    sigset_t none, pipe_only;

    sigemptyset(&none);
    sigemptyset(&pipe_only);
    sigaddset(&pipe_only, SIGPIPE);
    int error = posix_spawnattr_setpgroup(attributes, 0);
    if (error == 0)
        error = posix_spawnattr_setsigmask(attributes, &none);
    if (error == 0)
        error = posix_spawnattr_setsigdefault(attributes, &pipe_only);
    if (error == 0)
        error = posix_spawnattr_setflags(attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK |
                                                         POSIX_SPAWN_SETSIGDEF);
    return error;
}

static int spawn(struct child *child)
{
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attributes;
    char name[] = "gnuplot", no_defaults[] = "-d", from_stdin[] = "-";
    char *argv[] = {name, no_defaults, from_stdin, NULL};

    int error = posix_spawn_file_actions_init(&actions);
    if (error != 0)
        return error;
    error = posix_spawnattr_init(&attributes);
    if (error != 0)
        goto actions;
    error = set_attributes(&attributes);
    for (int i = 0; i < N_PIPES && error == 0; i++)
        error = posix_spawn_file_actions_adddup2(&actions, child->theirs[i], i);
    if (error == 0)
        error = posix_spawnp(&child->pid, child->program, &actions, &attributes, argv, environ);
    posix_spawnattr_destroy(&attributes);
actions:
    posix_spawn_file_actions_destroy(&actions);
    return error;
}

static enum sr_status not_started(const struct child *child, int error, struct sr_error *err)
{
    if (error == ENOMEM)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory to start %s", child->program);
    if (error == ENOENT)
        return sr_fail(err, SR_ERR_PLOT, NULL, 0,
                       "%s is not installed or not on PATH: install the package gnuplot", child->program);
    return sr_fail(err, SR_ERR_PLOT, NULL, 0, "cannot start %s: %s", child->program, strerror(error));
}

/*
 * A child that dies early breaks the pipe. The signal of that write is held back
 * in this thread and taken off it, so that neither the caller's disposition nor
 * other threads are touched.
 */
static ssize_t write_unsignalled(int fd, const char *data, size_t length)
{
    sigset_t pipe_only, before, pending;
    int signal_number;

    sigemptyset(&pipe_only);
    sigaddset(&pipe_only, SIGPIPE);
    sigpending(&pending);
    bool was_pending = sigismember(&pending, SIGPIPE) == 1;
    pthread_sigmask(SIG_BLOCK, &pipe_only, &before);
    ssize_t written = write(fd, data, length);
    int error = errno;
    if (written < 0 && error == EPIPE && !was_pending) {
        sigpending(&pending);
        if (sigismember(&pending, SIGPIPE) == 1)
            sigwait(&pipe_only, &signal_number);
    }
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    errno = error;
    return written;
}

static bool would_wait(int error)
{
    return error == EAGAIN || error == EWOULDBLOCK || error == EINTR;
}

/* A broken pipe is no error here: how the child ended tells more. */
static void feed(struct child *child, const char *script, size_t length, size_t *sent)
{
    ssize_t n = write_unsignalled(child->ours[SCRIPT], script + *sent, length - *sent);

    if (n > 0)
        *sent += (size_t)n;
    if (*sent == length || (n < 0 && !would_wait(errno)))
        close_end(&child->ours[SCRIPT]);
}

static enum sr_status make_room(struct child *child, size_t more, struct sr_error *err)
{
    if (child->picture.length + more > SR_PICTURE_MAX)
        return sr_fail(err, SR_ERR_PLOT, NULL, 0, "%s writes without end", child->program);
    if (child->picture.length + more <= child->room)
        return SR_OK;
    size_t room = child->room < 65536 ? 65536 : child->room * 2;
    while (room < child->picture.length + more)
        room *= 2;
    char *data = realloc(child->picture.data, room + 1);
    if (data == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a picture of %zu bytes", room);
    child->picture.data = data;
    child->room = room;
    return SR_OK;
}

static enum sr_status collect_picture(struct child *child, struct sr_error *err)
{
    enum { CHUNK = 65536 };
    enum sr_status status = make_room(child, CHUNK, err);

    if (status != SR_OK)
        return status;
    ssize_t n = read(child->ours[PICTURE], child->picture.data + child->picture.length, CHUNK);
    if (n > 0)
        child->picture.length += (size_t)n;
    else if (n == 0 || !would_wait(errno))
        close_end(&child->ours[PICTURE]);
    return SR_OK;
}

/* The start of what it says is kept, the rest is read and dropped so that it is not held up. */
static void collect_complaint(struct child *child)
{
    char chunk[4096];
    ssize_t n = read(child->ours[COMPLAINT], chunk, sizeof chunk);

    if (n == 0 || (n < 0 && !would_wait(errno)))
        close_end(&child->ours[COMPLAINT]);
    for (ssize_t i = 0; i < n && child->complaint_length + 1 < sizeof child->complaint; i++)
        child->complaint[child->complaint_length++] = chunk[i] != '\0' ? chunk[i] : ' ';
    child->complaint[child->complaint_length] = '\0';
}

static enum sr_status hung(const struct child *child, double timeout_s, struct sr_error *err)
{
    return sr_fail(err, SR_ERR_PLOT, NULL, 0, "%s did not finish within %.3g s and was stopped",
                   child->program, timeout_s);
}

/* Both ways at once until the child has closed its ends: neither side can block the other. */
static enum sr_status converse(struct child *child, const char *script, size_t length, double timeout_s,
                               struct sr_error *err)
{
    size_t sent = 0;

    if (length == 0)
        close_end(&child->ours[SCRIPT]);
    while (child->ours[PICTURE] >= 0 || child->ours[COMPLAINT] >= 0) {
        struct pollfd fds[N_PIPES];
        for (int i = 0; i < N_PIPES; i++) {
            fds[i].fd = child->ours[i]; /* poll leaves a negative one alone */
            fds[i].events = i == SCRIPT ? POLLOUT : POLLIN;
            fds[i].revents = 0;
        }
        double left_s = child->deadline_s - now_s();
        if (left_s <= 0)
            return hung(child, timeout_s, err);
        int ready = poll(fds, N_PIPES, (int)fmin(ceil(left_s * 1e3), 1e6));
        if (ready < 0 && errno != EINTR)
            return sr_fail(err, SR_ERR_PLOT, NULL, 0, "cannot talk to %s: %s", child->program,
                           strerror(errno));
        if (ready <= 0)
            continue;
        if (fds[SCRIPT].revents != 0)
            feed(child, script, length, &sent);
        if (fds[COMPLAINT].revents != 0)
            collect_complaint(child);
        if (fds[PICTURE].revents != 0) {
            enum sr_status status = collect_picture(child, err);
            if (status != SR_OK)
                return status;
        }
    }
    return SR_OK;
}

/* 1: it ended, *how is set; 0: it still runs; -1: nobody knows any more. */
static int has_ended(const struct child *child, int *how)
{
    pid_t pid;

    do {
        pid = waitpid(child->pid, how, WNOHANG);
    } while (pid < 0 && errno == EINTR);
    return pid < 0 ? -1 : pid == child->pid;
}

/* It closed its output, so it is about to end; a program that does not is hung as well. */
static enum sr_status await_end(struct child *child, double timeout_s, int *how, struct sr_error *err)
{
    const struct timespec moment = {0, 2000000};
    int ended;

    close_end(&child->ours[SCRIPT]);
    while ((ended = has_ended(child, how)) == 0) {
        if (now_s() >= child->deadline_s)
            return hung(child, timeout_s, err);
        nanosleep(&moment, NULL);
    }
    child->pid = -1;
    if (ended < 0)
        *how = 0; /* the caller lets the system reap its children: the picture itself is checked */
    return SR_OK;
}

/* The first line that says something; gnuplot puts a copy of the bad line and a caret before it. */
static void first_complaint(const struct child *child, char *line, size_t size)
{
    const char *from = child->complaint;
    char raw[sizeof child->complaint];

    line[0] = '\0';
    while (*from != '\0' && line[0] == '\0') {
        size_t n = strcspn(from, "\n");
        memcpy(raw, from, n);
        raw[n] = '\0';
        if (raw[strspn(raw, " ^\t")] != '\0')
            sr_words_clean(raw + strspn(raw, " \t"), 160, line, size);
        from += n + (from[n] == '\n');
    }
}

static enum sr_status judge(const struct child *child, int how, struct sr_error *err)
{
    char line[200];

    first_complaint(child, line, sizeof line);
    const char *colon = line[0] != '\0' ? ": " : "";
    if (WIFSIGNALED(how))
        return sr_fail(err, SR_ERR_PLOT, NULL, 0, "%s was killed by signal %d%s%s", child->program,
                       WTERMSIG(how), colon, line);
    /* Where the start itself cannot report it, a program that cannot be run ends like this. */
    if (WIFEXITED(how) && WEXITSTATUS(how) == 127 && child->picture.length == 0 && line[0] == '\0')
        return not_started(
            child, strchr(child->program, '/') != NULL && access(child->program, F_OK) == 0 ? EACCES : ENOENT,
            err);
    if (WIFEXITED(how) && WEXITSTATUS(how) != 0)
        return sr_fail(err, SR_ERR_PLOT, NULL, 0, "%s failed with exit status %d%s%s", child->program,
                       WEXITSTATUS(how), colon, line);
    if (child->picture.length == 0)
        return sr_fail(err, SR_ERR_PLOT, NULL, 0, "%s drew nothing%s%s", child->program, colon, line);
    return SR_OK;
}

/* The whole group: what a hung program started would go on otherwise. */
static void stop(struct child *child)
{
    if (child->pid <= 0)
        return;
    kill(-child->pid, SIGKILL);
    kill(child->pid, SIGKILL);
    while (waitpid(child->pid, NULL, 0) < 0 && errno == EINTR)
        ;
    child->pid = -1;
}

static enum sr_status start(struct child *child, struct sr_error *err)
{
    if (open_pipes(child) != 0)
        return sr_fail(err, SR_ERR_PLOT, NULL, 0, "cannot make a pipe to %s: %s", child->program,
                       strerror(errno));
    int error = spawn(child);
    if (error != 0) {
        child->pid = -1;
        return not_started(child, error, err);
    }
    for (int i = 0; i < N_PIPES; i++)
        close_end(&child->theirs[i]);
    return SR_OK;
}

enum sr_status sr_gnuplot_run(const char *program, const char *script, size_t length, double timeout_s,
                              struct sr_bytes *picture, struct sr_error *err)
{
    struct child child = {.program = program != NULL ? program : "gnuplot", .pid = -1};
    int how = 0;

    for (int i = 0; i < N_PIPES; i++)
        child.ours[i] = child.theirs[i] = -1;
    child.deadline_s = now_s() + timeout_s;
    enum sr_status status = start(&child, err);
    if (status == SR_OK)
        status = converse(&child, script, length, timeout_s, err);
    if (status == SR_OK)
        status = await_end(&child, timeout_s, &how, err);
    stop(&child);
    if (status == SR_OK)
        status = judge(&child, how, err);
    for (int i = 0; i < N_PIPES; i++) {
        close_end(&child.ours[i]);
        close_end(&child.theirs[i]);
    }
    if (status != SR_OK || child.picture.data == NULL) {
        free(child.picture.data);
        return status;
    }
    child.picture.data[child.picture.length] = '\0';
    *picture = child.picture;
    return SR_OK;
}
