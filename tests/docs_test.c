/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The documents against the program: docs/json.md lists exactly the fields that are
 * printed, with their kinds and where they may be null; the tables of rig keys in
 * docs/method.md and docs/stillrow.1 are the program's own table.
 *
 * Run from the top directory. BUILD: where the program is ("build").
 */
#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/rig.h"

enum { FIELDS_MAX = 200, PATH_MAX_BYTES = 96, LINE_MAX_BYTES = 4096 };

/* A documented field, and what was seen of it. */
struct field {
    char path[PATH_MAX_BYTES]; /* "bands[].low_hz" */
    char kind[40];             /* "number", "count", "text", "flag", "object", "list"; also "flag or count" */
    bool may_be_null;
    bool seen;
};

struct fields {
    const char *schema;
    struct field field[FIELDS_MAX];
    size_t count;
    size_t wrong;
};

static char *read_file(const char *path)
{
    FILE *in = fopen(path, "r");
    size_t room = 1 << 20;
    char *text = malloc(room);

    if (in == NULL || text == NULL) {
        print_error("cannot read %s (tests run from the top directory)\n", path);
        abort();
    }
    size_t size = fread(text, 1, room - 1, in);
    text[size] = '\0';
    fclose(in);
    return text;
}

/* Next line of *at into line[size]; false at the end. */
static bool next_line(const char **at, char *line, size_t size)
{
    size_t length = strcspn(*at, "\n");

    if (**at == '\0')
        return false;
    snprintf(line, size, "%.*s", (int)(length < size ? length : size - 1), *at);
    *at += length + ((*at)[length] == '\n');
    return true;
}

/* Objects that stand in several places have a chapter of their own, which a row's link takes in. */
static const char *const shared_objects[][2] = {
    {"](#the-camera-object)", "The camera object"},   {"](#the-choice-object)", "The choice object"},
    {"](#the-column-object)", "The column object"},   {"](#the-interval-object)", "The interval object"},
    {"](#the-quality-object)", "The quality object"}, {"](#the-ratio-object)", "The ratio object"},
};

/* "| `path` | kind, null | unit | meaning |" into *field; false: another line. */
static bool parse_row(const char *line, struct field *field)
{
    const char *end;

    if (strncmp(line, "| `", 3) != 0 || (end = strstr(line, "` | ")) == NULL)
        return false;
    snprintf(field->path, sizeof field->path, "%.*s", (int)(end - line - 3), line + 3);
    const char *kind = end + 4;
    snprintf(field->kind, sizeof field->kind, "%.*s", (int)strcspn(kind, ",|"), kind);
    const char *null = strstr(kind, "null");
    field->may_be_null = null != NULL && null < kind + strcspn(kind, "|");
    field->seen = false;
    return true;
}

static struct field *find_field(struct fields *fields, const char *path)
{
    for (size_t i = 0; i < fields->count; i++)
        if (strcmp(fields->field[i].path, path) == 0)
            return &fields->field[i];
    return NULL;
}

/* The rows under "## heading", each path behind `prefix`. */
static void read_fields(struct fields *fields, const char *text, const char *heading, const char *prefix)
{
    char line[LINE_MAX_BYTES];
    bool inside = false;

    for (const char *at = text; next_line(&at, line, sizeof line);) {
        struct field row;
        if (strncmp(line, "## ", 3) == 0)
            inside = strcmp(line + 3, heading) == 0;
        if (inside && prefix[0] == '\0' && strstr(line, "](#stillrowscore1), and:") != NULL)
            read_fields(fields, text, "stillrow.score/1", "");
        if (!inside || !parse_row(line, &row) || (prefix[0] == '\0' && find_field(fields, row.path) != NULL))
            continue;
        struct field *to = &fields->field[fields->count++];
        assert_true(fields->count < FIELDS_MAX);
        *to = row;
        snprintf(to->path, sizeof to->path, "%.45s%.50s", prefix, row.path);
        for (size_t i = 0; i < sizeof shared_objects / sizeof shared_objects[0]; i++) {
            char below[PATH_MAX_BYTES];
            if (strstr(line, shared_objects[i][0]) == NULL)
                continue;
            snprintf(below, sizeof below, "%.90s.", to->path);
            read_fields(fields, text, shared_objects[i][1], below);
        }
    }
}

