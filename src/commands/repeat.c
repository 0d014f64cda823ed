/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/repeat.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static bool is_plain(const char *word)
{
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-+.,:=/@%";
    return word[0] != '\0' && strspn(word, plain) == strlen(word);
}

/* As a shell reads it back: all is plain between single quotes, a single quote stands outside of them. */
static void put_word(FILE *out, const char *word)
{
    if (is_plain(word)) {
        fputs(word, out);
        return;
    }
    putc('\'', out);
    for (; *word != '\0'; word++)
        fputs(*word == '\'' ? "'\\''" : (char[]){*word, '\0'}, out);
    putc('\'', out);
}

static const char *without_folder(const char *word)
{
    const char *slash = strrchr(word, '/');
    return slash != NULL && slash[1] != '\0' && access(word, F_OK) == 0 ? slash + 1 : word;
}

/* "--rig=dir/heron.ini" keeps its name, and loses the folder of its value. */
static void put_argument(FILE *out, const char *argument)
{
    const char *equals = strncmp(argument, "--", 2) == 0 ? strchr(argument, '=') : NULL;

    putc(' ', out);
    if (equals == NULL) {
        put_word(out, without_folder(argument));
        return;
    }
    fprintf(out, "%.*s", (int)(equals + 1 - argument), argument);
    put_word(out, without_folder(equals + 1));
}

/* How many arguments an option to be left out takes up from argv[i] on; 0 if it is none of those. */
static int left_out(char *const *argv, int i, int argc, const char *const *skip)
{
    for (; *skip != NULL; skip++) {
        size_t n = strlen(*skip);
        if (strncmp(argv[i], *skip, n) != 0)
            continue;
        if (argv[i][n] == '\0')
            return i + 1 < argc ? 2 : 1;
        if (argv[i][n] == '=' || (*skip)[1] != '-')
            return 1;
    }
    return 0;
}

char *repeat_command(int argc, char **argv, const char *const *skip)
{
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);

    if (out == NULL)
        return NULL;
    fprintf(out, "stillrow %s", argv[0]);
    for (int i = 1; i < argc;) {
        int n = left_out(argv, i, argc, skip);
        if (n == 0)
            put_argument(out, argv[i++]);
        i += n;
    }
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed) {
        free(text);
        return NULL;
    }
    return text;
}
