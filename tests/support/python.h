/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A python3 to compare with, and small files to hand over to it. Include after cmocka.h. */
#ifndef SUPPORT_PYTHON_H
#define SUPPORT_PYTHON_H

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static char python_folder[] = "/tmp/stillrow-python-XXXXXX";

/* The first interpreter that imports all of `modules` ("numpy, scipy.signal"), NULL if none does. */
static inline const char *find_python(const char *modules)
{
    static const char *const names[] = {"python3", "/usr/bin/python3", "/usr/local/bin/python3"};

    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char command[240];

        snprintf(command, sizeof command, "%s -c 'import %s' >/dev/null 2>&1", names[i], modules);
        if (system(command) == 0)
            return names[i];
    }
    return NULL;
}

/* Path of a file in the folder. */
static inline void python_path(const char *name, char *path, size_t size)
{
    snprintf(path, size, "%s/%s", python_folder, name);
}

static inline void python_write(const char *name, const void *data, size_t size)
{
    char path[200];

    python_path(name, path, sizeof path);
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

/* Set-up of a test: make the folder. */
static inline int make_python_folder(void **state)
{
    (void)state;
    return mkdtemp(python_folder) != NULL ? 0 : -1;
}

/* The folder goes, with the files named in `names`, ended by NULL. */
static inline int remove_python_folder(const char *const *names)
{
    for (; *names != NULL; names++) {
        char path[200];

        python_path(*names, path, sizeof path);
        unlink(path);
    }
    return rmdir(python_folder);
}

#endif
