/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/spec.h"

#include <string.h>
#include <strings.h>

const char *sr_spec_key_name(size_t key)
{
    static const char *const names[] = {"time",   "x",      "y",      "z",      "throttle",
                                        "motor1", "motor2", "motor3", "motor4", "motor5",
                                        "motor6", "motor7", "motor8"};
    _Static_assert(sizeof names / sizeof names[0] == SR_SPEC_KEYS, "a name for each key");

    return names[key];
}

/* The key before '=' at text[size], or SR_SPEC_KEYS. */
static size_t find_key(const char *text, size_t size)
{
    while (size > 0 && *text == ' ') {
        text++;
        size--;
    }
    for (size_t k = 0; k < SR_SPEC_KEYS; k++)
        if (strlen(sr_spec_key_name(k)) == size && memcmp(sr_spec_key_name(k), text, size) == 0)
            return k;
    return SR_SPEC_KEYS;
}

/* The end of an item: the next comma with "key=" behind it, so that a name may hold commas. */
static const char *item_end(const char *text)
{
    const char *comma = strchr(text, ',');

    for (; comma != NULL; comma = strchr(comma + 1, ',')) {
        const char *equals = strchr(comma, '=');
        if (equals == NULL)
            break;
        if (find_key(comma + 1, (size_t)(equals - comma) - 1) < SR_SPEC_KEYS)
            return comma;
    }
    return text + strlen(text);
}

static size_t as_number(const char *text, size_t size)
{
    size_t number = 0;

    for (size_t i = 0; i < size; i++) {
        if (text[i] < '0' || text[i] > '9')
            return 0;
        if (number <= SR_COLUMNS_MAX) /* beyond, it stays too large */
            number = number * 10 + (size_t)(text[i] - '0');
    }
    return number;
}

static enum sr_status read_item(struct sr_spec *spec, const char *text, const char *end, struct sr_error *err)
{
    const char *equals = memchr(text, '=', (size_t)(end - text));
    const size_t key = equals != NULL ? find_key(text, (size_t)(equals - text)) : SR_SPEC_KEYS;

    if (key == SR_SPEC_KEYS)
        return sr_fail(
            err, SR_ERR_ARGUMENT, NULL, 0,
            "columns: '%.*s' is not KEY=NAME with a key of time, x, y, z, throttle, motor1 to motor%d",
            (int)(end - text > 80 ? 80 : end - text), text, SR_MOTORS_MAX);
    struct sr_spec_item *item = &spec->item[key];
    if (item->text != NULL)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "columns: '%.*s' is given twice", (int)(equals - text),
                       text);
    item->text = equals + 1;
    item->size = (size_t)(end - equals) - 1;
    if (item->size == 0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "columns: '%.*s' names no column", (int)(equals - text),
                       text);
    item->number = as_number(item->text, item->size);
    if (item->number > SR_COLUMNS_MAX || (item->number == 0 && item->text[0] == '0' && item->size == 1))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "columns: '%.*s' is outside 1 to %d", (int)item->size,
                       item->text, SR_COLUMNS_MAX);
    return SR_OK;
}

enum sr_status sr_spec_read(struct sr_spec *spec, const char *text, struct sr_error *err)
{
    *spec = (struct sr_spec){0};
    if (text == NULL)
        return SR_OK;
    for (const char *end;; text = end + 1) {
        end = item_end(text);
        const enum sr_status status = read_item(spec, text, end, err);
        if (status != SR_OK)
            return status;
        if (*end == '\0')
            break;
    }
    const struct sr_spec_item *item = spec->item;
    const int rates =
        (item[SR_SPEC_X].text != NULL) + (item[SR_SPEC_Y].text != NULL) + (item[SR_SPEC_Z].text != NULL);
    if (rates != 0 && rates != 3)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "columns: x, y and z must be named together");
    spec->given = true;
    spec->numbers = item[SR_SPEC_X].number > 0 && item[SR_SPEC_Y].number > 0 && item[SR_SPEC_Z].number > 0 &&
                    (item[SR_SPEC_TIME].text == NULL || item[SR_SPEC_TIME].number > 0);
    return SR_OK;
}

static bool same_words(const struct sr_name *a, const struct sr_name *b)
{
    if (a->n_words != b->n_words || a->n_words == 0)
        return false;
    for (size_t i = 0; i < a->n_words; i++)
        if (strcmp(a->words[i], b->words[i]) != 0)
            return false;
    return true;
}

int sr_spec_find(const struct sr_spec_item *item, const struct sr_name *name, size_t count)
{
    struct sr_name wanted;

    if (item->number > 0)
        return item->number <= count ? (int)item->number - 1 : -1;
    sr_name_read(item->text, item->size, &wanted);
    for (int level = 0; level < 3; level++) {
        int found = -1;
        for (size_t i = 0; i < count; i++) {
            const bool match = level == 0   ? strcmp(name[i].text, wanted.text) == 0
                               : level == 1 ? strcasecmp(name[i].text, wanted.text) == 0
                                            : same_words(&name[i], &wanted);
            if (match && found >= 0)
                return -2;
            if (match)
                found = (int)i;
        }
        if (found >= 0)
            return found;
    }
    return -1;
}
