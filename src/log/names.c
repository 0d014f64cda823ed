/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/names.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

/* ---- splitting ---------------------------------------------------------- */

static bool is_upper(char c)
{
    return c >= 'A' && c <= 'Z';
}

static bool is_alpha(char c)
{
    return is_upper(c) || (c >= 'a' && c <= 'z');
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static void add_word(struct sr_name *name, const char *text, size_t size)
{
    if (size == 0 || name->n_words == SR_NAME_WORDS)
        return;
    char *word = name->words[name->n_words++];
    if (size >= SR_WORD_MAX)
        size = SR_WORD_MAX - 1;
    for (size_t i = 0; i < size; i++)
        word[i] = (char)tolower((unsigned char)text[i]);
    word[size] = '\0';
}

/* "gyrox", "wz", "rollrate", "timeus": two words that are often written as one. */
static size_t glue_point(const char *word, size_t size)
{
    static const char *const stems[] = {"gyroscope",
                                        "gyro",
                                        "gyr",
                                        "omega",
                                        "angularvelocity",
                                        "angvel",
                                        "angularrate",
                                        "rate",
                                        "accelerometer",
                                        "accel",
                                        "acc",
                                        "g",
                                        "w",
                                        "a"};
    static const char *const axes[] = {"x", "y", "z", "roll", "pitch", "yaw"};
    static const char *const pairs[][2] = {{"time", "us"},      {"time", "ms"},      {"time", "ns"},
                                           {"time", "sec"},     {"timestamp", "us"}, {"timestamp", "ms"},
                                           {"timestamp", "ns"}, {"motor", "rpm"},    {"motor", "speed"},
                                           {"motor", "out"},    {"motor", "output"}, {"esc", "rpm"}};

    for (size_t s = 0; s < sizeof stems / sizeof stems[0]; s++)
        for (size_t a = 0; a < sizeof axes / sizeof axes[0]; a++) {
            const size_t ns = strlen(stems[s]);
            const size_t na = strlen(axes[a]);
            if (ns + na != size || (ns == 1 && na > 1))
                continue;
            if (memcmp(word, stems[s], ns) == 0 && memcmp(word + ns, axes[a], na) == 0)
                return ns;
            if (ns > 1 && memcmp(word, axes[a], na) == 0 && memcmp(word + na, stems[s], ns) == 0)
                return na;
        }
    for (size_t p = 0; p < sizeof pairs / sizeof pairs[0]; p++)
        if (strlen(pairs[p][0]) + strlen(pairs[p][1]) == size &&
            memcmp(word, pairs[p][0], strlen(pairs[p][0])) == 0 &&
            memcmp(word + strlen(pairs[p][0]), pairs[p][1], strlen(pairs[p][1])) == 0)
            return strlen(pairs[p][0]);
    return 0;
}

/* A stretch of letters: glued pairs first, then case changes (gyroADC, ADCGyro). */
static void add_letters(struct sr_name *name, const char *text, size_t size)
{
    char lower[SR_WORD_MAX] = {0};
    size_t start = 0;

    if (size < SR_WORD_MAX) {
        for (size_t i = 0; i < size; i++)
            lower[i] = (char)tolower((unsigned char)text[i]);
        const size_t cut = glue_point(lower, size);
        if (cut > 0) {
            add_word(name, text, cut);
            add_word(name, text + cut, size - cut);
            return;
        }
    }
    for (size_t i = 1; i < size; i++) {
        const bool rises = !is_upper(text[i - 1]) && is_upper(text[i]);
        const bool acronym_ends =
            i + 1 < size && is_upper(text[i - 1]) && is_upper(text[i]) && !is_upper(text[i + 1]);
        if (rises || acronym_ends) {
            add_word(name, text + start, i - start);
            start = i;
        }
    }
    add_word(name, text + start, size - start);
}

static void add_words(struct sr_name *name, const char *text, size_t size)
{
    size_t i = 0;

    while (i < size) {
        size_t n = 1;
        if (is_alpha(text[i])) {
            while (i + n < size && is_alpha(text[i + n]))
                n++;
            add_letters(name, text + i, n);
        } else if (is_digit(text[i])) {
            while (i + n < size && is_digit(text[i + n]))
                n++;
            add_word(name, text + i, n);
        } else if (text[i] == '%') {
            add_word(name, text + i, 1);
        } else if ((unsigned char)text[i] >= 0x80) { /* a letter of some other script, or a micro sign */
            while (i + n < size && ((unsigned char)text[i + n] >= 0x80 || is_alpha(text[i + n])))
                n++;
            add_word(name, text + i, n);
        }
        i += n;
    }
}

static char closing(char c)
{
    switch (c) {
    case '(':
        return ')';
    case '[':
        return ']';
    case '{':
        return '}';
    case '<':
        return '>';
    default:
        return '\0';
    }
}

/* Brackets hold a unit, or words like the rest ("[0]", "(raw)"). */
static void split(struct sr_name *name, const char *text, size_t size)
{
    size_t start = 0;

    for (size_t i = 0; i < size; i++) {
        const char close = closing(text[i]);
        const char *end = close != '\0' ? memchr(text + i, close, size - i) : NULL;
        if (end == NULL)
            continue;
        const size_t inner = (size_t)(end - text) - i - 1;
        const char *unit = sr_unit_find(text + i + 1, inner);
        add_words(name, text + start, i - start);
        if (unit[0] != '\0')
            snprintf(name->unit, sizeof name->unit, "%s", unit);
        else
            add_words(name, text + i + 1, inner);
        i = (size_t)(end - text);
        start = i + 1;
    }
    add_words(name, text + start, size - start);
}

/* A unit at the tail: gyro_x_rad_s, time_us, throttle_pct. One word at least stays. */
static void take_trailing_unit(struct sr_name *name)
{
    for (size_t take = 3; take >= 1 && name->unit[0] == '\0'; take--) {
        char joined[3 * SR_WORD_MAX] = "";
        if (name->n_words < take || (name->n_words == take && take == 1 && strlen(name->words[0]) < 2))
            continue;
        for (size_t i = name->n_words - take; i < name->n_words; i++)
            strncat(joined, name->words[i], sizeof joined - strlen(joined) - 1);
        const char *unit = sr_unit_find(joined, strlen(joined));
        if (unit[0] == '\0' || (strcmp(unit, "g") == 0 && name->n_words == 1))
            continue;
        snprintf(name->unit, sizeof name->unit, "%s", unit);
        if (name->n_words > take && strcmp(unit, "rpm") != 0)
            name->n_words -= take;
    }
}

/* ---- meaning ------------------------------------------------------------ */

static bool has(const struct sr_name *name, const char *word)
{
    for (size_t i = 0; i < name->n_words; i++)
        if (strcmp(name->words[i], word) == 0)
            return true;
    return false;
}

static bool has_any(const struct sr_name *name, const char *const *list)
{
    for (; *list != NULL; list++)
        if (has(name, *list))
            return true;
    return false;
}

static bool has_prefix(const struct sr_name *name, const char *prefix)
{
    for (size_t i = 0; i < name->n_words; i++)
        if (strncmp(name->words[i], prefix, strlen(prefix)) == 0)
            return true;
    return false;
}

static bool has_inside(const struct sr_name *name, const char *part)
{
    for (size_t i = 0; i < name->n_words; i++)
        if (strstr(name->words[i], part) != NULL)
            return true;
    return false;
}

/* Words in a row. */
static bool has_pair(const struct sr_name *name, const char *first, const char *second_prefix)
{
    for (size_t i = 0; i + 1 < name->n_words; i++)
        if (strcmp(name->words[i], first) == 0 &&
            strncmp(name->words[i + 1], second_prefix, strlen(second_prefix)) == 0)
            return true;
    return false;
}

/* What a controller asks for, not what the craft does. */
static bool is_demand(const struct sr_name *name)
{
    static const char *const short_forms[] = {"sp",     "cmd",       "tgt",       "des",  "ref",
                                              "req",    "rc",        "set",       "goal", "stick",
                                              "wanted", "reference", "requested", NULL};

    return has_any(name, short_forms) || has_inside(name, "setpoint") || has_inside(name, "command") ||
           has_inside(name, "target") || has_inside(name, "desired") || has_inside(name, "demand");
}

/* About a rate, but not the rate itself. */
static bool is_about(const struct sr_name *name)
{
    static const char *const words[] = {
        "bias",       "offset",       "offs",  "temp",   "temperature", "var",      "variance",  "cov",
        "covariance", "std",          "noise", "health", "clip",        "clipping", "error",     "err",
        "integral",   "derivative",   "dt",    "delta",  "status",      "valid",    "angle",     "cal",
        "scale",      "acceleration", "pid",   "ff",     "feedforward", "time",     "timestamp", "mag",
        "count",      "fft",          "peak",  "dot",    NULL};

    return has_any(name, words);
}

static int marker_of(const struct sr_name *name)
{
    static const char *const raw[] = {"raw", "unf", "nofilter", "nofilt", "prefilter", "prefilt", NULL};

    if (has_any(name, raw) || has_prefix(name, "unfil") || has_pair(name, "un", "filt") ||
        has_pair(name, "no", "filt") || has_pair(name, "non", "filt") || has_pair(name, "not", "filt") ||
        has_pair(name, "pre", "filt") || has_prefix(name, "nonfil"))
        return 2;
    if (has_prefix(name, "filt") || has_prefix(name, "smooth") || has_prefix(name, "lpf") ||
        has_prefix(name, "lowpass") || has_pair(name, "low", "pass") || has_prefix(name, "notch"))
        return 0;
    return 1;
}

/* Find the axis, and take its word out of the list. Letters and words go before numbers. */
static void take_axis(struct sr_name *name)
{
    static const char *const letters[3][3] = {{"x", "y", "z"}, {"roll", "pitch", "yaw"}, {"p", "q", "r"}};
    size_t at = SR_NAME_WORDS;

    for (size_t style = 0; style < 3 && at == SR_NAME_WORDS; style++)
        for (size_t i = name->n_words; i-- > 0 && at == SR_NAME_WORDS;)
            for (int axis = 0; axis < 3; axis++)
                if (strcmp(name->words[i], letters[style][axis]) == 0) {
                    name->style = (enum sr_axis_style)(SR_AXIS_XYZ + (int)style);
                    name->index = axis;
                    at = i;
                }
    for (size_t i = name->n_words; i-- > 0 && at == SR_NAME_WORDS;)
        if (is_digit(name->words[i][0]) && strlen(name->words[i]) <= 2) {
            name->style = SR_AXIS_INDEX;
            name->index = (name->words[i][0] - '0');
            if (name->words[i][1] != '\0')
                name->index = name->index * 10 + (name->words[i][1] - '0');
            at = i;
        }
    for (size_t i = 0; i < name->n_words; i++) {
        const size_t used = strlen(name->key);
        if (i != at)
            snprintf(name->key + used, sizeof name->key - used, "%s%s", used > 0 ? " " : "", name->words[i]);
    }
}

static bool is_rate_unit(const char *unit)
{
    return sr_unit_dps(unit) > 0.0 && strcmp(unit, "counts") != 0;
}

/* 0: no rate; else the higher, the surer. */
static int rate_rank(const struct sr_name *name)
{
    const bool sure_unit = is_rate_unit(name->unit);

    if (name->style == SR_AXIS_NONE || is_demand(name) || is_about(name) || has_prefix(name, "acc"))
        return 0;
    if (name->unit[0] != '\0' && sr_unit_dps(name->unit) <= 0.0)
        return 0; /* an angle, a current, … */
    if (has_prefix(name, "gyr"))
        return 60;
    if (has(name, "omega") || has(name, "angvel") || has(name, "angularvelocity") ||
        has_pair(name, "angular", "vel") || has_pair(name, "ang", "vel"))
        return 50;
    if (has(name, "rate") || has(name, "rates") || has_pair(name, "angular", "rate"))
        return 40;
    if (sure_unit && name->style != SR_AXIS_INDEX)
        return 30;
    if (has(name, "w"))
        return 20;
    if (name->style == SR_AXIS_PQR && name->n_words == 1)
        return 10;
    return has(name, "g") && name->style == SR_AXIS_XYZ ? 5 : 0;
}

/* Its one word is its unit. */
static bool is_own_unit(const struct sr_name *name)
{
    return name->n_words == 1 &&
           strcmp(sr_unit_find(name->words[0], strlen(name->words[0])), name->unit) == 0;
}

static int time_rank(const struct sr_name *name)
{
    static const char *const stems[] = {"time",  "timestamp",  "t",       "clock",  "ts",
                                        "stamp", "timestamps", "elapsed", "uptime", NULL};
    static const char *const not [] = {"dt",      "delta", "diff", "date", "duration", "period",
                                       "timeout", "loop",  "age",  "step", NULL};
    const bool unit = sr_unit_seconds(name->unit) > 0.0;

    if (has_any(name, not ) || (name->unit[0] != '\0' && !unit))
        return 0;
    if (!has_any(name, stems))
        return unit && is_own_unit(name) ? 20
                                         : 0; /* "us" or "seconds" alone, but no "latency (ms)", "v (m/s)" */
    return 60 - 5 * (int)name->n_words + (unit ? 10 : 0) +
           (has(name, "time") || has(name, "timestamp") ? 4 : 0);
}

static int throttle_rank(const struct sr_name *name)
{
    static const char *const not [] = {"cut", "limit", "min", "max", "boost", "idle", "trim", "time", NULL};

    if (has_any(name, not ) || name->style == SR_AXIS_XYZ)
        return 0;
    if (has(name, "throttle") || has(name, "throt"))
        return 50 - (int)name->n_words;
    return has(name, "thr") || has(name, "thrust") ? 30 - (int)name->n_words : 0;
}

/* Motor speed and motor output. */
static void read_motor(struct sr_name *name)
{
    static const char *const not [] = {"temp",  "temperature", "current", "amp",   "amps",   "volt",
                                       "volts", "voltage",     "power",   "error", "status", "telemetry",
                                       "test",  "max",         "min",     "limit", "filter", "notch",
                                       "count", "a",           "v",       NULL};
    static const char *const stems[] = {"motor",   "motors", "mot",      "out",       "output",
                                        "outputs", "pwm",    "actuator", "actuators", NULL};
    const bool motor = has_any(name, stems) || has(name, "esc");
    const bool turns =
        has(name, "rpm") || has(name, "rpms") || has(name, "erpm") || strcmp(name->unit, "rpm") == 0;
    const bool speed = motor && (strcmp(name->unit, "hz") == 0 || has(name, "speed") || has(name, "hz"));

    if (has_any(name, not ))
        return;
    if ((turns || speed) && !is_demand(name)) {
        name->role = SR_ROLE_SPEED;
        name->electrical = has(name, "erpm") || has(name, "e") || has_prefix(name, "elec");
        if (has(name, "hz"))
            snprintf(name->unit, sizeof name->unit, "hz");
        else if (turns)
            snprintf(name->unit, sizeof name->unit, "rpm");
        name->rank = (turns ? 50 : 40) - (name->electrical ? 10 : 0);
    } else if (!turns && !speed && has_any(name, stems) && name->style == SR_AXIS_INDEX &&
               (name->unit[0] == '\0' || strcmp(name->unit, "%") == 0 || strcmp(name->unit, "us") == 0)) {
        name->role = SR_ROLE_OUTPUT;
        name->rank = has_prefix(name, "mot") ? 50 : 40;
    }
}

static void read_role(struct sr_name *name)
{
    const int rate = rate_rank(name);
    const int time = time_rank(name);
    const int throttle = throttle_rank(name);

    if (rate > 0) {
        name->role = SR_ROLE_RATE;
        name->rank = rate;
    } else if (throttle > 0) {
        name->role = SR_ROLE_THROTTLE;
        name->rank = throttle;
    } else if (time > 0) {
        name->role = SR_ROLE_TIME;
        name->rank = time;
    } else if (name->style != SR_AXIS_NONE &&
               (has_prefix(name, "acc") || (has(name, "a") && name->style == SR_AXIS_XYZ)) &&
               !is_demand(name)) {
        name->role = SR_ROLE_ACCEL;
        name->rank = has_prefix(name, "acc") ? 50 : 10;
    } else {
        read_motor(name);
    }
}

void sr_name_read(const char *text, size_t size, struct sr_name *name)
{
    memset(name, 0, sizeof *name);
    name->index = -1;
    while (size > 0 && (text[0] == ' ' || text[0] == '\t' || text[0] == '#')) {
        text++;
        size--;
    }
    while (size > 0 && (text[size - 1] == ' ' || text[size - 1] == '\t' || text[size - 1] == '\r'))
        size--;
    snprintf(name->text, sizeof name->text, "%.*s", (int)(size < SR_KEY_MAX ? size : SR_KEY_MAX), text);
    if (size == 0 || is_digit(text[0]) || text[0] == '-' || text[0] == '.')
        return; /* a number */
    split(name, text, size < 4 * SR_KEY_MAX ? size : 4 * SR_KEY_MAX);
    take_trailing_unit(name);
    take_axis(name);
    name->marker = marker_of(name);
    read_role(name);
}
