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
#include <unistd.h>

#include "private.h"

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

static bool blank(char c)
{
    return c == ' ' || c == '\t';
}

/* A fingerprint of digits alone, or with one e among them: a spreadsheet keeps 15 digits of such a number. */
static bool is_number_print(const char *text)
{
    size_t digits = strspn(text, "0123456789");
    size_t e = digits > 0 && (text[digits] == 'e' || text[digits] == 'E') ? 1 : 0;
    size_t exponent = e > 0 ? strspn(text + digits + 1, "0123456789") : 0;
    size_t length = digits + e + exponent;

    return length == SR_FINGERPRINT_SIZE - 1 && text[length] == '\0' && (e == 0 || exponent > 0);
}

/* What a spreadsheet would take for a formula. A number is none, nor is a sign alone. */
static bool is_formula(const char *text)
{
    size_t number = strspn(text, "+-.,0123456789eE");
    return text[0] != '\0' && strchr("=+-@\t\r", text[0]) != NULL && text[1] != '\0' && text[number] != '\0';
}

bool cell_needs_guard(const char *text)
{
    return is_formula(text) || is_number_print(text);
}

static bool is_guarded(const char *text)
{
    size_t guards = strspn(text, "'");
    return guards > 0 && cell_needs_guard(text + guards);
}

const char *cell_unguarded(const char *text)
{
    return is_guarded(text) ? text + 1 : text;
}

bool cell_same(const char *a, const char *b)
{
    return strcmp(cell_unguarded(a), cell_unguarded(b)) == 0;
}

static void add_cell(struct bytes *b, char delimiter, bool guard, const char *text)
{
    /* Blanks at an end would be trimmed by a reader, so they are quoted too. */
    size_t length = strlen(text);
    bool quote = strchr(text, delimiter) != NULL || strpbrk(text, "\"\r\n") != NULL ||
                 (length > 0 && (blank(text[0]) || blank(text[length - 1])));
    if (!quote) {
        bytes_add(b, "'", guard ? 1 : 0);
        bytes_add(b, text, length);
        return;
    }
    bytes_add(b, guard ? "\"'" : "\"", guard ? 2 : 1);
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '"')
            bytes_add(b, "\"", 1);
        bytes_add(b, c, 1);
    }
    bytes_add(b, "\"", 1);
}

void bytes_add_text_cell(struct bytes *b, char delimiter, const char *text)
{
    add_cell(b, delimiter, is_guarded(text) || cell_needs_guard(text), text);
}

void bytes_add_cell(struct bytes *b, char delimiter, const char *text)
{
    add_cell(b, delimiter, cell_needs_guard(text), text);
}

void bytes_release(struct bytes *b)
{
    free(b->data);
    memset(b, 0, sizeof *b);
}

enum sr_status bytes_read(struct bytes *b, const char *path, const char *name, struct sr_error *err)
{
    char block[65536];
    FILE *in = fopen(path, "rb");

    if (in == NULL)
        return sr_fail(err, errno == ENOMEM ? SR_ERR_MEMORY : SR_ERR_OPEN, name, 0,
                       "cannot open the ledger: %s", strerror(errno));
    for (size_t n; (n = fread(block, 1, sizeof block, in)) > 0;)
        bytes_add(b, block, n);
    enum sr_status status = SR_OK;
    if (ferror(in))
        status = sr_fail(err, SR_ERR_READ, name, 0, "cannot read the ledger: %s", strerror(errno));
    else if (b->failed)
        status = sr_fail(err, SR_ERR_MEMORY, name, 0, "out of memory for the ledger");
    fclose(in);
    return status;
}

char *target_beside(const struct target *target, const char *suffix)
{
    size_t size = strlen(target->real) + strlen(suffix) + 1;
    char *text = malloc(size);
    if (text != NULL)
        snprintf(text, size, "%s%s", target->real, suffix);
    return text;
}

static enum sr_status no_memory(const char *path, struct sr_error *err)
{
    return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger's name");
}

/* The file a name stands for; a link is not replaced by a file. */
static enum sr_status find_real(struct target *target, struct stat *info, struct sr_error *err)
{
    if (target->path[0] == '\0')
        return sr_fail(err, SR_ERR_OPEN, NULL, 0, "a ledger needs a name");
    target->real = realpath(target->path, NULL);
    target->exists = target->real != NULL;
    if (!target->exists) {
        if (errno == ENOMEM)
            return no_memory(target->path, err);
        if (errno != ENOENT)
            return sr_fail(err, SR_ERR_OPEN, target->path, 0, "cannot open the ledger: %s", strerror(errno));
        if (lstat(target->path, info) == 0)
            return sr_fail(err, SR_ERR_OPEN, target->path, 0, "is a symbolic link to nothing");
        target->real = strdup(target->path);
        return target->real != NULL ? SR_OK : no_memory(target->path, err);
    }
    if (stat(target->real, info) != 0)
        return sr_fail(err, SR_ERR_OPEN, target->path, 0, "cannot open the ledger: %s", strerror(errno));
    if (!S_ISREG(info->st_mode))
        return sr_fail(err, SR_ERR_WRITE, target->path, 0, "is not a regular file");
    /* The folder's rights would let a rename replace it; the file's own say no. */
    if ((info->st_mode & (S_IWUSR | S_IWGRP | S_IWOTH)) == 0 || access(target->real, W_OK) != 0)
        return sr_fail(err, SR_ERR_WRITE, target->path, 0, "is read-only");
    return SR_OK;
}

enum sr_status target_take(struct target *target, const char *path, double wait_s, struct sr_error *err)
{
    struct stat info = {0};

    *target = (struct target){.path = path, .lock = -1};
    enum sr_status status = find_real(target, &info, err);
    if (status == SR_OK)
        status = lock_take(target, &info, wait_s, err);
    /* Another program may have made the ledger while this one waited. */
    if (status == SR_OK)
        target->exists = stat(target->real, &info) == 0;
    return status;
}

void target_leave(struct target *target)
{
    lock_leave(target);
    free(target->real);
    target->real = NULL;
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

/* Rights and, where allowed, the owner of the old file. */
static bool dress(int fd, const struct target *target)
{
    struct stat info = {0};

    if (!target->exists || stat(target->real, &info) != 0)
        return true;
    bool same = info.st_uid == geteuid() && info.st_gid == getegid();
    if (!same && fchown(fd, info.st_uid, info.st_gid) != 0 && errno != EPERM)
        return false;
    return fchmod(fd, info.st_mode & 07777) == 0;
}

enum sr_status target_replace(const struct target *target, const struct bytes *b, struct sr_error *err)
{
    if (b->failed)
        return sr_fail(err, SR_ERR_MEMORY, target->path, 0, "out of memory for the ledger");
    char *beside = target_beside(target, ".stillrow-new");
    if (beside == NULL)
        return no_memory(target->path, err);

    /* Whoever holds the lock is the only one to make it: a file of that name was left by a killed program. */
    (void)unlink(beside);
    int fd = open(beside, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    bool fine = fd >= 0 && dress(fd, target) && write_all(fd, b->data, b->size) && fsync(fd) == 0;
    int why = errno;
    if (fd >= 0 && close(fd) != 0 && fine) {
        fine = false;
        why = errno;
    }
    if (fine && rename(beside, target->real) != 0) {
        fine = false;
        why = errno;
    }
    if (fine)
        flush_folder(target->real);
    else if (fd >= 0)
        (void)unlink(beside);
    free(beside);
    return fine ? SR_OK
                : sr_fail(err, SR_ERR_WRITE, target->path, 0, "cannot write, the old ledger is kept: %s",
                          strerror(why));
}
