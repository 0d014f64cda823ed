/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stream that keeps what is printed to it, and checks on that. Include after cmocka.h. */
#ifndef SUPPORT_PAGE_H
#define SUPPORT_PAGE_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What was printed. */
struct page {
    char *text;
    size_t size;
    FILE *out;
};

static inline void page_open(struct page *page)
{
    page->out = open_memstream(&page->text, &page->size);
    assert_non_null(page->out);
}

static inline const char *page_text(struct page *page)
{
    assert_int_equal(fflush(page->out), 0);
    return page->text;
}

static inline void page_close(struct page *page)
{
    fclose(page->out);
    free(page->text);
}

static inline void assert_says(const char *text, const char *part)
{
    if (strstr(text, part) == NULL) {
        print_error("'%s' is not in:\n%s\n", part, text);
        fail();
    }
}

static inline void assert_silent_on(const char *text, const char *part)
{
    if (strstr(text, part) != NULL) {
        print_error("'%s' should not be in:\n%s\n", part, text);
        fail();
    }
}

#endif