static const char *kind_of(const json_t *value)
{
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        return "object";
    case JSON_ARRAY:
        return "list";
    case JSON_STRING:
        return "text";
    case JSON_INTEGER:
        return "count";
    case JSON_REAL:
        return "number";
    case JSON_TRUE:
    case JSON_FALSE:
        return "flag";
    case JSON_NULL:
        break;
    }
    return "null";
}

static void check_value(struct fields *fields, const char *path, const json_t *value)
{
    struct field *field = find_field(fields, path);
    const char *kind = kind_of(value);

    if (field == NULL) {
        print_error("%s: '%s' is printed and not documented\n", fields->schema, path);
        fields->wrong++;
    } else if (json_is_null(value) ? !field->may_be_null : strstr(field->kind, kind) == NULL) {
        print_error("%s: '%s' is documented as %s, and printed as %s\n", fields->schema, path, field->kind,
                    kind);
        fields->wrong++;
    } else {
        field->seen = true;
    }
}

/* Every value below `value`, whose own path is `path`. */
static void walk(struct fields *fields, const char *path, json_t *value)
{
    char below[PATH_MAX_BYTES];
    const char *key;
    json_t *inner;
    size_t i;

    if (path[0] != '\0')
        check_value(fields, path, value);
    if (json_is_object(value)) {
        json_object_foreach(value, key, inner)
        {
            /* Keys that come out of a file are documented as one. */
            snprintf(below, sizeof below, "%.90s.*", path);
            if (find_field(fields, below) == NULL)
                snprintf(below, sizeof below, "%.50s%s%.40s", path, path[0] != '\0' ? "." : "", key);
            walk(fields, below, inner);
        }
    } else if (json_is_array(value)) {
        json_array_foreach(value, i, inner)
        {
            snprintf(below, sizeof below, "%.90s[]", path);
            walk(fields, below, inner);
        }
    }
}

/*
 * Run a shell command in which "$S" is the program; every line it prints of the schema is walked through.
 * Returns how many.
 */
static size_t walk_output(struct fields *fields, const char *command)
{
    char *line = malloc(1 << 20);
    size_t lines = 0;

    assert_non_null(line);
    FILE *out = popen(command, "r");
    assert_non_null(out);
    while (fgets(line, 1 << 20, out) != NULL) {
        json_error_t error;
        json_t *root = json_loads(line, JSON_REJECT_DUPLICATES, &error);
        if (root == NULL) {
            print_error("%s\nis no JSON: %s\n", line, error.text);
            fields->wrong++;
            continue;
        }
        const char *schema = json_string_value(json_object_get(root, "schema"));
        if (schema != NULL && strcmp(schema, fields->schema) == 0) {
            walk(fields, "", root);
            lines++;
        }
        json_decref(root);
    }
    pclose(out);
    free(line);
    return lines;
}

/* `commands`, ended by NULL, show every field of the schema between them. */
static void check_schema(const char *schema, const char *const *commands)
{
    struct fields *fields = calloc(1, sizeof *fields);
    char *text = read_file("docs/json.md");

    assert_non_null(fields);
    fields->schema = schema;
    read_fields(fields, text, schema, "");
    assert_true(fields->count > 0);
    for (; *commands != NULL; commands++)
        assert_true(walk_output(fields, *commands) > 0);
    for (size_t i = 0; i < fields->count; i++) {
        if (!fields->field[i].seen) {
            print_error("%s: '%s' is documented and never printed\n", schema, fields->field[i].path);
            fields->wrong++;
        }
    }
    assert_int_equal(fields->wrong, 0);
    free(text);
    free(fields);
}

#define S      "\"$S\" "
#define HERON  "sample-logs/heron-regatta-steady.csv"
#define DIPPER "sample-logs/dipper-bent-prop.csv"
#define GREBE  "sample-logs/grebe-frame-resonance.csv"
#define COOT   "sample-logs/coot-logged-too-slowly.csv"

static void score_fields(void **state)
{
    static const char *const commands[] = {
        S "score --json " HERON " " DIPPER " " GREBE " " COOT,
        S "score --json --rig sample-logs/heron.ini --footage-offset -3.5 " HERON, NULL};
    (void)state;
    check_schema("stillrow.score/1", commands);
}

static void explain_fields(void **state)
{
    static const char *const commands[] = {
        S "explain --json " HERON " " DIPPER " " GREBE " " COOT,
        S "explain --json --rig sample-logs/dipper.ini --footage-offset 2 " DIPPER,
        S "explain --json --rig sample-logs/heron.ini " HERON, NULL};
    (void)state;
    check_schema("stillrow.explain/1", commands);
}

