/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Hostile names: whatever a title, a build, a log or a file is called, it is drawn
 * as text and never run. Files: whole or not at all, also on a full disk. Texts on
 * the page: none on another, none over its edge.
 */
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/resource.h>

#include <cmocka.h>

#include "present/gnuplot_pipe.h"
#include "present/plot_file.h"
#include "present/plot_labels.h"
#include "present/plot_script.h"
#include "present/plot_words.h"
#include "sim/flight.h"
#include "stillrow/plot.h"
#include "support/page.h"
#include "support/plot_cases.h"
#include "support/room.h"

/* Each would make a file named X if gnuplot or a shell ran any of it. */
static const char *const payloads[] = {
    "`touch X`",
    "$(touch X)",
    "a'; system('touch X'); set label 'b",
    "a''; system('touch X') #",
    "'.system('touch X').'",
    "\"; system(\"touch X\"); \"",
    "\\'; system('touch X'); set label \\'",
    "@m; system('touch X')",
    "x\n! touch X\n",
    "x\r\nsystem('touch X')\r\n",
    "x\\\n! touch X",
    "EOD\nsystem('touch X')\n",
    "| touch X",
    "< touch X",
    "|touch X; cat > /dev/null",
    "%s%n%s %g %d system('touch X')",
    "{/=80 `touch X`}^{_{@x}} {/Symbol a}",
    "\xE2\x80\x98; system('touch X') \xE2\x80\x99",
    "\xFF\xC3'; system('touch X'); '\xE2\x82",
    "load 'X'; ! touch X; shell; pause -1; exit",
    "#' ; system('touch X')",
    "';!touch X;'",
    "' at screen 0, 0; set output '|touch X'; set label '",
    "'''''''''''`touch X`''''''''''",
};
#define N_PAYLOADS (sizeof payloads / sizeof payloads[0])

static void assert_nothing_ran(const char *payload)
{
    if (access("X", F_OK) == 0) {
        print_error("it ran: %s\n", payload);
        fail();
    }
}

/* The text of all SVG text elements, entities decoded, one a line. */
static char *svg_texts(const char *svg)
{
    static const struct {
        const char *entity;
        char c;
    } entities[] = {{"&amp;", '&'},  {"&lt;", '<'},   {"&gt;", '>'},
                    {"&quot;", '"'}, {"&#39;", '\''}, {"&apos;", '\''}};
    char *out = malloc(strlen(svg) + 1), *to = out;

    assert_non_null(out);
    for (const char *s = strstr(svg, "<text>"); s != NULL; s = strstr(s, "<text>")) {
        s += strlen("<text>");
        const char *end = strstr(s, "</text>");
        assert_non_null(end);
        while (s < end) {
            size_t skip = 1;
            char c = *s;
            for (size_t e = 0; e < sizeof entities / sizeof entities[0]; e++)
                if (strncmp(s, entities[e].entity, strlen(entities[e].entity)) == 0) {
                    c = entities[e].c;
                    skip = strlen(entities[e].entity);
                }
            *to++ = c;
            s += skip;
        }
        *to++ = '\n';
    }
    *to = '\0';
    return out;
}

/* The start of a payload as it is to be drawn: as many characters as every title has room for. */
static const char *drawn_start(const char *payload, char *clean, size_t size)
{
    size_t n = 0;
    char *s = clean;

    for (sr_words_clean(payload, 200, clean, size); *s != '\0'; s++) {
        n += ((unsigned char)*s & 0xC0) != 0x80;
        if (n > 28)
            *s-- = '\0';
    }
    return clean;
}

static void name_everything(struct plot_case *c, struct sr_plot_options *options, const char *payload)
{
    snprintf(c->rig.build.name, sizeof c->rig.build.name, "%s", payload);
    snprintf(c->rig.build.motor, sizeof c->rig.build.motor, "%s", payload);
    snprintf(c->rig.build.prop, sizeof c->rig.build.prop, "%s", payload);
    snprintf(c->rig.build.camera, sizeof c->rig.build.camera, "%s", payload);
    c->flight.log_name = payload;
    options->title = payload;
}

