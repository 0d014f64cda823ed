/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * An empty directory that a test program works in, gone when it is done: group
 * set-up and tear-down for cmocka. What is in it is a test's own business. Include
 * after cmocka.h.
 */
#ifndef SUPPORT_ROOM_H
#define SUPPORT_ROOM_H

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct room {
    char name[64];
    int home; /* the directory the program was started in */
};

static inline int room_enter(void **state)
{
    struct room *room = calloc(1, sizeof *room);

    if (room == NULL)
        return -1;
    snprintf(room->name, sizeof room->name, "/tmp/stillrow-test.XXXXXX");
    room->home = open(".", O_RDONLY);
    if (room->home < 0 || mkdtemp(room->name) == NULL || chdir(room->name) != 0) {
        free(room);
        return -1;
    }
    *state = room;
    return 0;
}

/* Remove all files of the current directory; returns how many there were. */
static inline size_t room_clear(void)
{
    DIR *dir = opendir(".");
    size_t n = 0;

    if (dir == NULL)
        return 0;
    for (struct dirent *e = readdir(dir); e != NULL; e = readdir(dir))
        if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0 &&
            (unlink(e->d_name) == 0 || rmdir(e->d_name) == 0))
            n++;
    closedir(dir);
    return n;
}

/* Entries of the current directory. */
static inline size_t room_count(void)
{
    DIR *dir = opendir(".");
    size_t n = 0;

    if (dir == NULL)
        return 0;
    for (struct dirent *e = readdir(dir); e != NULL; e = readdir(dir))
        n += strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0;
    closedir(dir);
    return n;
}

static inline int room_leave(void **state)
{
    struct room *room = *state;

    room_clear();
    int failed = fchdir(room->home) != 0 || rmdir(room->name) != 0;
    close(room->home);
    free(room);
    return failed ? -1 : 0;
}

/* A whole file with a terminator; assert on failure. Free it. */
static inline char *room_read(const char *name, size_t *length)
{
    FILE *in = fopen(name, "rb");
    char *text = NULL;
    size_t n = 0, room = 0;

    assert_non_null(in);
    do {
        room += 1 << 20;
        char *more = realloc(text, room + 1);
        assert_non_null(more);
        text = more;
        n += fread(text + n, 1, room - n, in);
    } while (n == room);
    fclose(in);
    text[n] = '\0';
    if (length != NULL)
        *length = n;
    return text;
}

#endif
