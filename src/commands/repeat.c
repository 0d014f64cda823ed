/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/repeat.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL && slash[1] != '\0' ? slash + 1 : path;
}

/* "--rig=dir/heron.ini" keeps its name, and loses the folder of its value. */
static void put_argument(FILE *out, const char *argument)
{
    const char *equals = strncmp(argument, "--", 2) == 0 ? strchr(argument, '=') : NULL;

    putc(' ', out);
    if (equals == NULL) {
        put_word(out, last_part(argument));
        return;
    }
    fprintf(out, "%.*s", (int)(equals + 1 - argument), argument);
    put_word(out, last_part(equals + 1));
}

char *repeat_command(int argc, char **argv, const char *skip)
{
    char *text = NULL;
    size_t size = 0, length = skip != NULL ? strlen(skip) : 0;
    FILE *out = open_memstream(&text, &size);

    if (out == NULL)
        return NULL;
    fprintf(out, "stillrow %s", argv[0]);
    for (int i = 1; i < argc; i++) {
        if (length > 0 && strncmp(argv[i], "--", 2) == 0 && strncmp(argv[i] + 2, skip, length) == 0) {
            i += argv[i][2 + length] == '\0';
            continue;
        }
        put_argument(out, argv[i]);
    }
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed) {
        free(text);
        return NULL;
    }
    return text;
}