static void must_draw(const struct plot_case *c, const struct sr_plot_options *options, const char *payload)
{
    struct sr_error err = {0};

    if (sr_plot_flight(&c->flight, options, &err) != SR_OK) {
        print_error("%s: %s\n", payload, err.text);
        fail();
    }
}

static void names_are_drawn_and_never_run(void **state)
{
    struct sr_plot_options options;
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 5);
    sr_plot_options_init(&options);
    for (size_t i = 0; i < N_PAYLOADS; i++) {
        char clean[400];
        name_everything(&c, &options, payloads[i]);
        options.kind = (enum sr_plot_kind)(i % SR_PLOT_KINDS);
        options.format = SR_PLOT_SVG;
        options.output = "a.svg";
        must_draw(&c, &options, payloads[i]);
        assert_nothing_ran(payloads[i]);
        /* The title stands there letter by letter, cleaned of what is no letter. */
        char *svg = room_read("a.svg", NULL), *texts = svg_texts(svg);
        assert_says(texts, drawn_start(payloads[i], clean, sizeof clean));
        free(texts);
        free(svg);
        options.format = i % 2 ? SR_PLOT_PNG : SR_PLOT_PDF;
        must_draw(&c, &options, payloads[i]);
        options.format = SR_PLOT_TEXT;
        must_draw(&c, &options, payloads[i]);
        assert_nothing_ran(payloads[i]);
        char *text = room_read("a.svg", NULL);
        assert_says(text, drawn_start(payloads[i], clean, sizeof clean));
        free(text);
    }
    plot_case_release(&c);
    assert_int_equal(room_clear(), 1);
}

/*
 * gnuplot itself reads the strings back: texts made at random of what is special to it or to a shell come out
 * letter by letter, and macros and variables of the script are not looked into.
 */
static void gnuplot_reads_back_what_was_written(void **state)
{
    static const char *const bits[] = {"'",          "'",         "''",
                                       "\"",         "`touch X`", "\\",
                                       "#",          ";",         " ; system('touch X')",
                                       "@a",         "@at",       "@apostrophe",
                                       "$(touch X)", "%d",        "{",
                                       "}",          "!touch X",  "|",
                                       ".",          "\xC3\xA9",  "\xFF",
                                       "a",          " ",         ",",
                                       "\t",         "EOD",       "$x"};
    const size_t n_bits = sizeof bits / sizeof bits[0], n_texts = 1500;
    struct sr_script script = {0};
    struct sr_bytes printed = {0};
    uint64_t seed = 31;
    char(*clean)[200] = calloc(n_texts, sizeof *clean);

    (void)state;
    assert_non_null(clean);
    sr_script_begin(&script);
    sr_script_add(&script, "set encoding utf8\nset print '-'\n");
    for (size_t i = 0; i < n_texts; i++) {
        char text[200] = "";
        for (size_t n = 1 + (size_t)(sim_uniform(&seed) * 9); n > 0; n--)
            strcat(text, bits[(size_t)(sim_uniform(&seed) * (double)n_bits)]);
        sr_words_clean(text, 190, clean[i], sizeof clean[i]);
        sr_script_add(&script, "print ");
        sr_script_text(&script, text);
        sr_script_add(&script, "\n");
    }
    assert_int_equal(sr_script_check(&script, NULL), SR_OK);
    assert_int_equal(sr_gnuplot_run(NULL, script.data, script.length, 60, &printed, NULL), SR_OK);
    assert_nothing_ran("a random text");
    const char *line = printed.data;
    for (size_t i = 0; i < n_texts; i++) {
        size_t n = strcspn(line, "\n");
        if (strlen(clean[i]) != n || memcmp(line, clean[i], n) != 0) {
            print_error("wrote %s, read %.*s\n", clean[i], (int)n, line);
            fail();
        }
        line += n + 1;
    }
    free(printed.data);
    free(clean);
    sr_script_release(&script);
    assert_int_equal(room_count(), 0);
}

