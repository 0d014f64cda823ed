/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A locale that writes "0,5", for tests of what must not mind. Made by localedef from a few lines, for many
 * systems come without one; else an installed one. Include after cmocka.h.
 */
#ifndef SUPPORT_COMMA_LOCALE_H
#define SUPPORT_COMMA_LOCALE_H

#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char comma_folder[] = "/tmp/stillrow-locale-XXXXXX";
static char comma_name[64]; /* of the locale, "" where there is none */

/* Whether a half is written with a comma in this locale, and read. */
static inline bool comma_works(const char *name)
{
    char text[16] = "";
    if (setlocale(LC_NUMERIC, name) == NULL)
        return false;
    snprintf(text, sizeof text, "%.1f", 0.5);
    bool works = strcmp(text, "0,5") == 0 && strtod("1,5", NULL) > 1.2;
    setlocale(LC_NUMERIC, "C");
    return works;
}

/* Group set-up. Says so where there is no such locale. */
static inline int make_comma_locale(void **state)
{
    static const char source[] = "LC_CTYPE\ncopy \"POSIX\"\nEND LC_CTYPE\n"
                                 "LC_NUMERIC\ndecimal_point \",\"\nthousands_sep \".\"\ngrouping 3;3\n"
                                 "END LC_NUMERIC\n";
    static const char *const names[] = {"xx_XX",      "de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8",
                                        "fr_FR.utf8", "nl_NL.UTF-8", "nb_NO.utf8", "pl_PL.UTF-8"};
    char command[200], path[64];

    (void)state;
    if (mkdtemp(comma_folder) == NULL)
        return -1;
    snprintf(path, sizeof path, "%s/source", comma_folder);
    FILE *file = fopen(path, "w");
    if (file == NULL || fputs(source, file) < 0 || fclose(file) != 0)
        return -1;
    /* It warns of categories that are not needed here, and returns 1 for it. */
    snprintf(command, sizeof command, "localedef -c -i %s %s/xx_XX >/dev/null 2>&1", path, comma_folder);
    bool made = system(command) != -1;
    for (size_t i = 0; i < sizeof names / sizeof *names && comma_name[0] == '\0'; i++) {
        if (i == 0 && made)
            setenv("LOCPATH", comma_folder, 1);
        if (comma_works(names[i]))
            snprintf(comma_name, sizeof comma_name, "%s", names[i]);
        else if (i == 0)
            unsetenv("LOCPATH");
    }
    if (comma_name[0] != '\0')
        print_message("  a locale that writes 0,5: %s\n", comma_name);
    return 0;
}

/* Numbers with a comma from here on, or the test is skipped. */
static inline void begin_comma(const char *what)
{
    if (comma_name[0] == '\0') {
        print_message("SKIPPED: no localedef here, and no locale that writes 0,5; NOT CHECKED: %s\n", what);
        skip();
    }
    assert_non_null(setlocale(LC_NUMERIC, comma_name));
}

/* Back; what was called in between has left the program's locale alone. */
static inline void end_comma(void)
{
    char text[16];
    snprintf(text, sizeof text, "%.1f", 0.5);
    assert_string_equal(text, "0,5");
    assert_non_null(setlocale(LC_NUMERIC, "C"));
}

static inline int remove_comma_locale(void **state)
{
    char command[80];
    (void)state;
    snprintf(command, sizeof command, "rm -rf %s", comma_folder);
    return system(command);
}

#endif
