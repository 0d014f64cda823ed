/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _XOPEN_SOURCE 700 /* realpath() is of the XSI part of POSIX */
#include "present/plot_file.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum sr_status cannot_write(const char *path, int error, struct sr_error *err)
{
    return sr_fail(err, error == ENOMEM ? SR_ERR_MEMORY : SR_ERR_WRITE, path, 0, "cannot write: %s",
                   error == ENOENT ? "there is no such folder" : strerror(error));
}

/* 0, or the errno. */
static int write_all(int fd, const char *data, size_t length)
{
    while (length > 0) {
        ssize_t n = write(fd, data, length);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return errno;
        if (n == 0)
            return EIO;
        data += n;
        length -= (size_t)n;
    }
    return 0;
}

static enum sr_status write_straight(const char *path, const char *data, size_t length, struct sr_error *err)
{
    int fd = open(path, O_WRONLY | O_CLOEXEC);

    if (fd < 0)
        return cannot_write(path, errno, err);
    int error = write_all(fd, data, length);
    if (close(fd) != 0 && error == 0)
        error = errno;
    return error == 0 ? SR_OK : cannot_write(path, error, err);
}

/*
 * A new file beside the target, under a name of this process; made with 0666 so that the user's mask holds as
 * for any other file. Returns its descriptor or -1 with errno.
 */
static int create_beside(const char *target, char *name, size_t size)
{
    for (int i = 0; i < 100; i++) {
        int n = snprintf(name, size, "%s.%ld-%d.part", target, (long)getpid(), i);
        if (n < 0 || (size_t)n >= size) {
            errno = ENAMETOOLONG;
            return -1;
        }
        int fd = open(name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST)
            return fd;
    }
    return -1;
}

static enum sr_status write_beside(const char *path, const char *target, const mode_t *mode, const char *data,
                                   size_t length, struct sr_error *err)
{
    char name[PATH_MAX];
    int fd = create_beside(target, name, sizeof name);

    if (fd < 0)
        return cannot_write(path, errno, err);
    int error = write_all(fd, data, length);
    if (error == 0 && mode != NULL && fchmod(fd, *mode & 07777) != 0)
        error = errno;
    if (error == 0 && fsync(fd) != 0)
        error = errno;
    if (close(fd) != 0 && error == 0)
        error = errno;
    if (error == 0 && rename(name, target) != 0)
        error = errno;
    if (error != 0) {
        unlink(name);
        return cannot_write(path, error, err);
    }
    return SR_OK;
}

enum sr_status sr_file_write(const char *path, const char *data, size_t length, struct sr_error *err)
{
    char target[PATH_MAX];
    struct stat there;

    if (path[0] == '\0' || path[strlen(path) - 1] == '/')
        return sr_fail(err, SR_ERR_WRITE, path, 0, "cannot write: not the name of a file");
    if (stat(path, &there) != 0)
        return write_beside(path, path, NULL, data, length, err);
    if (S_ISDIR(there.st_mode))
        return cannot_write(path, EISDIR, err);
    if (!S_ISREG(there.st_mode))
        return write_straight(path, data, length, err);
    if (access(path, W_OK) != 0 || realpath(path, target) == NULL)
        return cannot_write(path, errno, err);
    return write_beside(path, target, &there.st_mode, data, length, err);
}