/* File names are never part of a script: they can only name the file. */
static void file_names_only_name_files(void **state)
{
    struct sr_plot_options options;
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 1);
    sr_plot_options_init(&options);
    for (size_t i = 0; i < N_PAYLOADS; i++) {
        if (strchr(payloads[i], '/') != NULL)
            continue;
        char script[200];
        snprintf(script, sizeof script, "%s.gp", payloads[i]);
        options.output = payloads[i];
        options.script = script;
        options.format = SR_PLOT_TEXT;
        assert_int_equal(sr_plot_flight(&c.flight, &options, NULL), SR_OK);
        assert_nothing_ran(payloads[i]);
        assert_int_equal(access(payloads[i], F_OK), 0);
        assert_int_equal(room_clear(), 2);
    }
    plot_case_release(&c);
}

/* The placer was shown to keep labels apart; here it is the page as a whole, read back from its script. */
struct page_text {
    struct sr_box box;
    char text[256];
};

static size_t read_texts(const char *script, double width, double height, struct page_text *texts,
                         size_t most)
{
    size_t n = 0;

    for (const char *s = strstr(script, "set label '"); s != NULL && n < most;
         s = strstr(s + 1, "set label '")) {
        char align[16], font[16];
        double x, y, size;
        const char *from = s + strlen("set label '"), *end = strstr(from, "' at screen ");
        assert_non_null(end);
        snprintf(texts[n].text, sizeof texts[n].text, "%.*s", (int)(end - from), from);
        int read = sscanf(end, "' at screen %lf, %lf %15s noenhanced front font 'sans-serif%15[^,],%lf'", &x,
                          &y, align, font, &size);
        if (read == 3) { /* not bold: nothing between the name and the comma */
            font[0] = '\0';
            read = sscanf(end, "' at screen %lf, %lf %15s noenhanced front font 'sans-serif,%lf'", &x, &y,
                          align, &size) +
                   1;
        }
        assert_int_equal(read, 5);
        size /= 0.75; /* px */
        double w = sr_words_width(texts[n].text, size, font[0] != '\0');
        double left = x * width - (align[0] == 'r' ? w : align[0] == 'c' ? w / 2 : 0);
        texts[n].box = (struct sr_box){left, y * height - 0.6 * size, left + w, y * height + 0.4 * size};
        n++;
    }
    return n;
}

static void check_page(const struct plot_case *c, enum sr_plot_kind kind, double width, double height)
{
    static struct page_text texts[64];
    struct sr_plot_options options;

    sr_plot_options_init(&options);
    options.kind = kind;
    options.output = "a.png";
    options.script = "a.gp";
    options.width_px = width;
    options.height_px = height;
    assert_int_equal(sr_plot_flight(&c->flight, &options, NULL), SR_OK);
    char *script = room_read("a.gp", NULL);
    size_t n = read_texts(script, width, height, texts, 64);
    assert_true(n >= 5 && n < 64);
    for (size_t i = 0; i < n; i++) {
        const struct sr_box *box = &texts[i].box;
        if (box->left < 0 || box->right > width || box->bottom < 0 || box->top > height) {
            print_error("%s at %gx%g: over the edge: %s\n", sr_plot_kind_name(kind), width, height,
                        texts[i].text);
            fail();
        }
        for (size_t j = 0; j < i; j++)
            if (sr_boxes_meet(box, &texts[j].box, -0.5)) {
                print_error("%s at %gx%g: '%s' on '%s'\n", sr_plot_kind_name(kind), width, height,
                            texts[i].text, texts[j].text);
                fail();
            }
    }
    free(script);
}

static void no_text_lies_on_another(void **state)
{
    const size_t lines[] = {1, 5, 12};
    const double sizes[][2] = {{1200, 675}, {600, 450}, {800, 1200}};
    struct plot_case c;

    (void)state;
    for (size_t n = 0; n < 3; n++) {
        plot_case_make(&c, lines[n]);
        for (int longer = 0; longer < 2; longer++) {
            if (longer) {
                snprintf(c.rig.build.name, sizeof c.rig.build.name,
                         "Great Crested Grebe, WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW MM of "
                         "the lake");
                c.fake.score.threshold_px = 133.25;
                c.fake.score.headroom_db = -100.5;
            }
            for (int k = 0; k < SR_PLOT_KINDS; k++)
                for (size_t s = 0; s < (k == SR_PLOT_SPECTRUM ? 3 : 1); s++)
                    check_page(&c, (enum sr_plot_kind)k, sizes[s][0], sizes[s][1]);
        }
        plot_case_release(&c);
    }
    room_clear();
}

