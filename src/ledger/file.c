/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes in and out: reading whole, locking, and replacing a file in one step. */
#define _XOPEN_SOURCE 700 /* realpath() */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "private.h"

#define LOCK_WAIT_S  30
#define LOCK_STEP_NS 5000000L

void bytes_add(struct bytes *b, const char *data, size_t size)
{
    if (b->failed)
        return;
    if (size > SIZE_MAX / 2 - b->size) {
        b->failed = true;
        return;
    }
    if (b->size + size > b->room) {
        size_t room = b->room > 0 ? b->room : 4096;
        while (room < b->size + size)
            room *= 2;
        char *grown = realloc(b->data, room);
        if (grown == NULL) {
            b->failed = true;
            return;
        }
        b->data = grown;
        b->room = room;
    }
    if (size > 0)
        memcpy(b->data + b->size, data, size);
    b->size += size;
}

void bytes_add_text(struct bytes *b, const char *text)
{
    bytes_add(b, text, strlen(text));
}

void bytes_add_cell(struct bytes *b, const char *text)
{
    /* Blanks at an end would be trimmed by a reader, so they are quoted too. */
    size_t length = strlen(text);
    bool quote = strpbrk(text, ",\"\r\n") != NULL ||
                 (length > 0 && (text[0] == ' ' || text[length - 1] == ' ' || text[0] == '\t'));
    if (!quote) {
        bytes_add(b, text, length);
        return;
    }
    bytes_add(b, "\"", 1);
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '"')
            bytes_add(b, "\"", 1);
        bytes_add(b, c, 1);
    }
    bytes_add(b, "\"", 1);
}

void bytes_release(struct bytes *b)
{
    free(b->data);
    memset(b, 0, sizeof *b);
}

enum sr_status bytes_read(struct bytes *b, const char *path, bool *missing, struct sr_error *err)
{
    char block[65536];
    FILE *in = fopen(path, "rb");

    if (missing != NULL)
        *missing = in == NULL && errno == ENOENT;
    if (in == NULL)
        return sr_fail(err, SR_ERR_OPEN, path, 0, "cannot open the ledger: %s", strerror(errno));
    for (size_t n; (n = fread(block, 1, sizeof block, in)) > 0;)
        bytes_add(b, block, n);
    enum sr_status status = SR_OK;
    if (ferror(in))
        status = sr_fail(err, SR_ERR_READ, path, 0, "cannot read the ledger: %s", strerror(errno));
    else if (b->failed)
        status = sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    fclose(in);
    return status;
}

/* The file that a ledger's name stands for: behind symbolic links, so that a link is not replaced by a file.
 */
static char *real_name(const char *path)
{
    char *real = realpath(path, NULL);
    return real != NULL ? real : strdup(path);
}

static char *join(const char *path, const char *suffix)
{
    size_t size = strlen(path) + strlen(suffix) + 1;
    char *text = malloc(size);
    if (text != NULL)
        snprintf(text, size, "%s%s", path, suffix);
    return text;
}

enum sr_status lock_take(struct lock *lock, const char *path, struct sr_error *err)
{
    char *real = real_name(path), *name = real != NULL ? join(real, ".lock") : NULL;
    free(real);
    if (name == NULL)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory");

    /* The lock file stays: taking it away while another waits for it would give both the lock. */
    lock->fd = open(name, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
    if (lock->fd < 0) {
        enum sr_status status =
            sr_fail(err, SR_ERR_WRITE, name, 0, "cannot make the ledger's lock file: %s", strerror(errno));
        free(name);
        return status;
    }
    free(name);

    struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
    const struct timespec step = {0, LOCK_STEP_NS};
    struct timespec start, now;
    clock_gettime(CLOCK_MONOTONIC, &start);
    while (fcntl(lock->fd, F_SETLK, &whole) != 0) {
        if (errno != EACCES && errno != EAGAIN && errno != EINTR) {
            int why = errno;
            lock_leave(lock);
            return sr_fail(err, SR_ERR_LOCK, path, 0, "cannot lock the ledger: %s", strerror(why));
        }
        clock_gettime(CLOCK_MONOTONIC, &now);
        if (now.tv_sec - start.tv_sec >= LOCK_WAIT_S) {
            lock_leave(lock);
            return sr_fail(err, SR_ERR_LOCK, path, 0,
                           "another program has held the ledger for %d s; try again", LOCK_WAIT_S);
        }
        nanosleep(&step, NULL);
    }
    return SR_OK;
}

void lock_leave(struct lock *lock)
{
    if (lock->fd >= 0)
        close(lock->fd);
    lock->fd = -1;
}

static bool write_all(int fd, const char *data, size_t size)
{
    while (size > 0) {
        ssize_t n = write(fd, data, size);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0) {
            if (n == 0)
                errno = ENOSPC;
            return false;
        }
        data += n;
        size -= (size_t)n;
    }
    return true;
}

/* A rename is on the disk once its folder is. Not every file system can flush a folder: that is no failure.
 */
static void flush_folder(const char *path)
{
    char *folder = strdup(path);
    if (folder == NULL)
        return;
    char *slash = strrchr(folder, '/');
    if (slash == folder)
        slash++;
    if (slash != NULL)
        *slash = '\0';
    int fd = open(slash != NULL ? folder : ".", O_RDONLY | O_CLOEXEC);
    if (fd >= 0) {
        (void)fsync(fd);
        close(fd);
    }
    free(folder);
}

/*
 * A new file beside `real`. Whoever holds the lock is the only one to make it, so a file
 * of that name is what a killed program left behind.
 */
static int open_beside(const char *beside)
{
    (void)unlink(beside);
    return open(beside, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
}

static bool same_rights(int fd, const char *real)
{
    struct stat st;
    return stat(real, &st) != 0 || fchmod(fd, st.st_mode & 0777) == 0;
}

static enum sr_status replace_real(const char *real, const struct bytes *b, struct sr_error *err)
{
    char *beside = join(real, ".new");
    if (beside == NULL)
        return sr_fail(err, SR_ERR_MEMORY, real, 0, "out of memory");
    int fd = open_beside(beside);
    bool fine = fd >= 0 && same_rights(fd, real) && write_all(fd, b->data, b->size) && fsync(fd) == 0;
    int why = errno;
    if (fd >= 0 && close(fd) != 0 && fine) {
        fine = false;
        why = errno;
    }
    if (fine && rename(beside, real) != 0) {
        fine = false;
        why = errno;
    }
    if (fine)
        flush_folder(real);
    else if (fd >= 0)
        (void)unlink(beside);
    free(beside);
    return fine ? SR_OK
                : sr_fail(err, SR_ERR_WRITE, real, 0, "cannot write the ledger, the old one is kept: %s",
                          strerror(why));
}

enum sr_status replace_file(const char *path, const struct bytes *b, struct sr_error *err)
{
    if (b->failed)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    char *real = real_name(path);
    if (real == NULL)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory");
    enum sr_status status = replace_real(real, b, err);
    free(real);
    return status;
}
