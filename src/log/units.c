/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <string.h>

#include "log/names.h"

/* Spellings, squeezed to lower-case letters, digits and %: "rad s^-1" is "rads1". */
static const struct spelling {
    const char *squeezed;
    const char *unit;
} spellings[] = {
    {"ns", "ns"},
    {"nsec", "ns"},
    {"nsecs", "ns"},
    {"nanos", "ns"},
    {"nanosecond", "ns"},
    {"nanoseconds", "ns"},
    {"us", "us"},
    {"usec", "us"},
    {"usecs", "us"},
    {"micros", "us"},
    {"microsec", "us"},
    {"microsecond", "us"},
    {"microseconds", "us"},
    {"ms", "ms"},
    {"msec", "ms"},
    {"msecs", "ms"},
    {"millis", "ms"},
    {"millisec", "ms"},
    {"millisecond", "ms"},
    {"milliseconds", "ms"},
    {"s", "s"},
    {"sec", "s"},
    {"secs", "s"},
    {"second", "s"},
    {"seconds", "s"},
    {"dps", "deg/s"},
    {"degs", "deg/s"},
    {"degsec", "deg/s"},
    {"degsecond", "deg/s"},
    {"degpers", "deg/s"},
    {"degpersec", "deg/s"},
    {"degpersecond", "deg/s"},
    {"degreess", "deg/s"},
    {"degreessec", "deg/s"},
    {"degreespers", "deg/s"},
    {"degreespersec", "deg/s"},
    {"degreespersecond", "deg/s"},
    {"degreesecond", "deg/s"},
    {"degreepersecond", "deg/s"},
    {"degreessecond", "deg/s"},
    {"degs1", "deg/s"},
    {"degsec1", "deg/s"},
    {"mdps", "mdeg/s"},
    {"mdegs", "mdeg/s"},
    {"mdegsec", "mdeg/s"},
    {"rads", "rad/s"},
    {"radsec", "rad/s"},
    {"radsecond", "rad/s"},
    {"radpers", "rad/s"},
    {"radpersec", "rad/s"},
    {"radpersecond", "rad/s"},
    {"radianss", "rad/s"},
    {"radianssec", "rad/s"},
    {"radianspers", "rad/s"},
    {"radianspersec", "rad/s"},
    {"radianspersecond", "rad/s"},
    {"radianssecond", "rad/s"},
    {"radiansecond", "rad/s"},
    {"rads1", "rad/s"},
    {"radsec1", "rad/s"},
    {"rps", "rad/s"},
    {"deg", "deg"},
    {"degree", "deg"},
    {"degrees", "deg"},
    {"rad", "rad"},
    {"radian", "rad"},
    {"radians", "rad"},
    {"%", "%"},
    {"percent", "%"},
    {"pct", "%"},
    {"rpm", "rpm"},
    {"revmin", "rpm"},
    {"hz", "hz"},
    {"g", "g"},
    {"ms2", "m/s2"},
    {"msec2", "m/s2"},
    {"mss", "m/s2"},
    {"lsb", "counts"},
    {"counts", "counts"},
    {"lsbs", "counts"},
};

/* Squeeze text[size] into out[room]; false if it does not fit. */
static bool squeeze(const char *text, size_t size, char *out, size_t room)
{
    size_t n = 0;

    for (size_t i = 0; i < size; i++) {
        const unsigned char c = (unsigned char)text[i];
        const bool next = i + 1 < size;
        const char *put = NULL;
        char one[2] = {0};
        if ((c == 0xC2 && next && (unsigned char)text[i + 1] == 0xB5) ||
            (c == 0xCE && next && (unsigned char)text[i + 1] == 0xBC)) {
            put = "u"; /* micro sign, Greek mu */
            i++;
        } else if (c == 0xC2 && next && (unsigned char)text[i + 1] == 0xB0) {
            put = "deg";
            i++;
        } else if (c == 0xC2 && next && ((unsigned char)text[i + 1] & 0xFEU) == 0xB2) {
            put = (unsigned char)text[i + 1] == 0xB2 ? "2" : "3";
            i++;
        } else if (c == 0xC2 && next && (unsigned char)text[i + 1] == 0xB9) {
            put = "1"; /* superscript */
            i++;
        } else if (c == 0xB5) {
            put = "u"; /* Latin-1 */
        } else if (c == 0xB0) {
            put = "deg";
        } else if (c < 0x80 && (isalnum(c) || c == '%')) {
            one[0] = (char)tolower(c);
            put = one;
        }
        if (put != NULL) {
            const size_t length = strlen(put);
            if (n + length >= room)
                return false;
            memcpy(out + n, put, length);
            n += length;
        }
    }
    out[n] = '\0';
    return true;
}

const char *sr_unit_find(const char *text, size_t size)
{
    char squeezed[24];

    if (squeeze(text, size, squeezed, sizeof squeezed))
        for (size_t i = 0; i < sizeof spellings / sizeof spellings[0]; i++)
            if (strcmp(spellings[i].squeezed, squeezed) == 0)
                return spellings[i].unit;
    return "";
}

double sr_unit_seconds(const char *unit)
{
    static const struct {
        const char *unit;
        double seconds;
    } table[] = {{"ns", 1e-9}, {"us", 1e-6}, {"ms", 1e-3}, {"s", 1.0}};

    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (strcmp(table[i].unit, unit) == 0)
            return table[i].seconds;
    return 0.0;
}

double sr_unit_dps(const char *unit)
{
    if (strcmp(unit, "deg/s") == 0 || strcmp(unit, "counts") == 0)
        return 1.0;
    if (strcmp(unit, "mdeg/s") == 0)
        return 1e-3;
    return strcmp(unit, "rad/s") == 0 ? SR_DEG_PER_RAD : 0.0;
}
