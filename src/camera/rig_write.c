/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Write one number into a rig file a person keeps: every other byte stays, and
 * whoever reads the file meets the old text or the new one, never half of either.
 */
#define _XOPEN_SOURCE 700 /* realpath() */

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "camera/rig_private.h"
#include "support/plain_locale.h"

/* The new text: three pieces of the old one with something between them. */
struct edit {
    const char *head;
    size_t head_length;
    char middle[96];
    const char *tail;
};

/* What is there now. */
struct target {
    char *path; /* with symbolic links resolved */
    bool exists;
    struct stat info;
};

/* The line's first word is the key `px`, and a '=' or ':' follows. Returns the value's place, NULL if not. */
static const char *value_of_px(const char *line)
{
    line += strspn(line, RIG_BLANKS);
    if (strncmp(line, "px", 2) != 0)
        return NULL;
    line += 2 + strspn(line + 2, RIG_BLANKS);
    if (*line != '=' && *line != ':')
        return NULL;
    return line + 1 + strspn(line + 1, RIG_BLANKS);
}

static bool opens_threshold(const char *line)
{
    line += strspn(line, RIG_BLANKS) + 1;
    line += strspn(line, RIG_BLANKS);
    if (strncmp(line, "threshold", 9) != 0)
        return false;
    return line[9 + strspn(line + 9, RIG_BLANKS)] == ']';
}

static const char *line_end(const char *line)
{
    line += strcspn(line, "\n");
    return *line == '\n' ? line + 1 : line;
}

/* End of the value that starts here: before a comment, blanks or the end of the line. */
static const char *value_end(const char *value)
{
    const char *end = value;
    for (const char *c = value; *c != '\0' && *c != '\n'; c++) {
        if (*c == ';' && c > value && rig_is_blank(c[-1]))
            break;
        if (!rig_is_blank(*c))
            end = c + 1;
    }
    return end;
}

/* Where the number goes, and with what around it. `text` is a valid rig file. */
static void plan(const char *text, double threshold_px, struct edit *edit)
{
    const char *const start = rig_behind_mark(text);
    const bool crlf = strstr(text, "\r\n") != NULL;
    const char *const newline = crlf ? "\r\n" : "\n";
    const char *place = NULL; /* behind the last line of [threshold] that says something */
    bool inside = false;
    for (const char *line = start; *line != '\0'; line = line_end(line)) {
        const char first = line[strspn(line, RIG_BLANKS)];
        if (first == '[')
            inside = opens_threshold(line);
        const char *const value = inside ? value_of_px(line) : NULL;
        if (value != NULL) {
            edit->head = text;
            edit->head_length = (size_t)(value - text);
            snprintf(edit->middle, sizeof edit->middle, "%.6g", threshold_px);
            edit->tail = value_end(value);
            return;
        }
        if (inside && first != '\n' && first != '\0' && first != ';' && first != '#')
            place = line_end(line);
    }
    const bool new_section = place == NULL;
    if (new_section)
        place = start + strlen(start);
    edit->head = text;
    edit->head_length = (size_t)(place - text);
    edit->tail = place;
    const char *const close = place > start && place[-1] != '\n' ? newline : "";
    const char *const gap = new_section && place > start ? newline : "";
    snprintf(edit->middle, sizeof edit->middle, "%s%s%s%spx = %.6g%s", close, gap,
             new_section ? "[threshold]" : "", new_section ? newline : "", threshold_px, newline);
}

/* Look at what stands at `path`; refuse what must not be replaced. */
static enum sr_status find_target(const char *path, struct target *target, struct sr_error *err)
{
    target->path = realpath(path, NULL);
    target->exists = target->path != NULL;
    if (!target->exists) {
        if (errno != ENOENT)
            return sr_fail(err, SR_ERR_OPEN, path, 0, "cannot open: %s", strerror(errno));
        if (lstat(path, &target->info) == 0)
            return sr_fail(err, SR_ERR_OPEN, path, 0, "is a symbolic link to nothing");
        target->path = strdup(path);
        if (target->path == NULL)
            return sr_fail(err, SR_ERR_MEMORY, path, 0, "no memory for a file name");
        return SR_OK;
    }
    if (stat(target->path, &target->info) != 0)
        return sr_fail(err, SR_ERR_OPEN, path, 0, "cannot open: %s", strerror(errno));
    if (!S_ISREG(target->info.st_mode))
        return sr_fail(err, SR_ERR_WRITE, path, 0, "is not a regular file");
    /* The folder's permissions would let a rename replace it; the file's own say no. */
    if ((target->info.st_mode & (S_IWUSR | S_IWGRP | S_IWOTH)) == 0 || access(target->path, W_OK) != 0)
        return sr_fail(err, SR_ERR_WRITE, path, 0, "is read-only");
    return SR_OK;
}