static void full_disk_leaves_nothing(void **state)
{
    struct sr_error err = {0};
    struct rlimit before, small;
    struct plot_case c;
    struct sr_plot_options options;

    (void)state;
    plot_case_make(&c, 1);
    sr_plot_options_init(&options);
    options.output = "/dev/full";
    if (access("/dev/full", W_OK) != 0) {
        print_message("SKIPPED: no /dev/full here\n");
    } else {
        assert_int_equal(sr_plot_flight(&c.flight, &options, &err), SR_ERR_WRITE);
        assert_string_equal(err.file, "/dev/full");
        assert_says(err.text, "cannot write: ");
        options.script = "/dev/full";
        options.output = "a.png";
        assert_int_equal(sr_plot_flight(&c.flight, &options, &err), SR_ERR_WRITE);
        options.script = NULL;
    }
    /* A limit on the size of files stands in for a disk that fills up half-way. */
    void (*handler)(int) = signal(SIGXFSZ, SIG_IGN);
    options.output = "a.png";
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    small = before;
    small.rlim_cur = 4096;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    enum sr_status status = sr_plot_flight(&c.flight, &options, &err);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, handler);
    assert_int_equal(status, SR_ERR_WRITE);
    assert_string_equal(err.file, "a.png");
    assert_int_equal(room_count(), 0);
    plot_case_release(&c);
}

static void files_are_replaced_as_files_are(void **state)
{
    struct sr_error err = {0};
    struct stat st;

    (void)state;
    /* New: by the user's mask. */
    mode_t mask = umask(027);
    assert_int_equal(sr_file_write("new", "one", 3, &err), SR_OK);
    umask(mask);
    assert_int_equal(stat("new", &st), 0);
    assert_int_equal(st.st_mode & 0777, 0640);
    /* There already: its mode is kept; through a link, the link stays. */
    assert_int_equal(chmod("new", 0604), 0);
    assert_int_equal(symlink("new", "link"), 0);
    assert_int_equal(sr_file_write("link", "three", 5, &err), SR_OK);
    assert_int_equal(lstat("link", &st), 0);
    assert_true(S_ISLNK(st.st_mode));
    assert_int_equal(stat("new", &st), 0);
    assert_int_equal(st.st_mode & 0777, 0604);
    char *text = room_read("new", NULL);
    assert_string_equal(text, "three");
    free(text);
    assert_int_equal(sr_file_write("/dev/null", "gone", 4, &err), SR_OK);
    assert_int_equal(stat("/dev/null", &st), 0);
    assert_true(S_ISCHR(st.st_mode));
    assert_int_equal(sr_file_write("no/such/dir", "x", 1, &err), SR_ERR_WRITE);
    assert_says(err.text, "there is no such folder");
    assert_string_equal(err.file, "no/such/dir");
    assert_int_equal(sr_file_write(".", "x", 1, &err), SR_ERR_WRITE);
    assert_says(err.text, "s a directory");
    assert_int_equal(sr_file_write("", "x", 1, &err), SR_ERR_WRITE);
    assert_int_equal(sr_file_write("dir/", "x", 1, &err), SR_ERR_WRITE);
    assert_int_equal(room_clear(), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_are_drawn_and_never_run),
        cmocka_unit_test(gnuplot_reads_back_what_was_written),
        cmocka_unit_test(file_names_only_name_files),
        cmocka_unit_test(no_text_lies_on_another),
        cmocka_unit_test(full_disk_leaves_nothing),
        cmocka_unit_test(files_are_replaced_as_files_are),
    };
    return cmocka_run_group_tests(tests, room_enter, room_leave);
}
