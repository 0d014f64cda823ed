/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Statuses and errors: a text for each, and what an error carries. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/status.h"

static void each_has_a_text_of_its_own(void **state)
{
    (void)state;
    for (int i = 0; i < SR_STATUS_COUNT; i++) {
        const char *text = sr_status_text((enum sr_status)i);
        assert_non_null(text);
        assert_true(strlen(text) > 3);
        assert_string_not_equal(text, "unknown status");
        for (int k = 0; k < i; k++)
            assert_string_not_equal(text, sr_status_text((enum sr_status)k));
    }
    assert_string_equal(sr_status_text(SR_STATUS_COUNT), "unknown status");
    assert_string_equal(sr_status_text((enum sr_status)999), "unknown status");
}

static void an_error_carries_what_it_was_given(void **state)
{
    struct sr_error err;
    char name[2 * sizeof err.file];

    (void)state;
    assert_int_equal(sr_fail(&err, SR_ERR_READ, "lake.csv", 7, "%d of %s", 3, "four"), SR_ERR_READ);
    assert_int_equal(err.status, SR_ERR_READ);
    assert_string_equal(err.file, "lake.csv");
    assert_int_equal(err.line, 7);
    assert_string_equal(err.text, "3 of four");
    assert_int_equal(sr_fail(&err, SR_ERR_MEMORY, NULL, 0, "out of memory"), SR_ERR_MEMORY);
    assert_string_equal(err.file, "");
    assert_int_equal(err.line, 0);
    /* Nobody asked: the status alone. */
    assert_int_equal(sr_fail(NULL, SR_ERR_OPEN, "lake.csv", 1, "%s", "no such file"), SR_ERR_OPEN);
    /* What does not fit is cut, and ended. */
    memset(name, 'x', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    sr_fail(&err, SR_ERR_OPEN, name, 1, "%s%s", name, name);
    assert_int_equal(strlen(err.file), sizeof err.file - 1);
    assert_true(strlen(err.text) < sizeof err.text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_has_a_text_of_its_own),
        cmocka_unit_test(an_error_carries_what_it_was_given),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
