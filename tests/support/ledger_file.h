/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ledger files for tests, in a folder of their own. Include after cmocka.h. */
#ifndef SUPPORT_LEDGER_FILE_H
#define SUPPORT_LEDGER_FILE_H

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "stillrow/ledger.h"

static char ledger_folder[] = "/tmp/stillrow-ledger-XXXXXX";

/* Group set-up: make the folder and go there. */
static inline int enter_ledger_folder(void **state)
{
    (void)state;
    return mkdtemp(ledger_folder) != NULL && chdir(ledger_folder) == 0 ? 0 : -1;
}

/* Everything in the folder is taken away; how many entries that were. */
static inline size_t clear_ledger_folder(void)
{
    size_t count = 0;
    DIR *folder = opendir(".");
    for (struct dirent *entry; folder != NULL && (entry = readdir(folder)) != NULL;) {
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
            count += unlink(entry->d_name) == 0 || rmdir(entry->d_name) == 0;
    }
    if (folder != NULL)
        closedir(folder);
    return count;
}

/* Set-up of a test: an empty folder. */
static inline int fresh_ledger_folder(void **state)
{
    (void)state;
    clear_ledger_folder();
    return 0;
}

static inline int leave_ledger_folder(void **state)
{
    (void)state;
    clear_ledger_folder();
    return chdir("/") == 0 && rmdir(ledger_folder) == 0 ? 0 : -1;
}

static inline void put_bytes(const char *name, const char *data, size_t size)
{
    FILE *file = fopen(name, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

static inline void put_text(const char *name, const char *text)
{
    put_bytes(name, text, strlen(text));
}

/* A whole file, ended by a zero byte; free() it. */
static inline char *get_text(const char *name)
{
    FILE *file = fopen(name, "rb");
    assert_non_null(file);
    size_t size = 0, room = 1 << 20;
    char *text = malloc(room);
    assert_non_null(text);
    for (size_t n; (n = fread(text + size, 1, room - size - 1, file)) > 0;)
        size += n;
    assert_true(size < room - 1);
    text[size] = '\0';
    fclose(file);
    return text;
}

static inline void assert_file_is(const char *name, const char *expected)
{
    char *text = get_text(name);
    assert_string_equal(text, expected);
    free(text);
}

/* A row with just what a ledger needs. Further texts must outlive it. */
static inline struct sr_ledger_row bare_row(const char *fingerprint, double wobble_px)
{
    return (struct sr_ledger_row){.fingerprint = fingerprint,
                                  .blades = NAN,
                                  .shore_a = NAN,
                                  .temperature_c = NAN,
                                  .resonance_hz = NAN,
                                  .width_px = 1920,
                                  .threshold_px = NAN,
                                  .wobble_px = wobble_px,
                                  .low_px = NAN,
                                  .high_px = NAN,
                                  .median_px = NAN,
                                  .rms_px = NAN,
                                  .band_px = {NAN, NAN, NAN, NAN},
                                  .smear_px = NAN,
                                  .airborne_s = NAN,
                                  .main_hz = NAN,
                                  .main_share = NAN,
                                  .main_order = NAN};
}

static inline struct sr_merge_count merge_ledgers(const char *into, const char *from)
{
    struct sr_error err = {0};
    struct sr_merge_count count = {0};

    if (sr_ledger_merge(into, from, &count, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
    return count;
}

static inline void read_ledger(struct sr_ledger *ledger, const char *path)
{
    struct sr_error err = {0};
    if (sr_ledger_read(ledger, path, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
}

#endif