static void mounts_fields(void **state)
{
    static const char *const commands[] = {S "mounts --json --rig sample-logs/grebe.ini " GREBE,
                                           "awk -F, -f tests/docs/camera_side.awk " HERON " | " S
                                           "mounts --json --rig sample-logs/heron.ini "
                                           "--temperature=-60:30:30 --other - " HERON,
                                           NULL};
    (void)state;
    check_schema("stillrow.mounts/1", commands);
}

/* A ledger of invented flights as "$L", which is gone afterwards. */
#define WITH_LEDGER(commands)                                                                                \
    "L=$(mktemp) && M=$(mktemp) && awk -f tests/docs/ledger.awk >\"$L\"; " commands                          \
    "; rm -f \"$L\" \"$L.lock\" \"$M\" \"$M.lock\""

static void ledger_fields(void **state)
{
    static const char *const commands[] = {
        WITH_LEDGER(S "ledger list --json \"$L\""), WITH_LEDGER(S "ledger check --json \"$L\""),
        WITH_LEDGER("rm \"$M\"; " S "ledger merge --json \"$M\" \"$L\""),
        WITH_LEDGER("rm \"$M\"; " S "ledger add --json \"$M\" " HERON), NULL};
    (void)state;
    check_schema("stillrow.ledger/1", commands);
}

static void rank_fields(void **state)
{
    static const char *const commands[] = {WITH_LEDGER(S "ledger rank --json \"$L\""), NULL};
    (void)state;
    check_schema("stillrow.rank/1", commands);
}

static void threshold_fields(void **state)
{
    static const char *const commands[] = {
        WITH_LEDGER("cp sample-logs/heron.ini \"$M\"; " S "threshold --json --write \"$M\" \"$L\""), NULL};
    (void)state;
    check_schema("stillrow.threshold/1", commands);
}

static void inspect_fields(void **state)
{
    static const char *const commands[] = {
        S "inspect --json " HERON " " DIPPER " " GREBE " " COOT,
        "awk 'BEGIN { OFS = \",\"; print \"gyro_x,gyro_y,gyro_z,acc_x,acc_y,acc_z\"; for (i = 0; i < 4000; "
        "i++) "
        "print 40 * sin(i), 40 * cos(i), i % 7, 0, 0, 1 }' | " S "inspect --json --sample-rate 1000 -",
        NULL};
    (void)state;
    check_schema("stillrow.inspect/1", commands);
}

static void camera_fields(void **state)
{
    static const char *const commands[] = {
        S "camera --json --rig sample-logs/heron.ini",
        S "camera --json --exposure-ms 10 --at 100 --flicker-hz 100 --bands 1.5", NULL};
    (void)state;
    check_schema("stillrow.camera/1", commands);
}

static void compare_fields(void **state)
{
    static const char *const commands[] = {S "compare --json " HERON " --with " GREBE, NULL};
    (void)state;
    check_schema("stillrow.compare/1", commands);
}

static void ranking_fields(void **state)
{
    static const char *const commands[] = {S "compare --json " HERON " --with " DIPPER " --with " GREBE,
                                           NULL};
    (void)state;
    check_schema("stillrow.ranking/1", commands);
}

/* ---- rig keys -------------------------------------------------------------- */

/* The unit a table names: the key's own, or what kind of value it is. */
static const char *unit_word(const struct sr_rig_key *key)
{
    switch (key->kind) {
    case SR_KIND_INTEGER:
        return "whole number";
    case SR_KIND_CHOICE:
        return "word";
    case SR_KIND_TEXT:
        return "text";
    case SR_KIND_NUMBER:
    case SR_KIND_SIZE:
        break;
    }
    return key->unit[0] != '\0' ? key->unit : "number";
}

/* The range as the table of docs/method.md has it: no unit, bars escaped. */
static void range_cell(const struct sr_rig_key *key, char *cell, size_t size)
{
    char range[160], unit[40];
    size_t used = 0;

    sr_rig_key_range(key, range, sizeof range);
    snprintf(unit, sizeof unit, " %s", key->unit);
    char *at = key->unit[0] != '\0' ? strstr(range, unit) : NULL;
    if (at != NULL)
        memmove(at, at + strlen(unit), strlen(at + strlen(unit)) + 1);
    for (const char *c = range; *c != '\0' && used + 3 < size; c++) {
        if (*c == '|')
            cell[used++] = '\\';
        cell[used++] = *c;
    }
    cell[used] = '\0';
}