static bool write_all(int fd, const char *bytes, size_t count)
{
    while (count > 0) {
        const ssize_t n = write(fd, bytes, count);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return false;
        bytes += n;
        count -= (size_t)n;
    }
    return true;
}

/* A new file beside the target, its name in beside[size]; -1 on failure. */
static int open_beside(const struct target *target, char *beside, size_t size)
{
    for (int attempt = 0; attempt < 100; attempt++) {
        snprintf(beside, size, "%s.%ld-%d.tmp", target->path, (long)getpid(), attempt);
        const int fd = open(beside, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST)
            return fd;
    }
    return -1;
}

/* Permissions and, where allowed, owner of the old file. */
static bool dress(int fd, const struct target *target)
{
    if (!target->exists)
        return true;
    const bool same = target->info.st_uid == geteuid() && target->info.st_gid == getegid();
    if (!same && fchown(fd, target->info.st_uid, target->info.st_gid) != 0 && errno != EPERM)
        return false;
    return fchmod(fd, target->info.st_mode & 07777) == 0;
}

/* After a crash the name must lead to the new file too: flush the folder. */
static void flush_folder(const char *path)
{
    char *const folder = strdup(path);
    if (folder == NULL)
        return;
    char *const slash = strrchr(folder, '/');
    if (slash != NULL)
        slash[slash == folder ? 1 : 0] = '\0';
    const int fd = open(slash != NULL ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        fsync(fd); /* some file systems cannot; the rename itself has succeeded */
        close(fd);
    }
    free(folder);
}

static enum sr_status replace(const struct target *target, const char *path, const struct edit *edit,
                              struct sr_error *err)
{
    const size_t size = strlen(target->path) + 48;
    char *const beside = malloc(size);
    if (beside == NULL)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "no memory for a file name");
    enum sr_status status = SR_OK;
    const int fd = open_beside(target, beside, size);
    if (fd < 0) {
        status = sr_fail(err, SR_ERR_WRITE, path, 0, "cannot write beside it: %s", strerror(errno));
        free(beside);
        return status;
    }
    bool fine = write_all(fd, edit->head, edit->head_length) &&
                write_all(fd, edit->middle, strlen(edit->middle)) &&
                write_all(fd, edit->tail, strlen(edit->tail)) && dress(fd, target) && fsync(fd) == 0;
    int why = errno;
    if (close(fd) != 0 && fine) {
        fine = false;
        why = errno;
    }
    if (fine && rename(beside, target->path) != 0) {
        fine = false;
        why = errno;
    }
    if (!fine) {
        unlink(beside);
        status = sr_fail(err, SR_ERR_WRITE, path, 0, "cannot write: %s", strerror(why));
    } else {
        flush_folder(target->path);
    }
    free(beside);
    return status;
}

/* The old text, "" for a new file; it must be a rig, so that no other file is edited by mistake. */
static enum sr_status old_text(const struct target *target, const char *path, char **text,
                               struct sr_error *err)
{
    if (!target->exists) {
        *text = calloc(1, 1);
        return *text != NULL ? SR_OK : sr_fail(err, SR_ERR_MEMORY, path, 0, "no memory for a rig file");
    }
    enum sr_status status = rig_load(target->path, path, text, err);
    if (status != SR_OK)
        return status;
    struct sr_rig rig;
    sr_rig_init(&rig);
    status = rig_parse(&rig, rig_behind_mark(*text), path, err);
    if (status != SR_OK) {
        free(*text);
        *text = NULL;
    }
    return status;
}

static enum sr_status write_plainly(const char *path, double threshold_px, struct sr_error *err)
{
    const struct sr_rig_key *const key = &rig_targets[rig_target_find("threshold", "px")].key;
    if (!(threshold_px > key->low && threshold_px <= key->high))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "threshold %g is not above %g and up to %g px",
                       threshold_px, key->low, key->high);
    struct target target = {.path = NULL};
    struct edit edit;
    char *text = NULL;
    enum sr_status status = find_target(path, &target, err);
    if (status == SR_OK)
        status = old_text(&target, path, &text, err);
    if (status == SR_OK) {
        plan(text, threshold_px, &edit);
        status = replace(&target, path, &edit, err);
    }
    free(text);
    free(target.path);
    return status;
}

enum sr_status sr_rig_write_threshold(const char *path, double threshold_px, struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = write_plainly(path, threshold_px, err);
    sr_plain_end(&locale);
    return status;
}
