/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the fuzz targets share. Each target is one file with LLVMFuzzerTestOneInput(), which gets some bytes
 * and stops the program where the library breaks a promise of its headers. `make fuzz` builds the targets
 * with libFuzzer; everywhere else they get the main() below, which runs them over files: over those of
 * tests/fuzz/corpus/NAME unless others are named. That is part of `make test`.
 */
#ifndef FUZZ_FUZZ_H
#define FUZZ_FUZZ_H

#include <dirent.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* A broken promise ends the program, so that the fuzzer keeps the input. */
#define CHECK(promise)                                                                                       \
    do {                                                                                                     \
        if (!(promise)) {                                                                                    \
            fprintf(stderr, "%s:%d: broken: %s\n", __FILE__, __LINE__, #promise);                            \
            abort();                                                                                         \
        }                                                                                                    \
    } while (0)

static char fuzz_name[256];

/* Take the folder away again. */
static inline void fuzz_leave(void)
{
    DIR *folder = opendir(fuzz_name);
    char path[600];

    for (struct dirent *entry; folder != NULL && (entry = readdir(folder)) != NULL;) {
        snprintf(path, sizeof path, "%s/%s", fuzz_name, entry->d_name);
        (void)unlink(path);
    }
    if (folder != NULL)
        closedir(folder);
    (void)rmdir(fuzz_name);
}

/* A folder of this process: in $FUZZ_FOLDER, which libFuzzer's caller cleans (it ends without atexit()), or
 * in memory where the system has such a place: the targets replace files a lot. */
static inline const char *fuzz_folder(void)
{
    const char *const places[] = {getenv("FUZZ_FOLDER"), "/dev/shm", "/tmp"};

    for (size_t i = 0; i < 3 && fuzz_name[0] == '\0'; i++) {
        if (places[i] == NULL)
            continue;
        snprintf(fuzz_name, sizeof fuzz_name, "%s/stillrow-fuzz-XXXXXX", places[i]);
        if (mkdtemp(fuzz_name) == NULL)
            fuzz_name[0] = '\0';
        else
            atexit(fuzz_leave);
    }
    CHECK(fuzz_name[0] != '\0');
    return fuzz_name;
}

/* Path of a file in it, into path[300]. */
static inline const char *fuzz_path(const char *file, char *path)
{
    snprintf(path, 300, "%s/%s", fuzz_folder(), file);
    return path;
}

static inline void fuzz_put(const char *path, const void *data, size_t size)
{
    FILE *file = fopen(path, "wb");

    CHECK(file != NULL && fwrite(data, 1, size, file) == size);
    CHECK(fclose(file) == 0);
}

/* A whole file; *size is its length, a zero byte stands behind it. */
static inline char *fuzz_get(const char *path, size_t *size)
{
    struct stat info;
    FILE *file = fopen(path, "rb");

    CHECK(file != NULL && fstat(fileno(file), &info) == 0);
    *size = (size_t)info.st_size;
    char *data = malloc(*size + 1);
    CHECK(data != NULL && fread(data, 1, *size, file) == *size);
    data[*size] = '\0';
    fclose(file);
    return data;
}

#ifndef SR_LIBFUZZER
static inline void fuzz_file(const char *path)
{
    size_t size;
    char *text = fuzz_get(path, &size);
    /* A block of just that size, so that a sanitizer sees a read behind it. */
    uint8_t *data = malloc(size > 0 ? size : 1);

    CHECK(data != NULL);
    memcpy(data, text, size);
    free(text);
    CHECK(LLVMFuzzerTestOneInput(data, size) == 0);
    free(data);
}

static inline size_t fuzz_files_of(const char *name)
{
    DIR *folder = opendir(name);
    size_t count = 0;

    for (struct dirent *entry; folder != NULL && (entry = readdir(folder)) != NULL;) {
        char path[512];
        if (entry->d_name[0] == '.')
            continue;
        snprintf(path, sizeof path, "%s/%s", name, entry->d_name);
        fuzz_file(path);
        count++;
    }
    if (folder != NULL)
        closedir(folder);
    return count;
}

/* The corpus named after the program: log_fuzz has tests/fuzz/corpus/log. */
int main(int argc, char **argv)
{
    const char *slash = strrchr(argv[0], '/');
    const char *name = slash != NULL ? slash + 1 : argv[0];
    char corpus[128];
    size_t count = 0;

    for (int i = 1; i < argc; i++, count++)
        fuzz_file(argv[i]);
    if (argc == 1) {
        snprintf(corpus, sizeof corpus, "tests/fuzz/corpus/%.*s", (int)strcspn(name, "_"), name);
        count = fuzz_files_of(corpus);
    }
    printf("%s: %zu inputs, nothing broken\n", name, count);
    return count > 0 ? 0 : 1;
}
#endif
#endif