static void keys_in_method(void **state)
{
    char *text = read_file("docs/method.md");
    size_t missing = 0, rows = 0, keys = 0;
    (void)state;

    for (const struct sr_rig_key *key; (key = sr_rig_key_at(keys)) != NULL; keys++) {
        char row[600], range[200];
        range_cell(key, range, sizeof range);
        snprintf(row, sizeof row, "| `%s` | %s | %s | %s | %s |\n", key->name, unit_word(key), range,
                 key->fallback[0] != '\0' ? key->fallback : "none", key->help);
        if (strstr(text, row) == NULL) {
            print_error("docs/method.md has no row  %s", row);
            missing++;
        }
    }
    /* As many rows as keys: the document knows no key that the program does not. */
    const char *at = strstr(text, "## Rig file");
    char line[LINE_MAX_BYTES];
    assert_non_null(at);
    next_line(&at, line, sizeof line);
    while (next_line(&at, line, sizeof line) && strncmp(line, "## ", 3) != 0)
        rows += strncmp(line, "| `", 3) == 0 && strstr(line, "key | unit") == NULL;
    free(text);
    assert_int_equal(missing, 0);
    assert_int_equal(rows, keys);
}

/* The page's text from `.It Cm NAME` of the section to the next item, in one line; "" if there is none. */
static void man_item(const char *page, const char *section, const char *name, char *item, size_t size)
{
    char line[LINE_MAX_BYTES], heading[64], tag[64];
    bool inside = false, here = false;

    item[0] = '\0';
    snprintf(heading, sizeof heading, ".Ss Section %s", section);
    snprintf(tag, sizeof tag, ".It Cm %s", name);
    while (next_line(&page, line, sizeof line)) {
        if (strncmp(line, ".Ss ", 4) == 0 || strncmp(line, ".Sh ", 4) == 0)
            inside = strcmp(line, heading) == 0;
        if (strncmp(line, ".It ", 4) == 0 || strcmp(line, ".El") == 0)
            here = inside && strcmp(line, tag) == 0;
        else if (here)
            snprintf(item + strlen(item), size - strlen(item), "%s%.200s", item[0] != '\0' ? " " : "", line);
    }
}

static void keys_in_man_page(void **state)
{
    char *page = read_file("docs/stillrow.1");
    size_t wrong = 0, items = 0, keys = 0;
    (void)state;

    for (const struct sr_rig_key *key; (key = sr_rig_key_at(keys)) != NULL; keys++) {
        char item[LINE_MAX_BYTES], range[160], tail[240];
        man_item(page, key->section, key->name, item, sizeof item);
        sr_rig_key_range(key, range, sizeof range);
        snprintf(tail, sizeof tail, "(%s%s%s)", range, key->fallback[0] != '\0' ? "; default: " : "",
                 key->fallback);
        if (strstr(item, tail) == NULL) {
            print_error("docs/stillrow.1, [%s] %s: no '%s' in '%s'\n", key->section, key->name, tail, item);
            wrong++;
        }
    }
    const char *at = strstr(page, ".Sh RIG FILE");
    char line[LINE_MAX_BYTES];
    assert_non_null(at);
    next_line(&at, line, sizeof line);
    while (next_line(&at, line, sizeof line) && strncmp(line, ".Sh ", 4) != 0)
        items += strncmp(line, ".It Cm ", 7) == 0;
    free(page);
    assert_int_equal(wrong, 0);
    assert_int_equal(items, keys);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(score_fields),   cmocka_unit_test(explain_fields),
        cmocka_unit_test(mounts_fields),  cmocka_unit_test(ledger_fields),
        cmocka_unit_test(rank_fields),    cmocka_unit_test(threshold_fields),
        cmocka_unit_test(inspect_fields), cmocka_unit_test(camera_fields),
        cmocka_unit_test(compare_fields), cmocka_unit_test(ranking_fields),
        cmocka_unit_test(keys_in_method), cmocka_unit_test(keys_in_man_page),
    };
    const char *build = getenv("BUILD");
    char program[1024];

    snprintf(program, sizeof program, "%s/stillrow", build != NULL ? build : "build");
    if (setenv("S", program, 1) != 0)
        return 1;
    return cmocka_run_group_tests_name("docs", tests, NULL, NULL);
}
