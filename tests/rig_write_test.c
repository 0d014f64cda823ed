/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Writing the threshold into a rig file that a person keeps. */
#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "stillrow/rig.h"
#include "support/rig_file.h"

/* The file's bytes as a string. */
static const char *contents(const char *path)
{
    static char text[4096];
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    const size_t length = fread(text, 1, sizeof text - 1, file);
    fclose(file);
    text[length] = '\0';
    return text;
}

static size_t files_here(void)
{
    size_t count = 0;
    DIR *dir = opendir(".");
    assert_non_null(dir);
    while (readdir(dir) != NULL)
        count++;
    closedir(dir);
    return count - 2;
}

static void every_other_byte_stays(void **state)
{
    static const struct {
        const char *before, *after;
    } cases[] = {
        {"", "[threshold]\npx = 0.85\n"},
        {"[camera]\nfps = 30\n", "[camera]\nfps = 30\n\n[threshold]\npx = 0.85\n"},
        {"[camera]\nfps = 30", "[camera]\nfps = 30\n\n[threshold]\npx = 0.85\n"},
        {"[camera]\r\nfps = 30\r\n", "[camera]\r\nfps = 30\r\n\r\n[threshold]\r\npx = 0.85\r\n"},
        {"[threshold]\npx = 2\n", "[threshold]\npx = 0.85\n"},
        {"[threshold]\npx=2", "[threshold]\npx=0.85"},
        {"# px = 9\n[threshold]\n; px = 8\n  px   :  2.125  ; ours\t\n# end\n[build]\nname = x\n",
         "# px = 9\n[threshold]\n; px = 8\n  px   :  0.85  ; ours\t\n# end\n[build]\nname = x\n"},
        {"[threshold]\r\npx = 2 ; ours\r\n[camera]\r\n", "[threshold]\r\npx = 0.85 ; ours\r\n[camera]\r\n"},
        {"[threshold]\n\n# why\n[camera]\nfps = 30\n",
         "[threshold]\npx = 0.85\n\n# why\n[camera]\nfps = 30\n"},
        {"[threshold]", "[threshold]\npx = 0.85\n"},
        {"[ threshold ] ; ours\n[build]\n", "[ threshold ] ; ours\npx = 0.85\n[build]\n"},
        {"[build]\nname = px = 3\n[threshold]\n[threshold]\npx = 2\n",
         "[build]\nname = px = 3\n[threshold]\n[threshold]\npx = 0.85\n"},
        {"\xEF\xBB\xBF[threshold]\npx = 2\n", "\xEF\xBB\xBF[threshold]\npx = 0.85\n"},
        {"\xEF\xBB\xBF[camera]\n", "\xEF\xBB\xBF[camera]\n\n[threshold]\npx = 0.85\n"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sr_error err;
        struct sr_rig rig;
        put(cases[i].before, strlen(cases[i].before));
        if (sr_rig_write_threshold("rig.ini", 0.85, &err) != SR_OK)
            fail_msg("case %zu: %s", i, err.text);
        assert_string_equal(contents("rig.ini"), cases[i].after);
        sr_rig_init(&rig); /* and it reads back */
        assert_int_equal(sr_rig_read(&rig, "rig.ini", NULL), SR_OK);
        assert_true(rig.threshold_px == 0.85);
        assert_int_equal(files_here(), 1);
    }
}

static void a_new_file(void **state)
{
    struct sr_error err;
    struct stat info;
    (void)state;
    unlink("rig.ini");
    const mode_t old = umask(027);
    assert_int_equal(sr_rig_write_threshold("rig.ini", 1.0 / 3, &err), SR_OK);
    umask(old);
    assert_string_equal(contents("rig.ini"), "[threshold]\npx = 0.333333\n");
    assert_int_equal(stat("rig.ini", &info), 0);
    assert_int_equal(info.st_mode & 0777, 0640);
    assert_int_equal(sr_rig_write_threshold("nowhere/rig.ini", 1, &err), SR_ERR_WRITE);
    assert_string_equal(err.file, "nowhere/rig.ini");
}

static void permissions_stay(void **state)
{
    struct stat info;
    (void)state;
    put("[build]\n", 8);
    assert_int_equal(chmod("rig.ini", 0604), 0);
    assert_int_equal(sr_rig_write_threshold("rig.ini", 1, NULL), SR_OK);
    assert_int_equal(stat("rig.ini", &info), 0);
    assert_int_equal(info.st_mode & 07777, 0604);
}

static void a_link_stays_a_link(void **state)
{
    struct sr_error err;
    struct stat info;
    (void)state;
    put("[build]\n", 8);
    assert_int_equal(mkdir("shed", 0777), 0);
    assert_int_equal(symlink("../rig.ini", "shed/link.ini"), 0);
    assert_int_equal(sr_rig_write_threshold("shed/link.ini", 2, &err), SR_OK);
    assert_int_equal(lstat("shed/link.ini", &info), 0);
    assert_true(S_ISLNK(info.st_mode));
    assert_string_equal(contents("rig.ini"), "[build]\n\n[threshold]\npx = 2\n");
    unlink("rig.ini");
    assert_int_equal(sr_rig_write_threshold("shed/link.ini", 2, &err), SR_ERR_OPEN);
    assert_non_null(strstr(err.text, "a symbolic link to nothing"));
    unlink("shed/link.ini");
    assert_int_equal(rmdir("shed"), 0);
}

/* Each refusal leaves the file as it was, and nothing beside it. */
static void refused(const char *text, const char *path, double threshold_px, enum sr_status status,
                    const char *says)
{
    struct sr_error err;
    const size_t files = files_here();
    assert_int_equal(sr_rig_write_threshold(path, threshold_px, &err), status);
    assert_int_equal(err.status, status);
    if (strstr(err.text, says) == NULL)
        fail_msg("'%s' does not say '%s'", err.text, says);
    assert_string_equal(contents("rig.ini"), text);
    assert_int_equal(files_here(), files);
}

static void refusals(void **state)
{
    static const char flights[] = "date,build\n2031-05-02,heron\n";
    static const char rig[] = "[build]\nname = heron\n";
    (void)state;
    put(rig, strlen(rig));
    refused(rig, "rig.ini", 0, SR_ERR_ARGUMENT, "threshold 0 is not above 0");
    refused(rig, "rig.ini", -1, SR_ERR_ARGUMENT, "threshold -1");
    refused(rig, "rig.ini", NAN, SR_ERR_ARGUMENT, "threshold");
    refused(rig, "rig.ini", 10001, SR_ERR_ARGUMENT, "threshold 10001");
    refused(rig, ".", 1, SR_ERR_WRITE, "not a regular file");
    refused(rig, "/dev/full", 1, SR_ERR_WRITE, "not a regular file");
    refused(rig, "rig.ini/x", 1, SR_ERR_OPEN, "cannot open");
    assert_int_equal(chmod("rig.ini", 0444), 0);
    refused(rig, "rig.ini", 1, SR_ERR_WRITE, "is read-only");
    assert_int_equal(chmod("rig.ini", 0644), 0);
    put(flights, strlen(flights)); /* not a rig at all: the wrong name was typed */
    refused(flights, "rig.ini", 1, SR_ERR_RIG, "expected 'key = value'");
    put("[threshold]\npx = 1\npx = 2\n", 26);
    refused("[threshold]\npx = 1\npx = 2\n", "rig.ini", 3, SR_ERR_RIG, "set twice");
}

/* No room for the new file: a limit on file size stands in for a full disk. */
static void a_full_disk_keeps_the_old_file(void **state)
{
    static const char rig[] = "[build]\nname = heron\n";
    struct rlimit was, tight;
    (void)state;
    put(rig, strlen(rig));
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &was), 0);
    signal(SIGXFSZ, SIG_IGN);
    tight = was;
    for (rlim_t room = 0; room < strlen(rig) + 20; room++) {
        struct sr_error err;
        tight.rlim_cur = room;
        assert_int_equal(setrlimit(RLIMIT_FSIZE, &tight), 0);
        const enum sr_status status = sr_rig_write_threshold("rig.ini", 1, &err);
        assert_int_equal(setrlimit(RLIMIT_FSIZE, &was), 0);
        assert_int_equal(status, SR_ERR_WRITE);
        assert_non_null(strstr(err.text, strerror(EFBIG)));
        assert_string_equal(contents("rig.ini"), rig);
        assert_int_equal(files_here(), 1);
    }
    signal(SIGXFSZ, SIG_DFL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_other_byte_stays),
        cmocka_unit_test(a_new_file),
        cmocka_unit_test(permissions_stay),
        cmocka_unit_test(a_link_stays_a_link),
        cmocka_unit_test(refusals),
        cmocka_unit_test(a_full_disk_keeps_the_old_file),
    };
    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
