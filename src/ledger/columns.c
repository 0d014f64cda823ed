/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The columns of a ledger: one table that feeds reading, writing and the checks. */
#include <ctype.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"

enum kind { KIND_TEXT, KIND_NUMBER, KIND_RATING, KIND_MOUNT_IN, KIND_VERSION };

struct column {
    const char *name;
    enum kind kind;
    size_t offset;
    double min, max; /* of a number */
};

#define TEXT(name, member)                                                                                   \
    {                                                                                                        \
        name, KIND_TEXT, offsetof(struct sr_ledger_row, member), 0, 0                                        \
    }
#define NUMBER(name, member, lo, hi)                                                                         \
    {                                                                                                        \
        name, KIND_NUMBER, offsetof(struct sr_ledger_row, member), lo, hi                                    \
    }
#define PX(name, member) NUMBER(name, member, 0, 1e6)

static const struct column columns[] = {
    {"ledger", KIND_VERSION, 0, 0, 0},
    TEXT("fingerprint", fingerprint),
    TEXT("log", log),
    TEXT("date", date),
    TEXT("build", build),
    TEXT("motor", motor),
    TEXT("prop", prop),
    NUMBER("blades", blades, 1, 12),
    NUMBER("shore_a", shore_a, 0, 100),
    TEXT("material", material),
    NUMBER("temperature_c", temperature_c, -100, 150),
    NUMBER("resonance_hz", resonance_hz, 0.1, 1e5),
    TEXT("camera", camera),
    NUMBER("width_px", width_px, 16, 1e5),
    PX("threshold_px", threshold_px),
    TEXT("verdict", verdict),
    PX("wobble_px", wobble_px),
    PX("low_px", low_px),
    PX("high_px", high_px),
    PX("median_px", median_px),
    PX("rms_px", rms_px),
    PX("bend_px", band_px[0]),
    PX("wave_px", band_px[1]),
    PX("ripple_px", band_px[2]),
    PX("grain_px", band_px[3]),
    PX("smear_px", smear_px),
    NUMBER("airborne_s", airborne_s, 0, 1e7),
    NUMBER("main_hz", main_hz, 0, 1e6),
    NUMBER("main_share", main_share, 0, 1),
    TEXT("main_cause", main_cause),
    NUMBER("main_order", main_order, 0, 1000),
    {"rating", KIND_RATING, offsetof(struct sr_ledger_row, rating), 0, 0},
    TEXT("note", note),
    /* New columns go behind the last, where adding to an older ledger puts them, too. */
    {"mount_in", KIND_MOUNT_IN, offsetof(struct sr_ledger_row, mount_in), 0, 0},
};
enum { N_COLUMNS = sizeof columns / sizeof columns[0] };

const char *sr_ledger_column_name(size_t k)
{
    return k < N_COLUMNS ? columns[k].name : NULL;
}

size_t column_find(const char *name)
{
    for (size_t k = 0; k < N_COLUMNS; k++)
        if (strcmp(columns[k].name, name) == 0)
            return k;
    return N_COLUMNS;
}

const char *sr_rating_name(enum sr_rating rating)
{
    switch (rating) {
    case SR_UNRATED:
        return "";
    case SR_RATED_CLEAN:
        return "clean";
    case SR_RATED_SLIGHT:
        return "slight";
    case SR_RATED_BAD:
        return "bad";
    }
    return "";
}

const char *sr_mount_in_name(enum sr_mount_in mount_in)
{
    switch (mount_in) {
    case SR_MOUNT_IN_UNKNOWN:
        return "";
    case SR_MOUNT_IN_LOGGED:
        return "logged";
    case SR_MOUNT_IN_MODELLED:
        return "modelled";
    case SR_MOUNT_IN_NO:
        return "no";
    }
    return "";
}

static bool same_word(const char *a, const char *b)
{
    while (*a != '\0' && lower_case(*a) == lower_case(*b)) {
        a++;
        b++;
    }
    return *a == *b;
}

bool sr_rating_find(const char *name, enum sr_rating *rating)
{
    for (int r = SR_UNRATED; r <= SR_RATED_BAD; r++) {
        if (same_word(sr_rating_name((enum sr_rating)r), name)) {
            *rating = (enum sr_rating)r;
            return true;
        }
    }
    return false;
}

static bool find_mount_in(const char *name, enum sr_mount_in *mount_in)
{
    for (int m = SR_MOUNT_IN_UNKNOWN; m <= SR_MOUNT_IN_NO; m++) {
        if (same_word(sr_mount_in_name((enum sr_mount_in)m), name)) {
            *mount_in = (enum sr_mount_in)m;
            return true;
        }
    }
    return false;
}

static double *number_at(const struct sr_ledger_row *row, const struct column *column)
{
    return (void *)((char *)(size_t)row + column->offset);
}

static const char **text_at(const struct sr_ledger_row *row, const struct column *column)
{
    return (void *)((char *)(size_t)row + column->offset);
}

const char *column_text(const struct sr_ledger_row *row, size_t k, char *text, size_t size)
{
    const struct column *column = &columns[k];

    text[0] = '\0';
    switch (column->kind) {
    case KIND_VERSION:
        snprintf(text, size, "%d", SR_LEDGER_VERSION);
        break;
    case KIND_TEXT:
        return *text_at(row, column) != NULL ? *text_at(row, column) : "";
    case KIND_RATING:
        return sr_rating_name(row->rating);
    case KIND_MOUNT_IN:
        return sr_mount_in_name(row->mount_in);
    case KIND_NUMBER:
        if (isfinite(*number_at(row, column)))
            snprintf(text, size, "%.6g", *number_at(row, column));
        break;
    }
    return text;
}

void row_clear(struct sr_ledger_row *row)
{
    *row = (struct sr_ledger_row){.rating = SR_UNRATED};
    for (size_t k = 0; k < N_COLUMNS; k++) {
        if (columns[k].kind == KIND_TEXT)
            *text_at(row, &columns[k]) = "";
        else if (columns[k].kind == KIND_NUMBER)
            *number_at(row, &columns[k]) = NAN;
    }
}

/* The first problem of a row is the one that is said. */
static void set_problem(struct sr_ledger_row *row, const struct column *column, const char *text,
                        const char *what)
{
    if (row->problem[0] == '\0')
        snprintf(row->problem, sizeof row->problem, "%s: '%.40s' %s", column->name, text, what);
}

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t");
}

/* A number written with this decimal sign. strtod() alone would take "0x10", "inf" and "nan", too. */
static bool read_number(const char *text, char decimal, double *value)
{
    char plain[128], *end;
    const char *start = skip_blanks(text);
    size_t length = strspn(start, decimal == ',' ? "+-,0123456789eE" : "+-.0123456789eE");

    if (length == 0 || length >= sizeof plain || *skip_blanks(start + length) != '\0')
        return false;
    memcpy(plain, start, length);
    plain[length] = '\0';
    for (char *comma = plain; (comma = strchr(comma, ',')) != NULL;)
        *comma = '.';
    *value = strtod(plain, &end);
    return *end == '\0';
}

bool column_reads(size_t k, const char *text, char decimal)
{
    double value;
    return k < N_COLUMNS && columns[k].kind == KIND_NUMBER && read_number(text, decimal, &value);
}

char column_decimal(size_t k, const char *text)
{
    for (const char *sign = ",."; *sign != '\0'; sign++)
        if (strchr(text, *sign) != NULL && column_reads(k, text, *sign))
            return *sign;
    return '\0';
}

bool column_may_group(const char *text)
{
    const char *start = skip_blanks(text);
    start += strspn(start, "+-");
    size_t before = strspn(start, "0123456789");
    size_t after = start[before] != '\0' ? strspn(start + before + 1, "0123456789") : 0;
    return *start != '0' && before >= 1 && before <= 3 && after == 3 &&
           *skip_blanks(start + before + 1 + after) == '\0';
}

const char *column_with(size_t k, const char *text, char from, char to, char *room, size_t size)
{
    size_t length = strlen(text);
    const char *sign = strchr(text, from);

    if (from == to || sign == NULL || length >= size || !column_reads(k, text, from))
        return text;
    memcpy(room, text, length + 1);
    room[sign - text] = to;
    return room;
}

static void set_number(struct sr_ledger_row *row, const struct column *column, const char *text, char decimal)
{
    char range[64];
    double value;

    if (!read_number(text, decimal, &value)) {
        set_problem(row, column, text,
                    strchr(text, decimal == ',' ? '.' : ',') == NULL ? "is not a number"
                    : decimal == ',' ? "is not a number; write it with a comma, as those above"
                                     : "is not a number; write it with a point");
    } else if (!(value >= column->min && value <= column->max)) {
        snprintf(range, sizeof range, "is out of range (%.10g to %.10g)", column->min, column->max);
        set_problem(row, column, text, range);
    } else {
        *number_at(row, column) = value;
    }
}

/* A version as written, 0 if it is none. A spreadsheet may have made "1.0" of it, or "1,0". */
static long version_of(const char *text, char decimal)
{
    const char *start = skip_blanks(text);
    size_t length = strspn(start, "0123456789");
    const char *rest = start + length;

    if (*rest == decimal)
        rest += 1 + strspn(rest + 1, "0");
    return length > 0 && length < 10 && *skip_blanks(rest) == '\0' ? strtol(start, NULL, 10) : 0;
}

bool column_is_newer(size_t k, const char *text)
{
    return k < N_COLUMNS && columns[k].kind == KIND_VERSION &&
           (version_of(text, '.') > SR_LEDGER_VERSION || version_of(text, ',') > SR_LEDGER_VERSION);
}

void column_set(struct sr_ledger_row *row, size_t k, const char *text, char decimal)
{
    const struct column *column = &columns[k];

    if (column->kind == KIND_TEXT) {
        *text_at(row, column) = text;
        return;
    }
    if (*skip_blanks(text) == '\0')
        return;
    switch (column->kind) {
    case KIND_NUMBER:
        set_number(row, column, text, decimal);
        break;
    case KIND_RATING:
        if (!sr_rating_find(text, &row->rating))
            set_problem(row, column, text, "is none of clean, slight, bad");
        break;
    case KIND_MOUNT_IN:
        if (!find_mount_in(text, &row->mount_in))
            set_problem(row, column, text, "is none of logged, modelled, no");
        break;
    case KIND_VERSION:
        if (version_of(text, decimal) < 1)
            set_problem(row, column, text, "is no version of a ledger");
        break;
    case KIND_TEXT:
        break;
    }
}

static bool is_fingerprint(const char *text)
{
    size_t length = strspn(text, "0123456789abcdefABCDEF");
    return length == SR_FINGERPRINT_SIZE - 1 && text[length] == '\0';
}

void row_check(struct sr_ledger_row *row)
{
    if (row->problem[0] == '\0' && row->fingerprint[0] == '\0')
        snprintf(row->problem, sizeof row->problem, "no fingerprint");
    if (row->problem[0] == '\0' && !is_fingerprint(row->fingerprint))
        snprintf(row->problem, sizeof row->problem,
                 "fingerprint: '%.30s' is not 16 hexadecimal digits (did a spreadsheet change it?)",
                 row->fingerprint);
    if (row->problem[0] == '\0' && !isfinite(row->wobble_px))
        snprintf(row->problem, sizeof row->problem, "no wobble_px");
    row->readable = row->problem[0] == '\0';
}

static int compare_texts(const char *a, const char *b)
{
    return strcmp(a != NULL ? a : "", b != NULL ? b : "");
}

int compare_prints(const char *a, const char *b, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        int order = lower_case(a[i]) - lower_case(b[i]);
        if (order != 0 || a[i] == '\0')
            return order;
    }
    return 0;
}

bool sr_ledger_has_print(const struct sr_ledger_row *row, const char *beginning)
{
    return compare_prints(row->fingerprint, beginning, strlen(beginning)) == 0;
}

/* The same log seen through another camera, or said to be on another mount, is another row. */
int row_compare_flights(const struct sr_ledger_row *a, const struct sr_ledger_row *b)
{
    char text_a[64], text_b[64];
    size_t hardness = column_find("shore_a");

    int order = compare_prints(a->fingerprint, b->fingerprint, SIZE_MAX);
    if (order == 0)
        order = compare_texts(a->build, b->build);
    if (order == 0)
        order = compare_texts(a->camera, b->camera);
    if (order != 0)
        return order;
    /* Hardness as it is written: a row that was read has been rounded, one to be added has not. */
    return strcmp(column_text(a, hardness, text_a, sizeof text_a),
                  column_text(b, hardness, text_b, sizeof text_b));
}

bool sr_ledger_same_flight(const struct sr_ledger_row *a, const struct sr_ledger_row *b)
{
    return row_compare_flights(a, b) == 0;
}

bool sr_ledger_is_date(const char *text)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int n[3] = {0, 0, 0};

    for (size_t i = 0; i < 10; i++) {
        if (i == 4 || i == 7 ? text[i] != '-' : !isdigit((unsigned char)text[i]))
            return false;
        if (i != 4 && i != 7)
            n[i < 4 ? 0 : i < 7 ? 1 : 2] = 10 * n[i < 4 ? 0 : i < 7 ? 1 : 2] + (text[i] - '0');
    }
    if (text[10] != '\0' || n[1] < 1 || n[1] > 12 || n[2] < 1)
        return false;
    bool leap = n[0] % 4 == 0 && (n[0] % 100 != 0 || n[0] % 400 == 0);
    return n[2] <= days[n[1] - 1] + (n[1] == 2 && leap ? 1 : 0);
}

/* The part of a path behind its last slash. */
static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL && slash[1] != '\0' ? slash + 1 : path;
}

/* As sr_mount_apply() goes about it: with the gyro on the frame it takes a measured resonance, and no guess.
 */
static enum sr_mount_in mount_in_of(const struct sr_rig *rig)
{
    if (rig->gyro_side == SR_GYRO_CAMERA)
        return SR_MOUNT_IN_LOGGED;
    return rig->mount.resonance_hz > 0 ? SR_MOUNT_IN_MODELLED : SR_MOUNT_IN_NO;
}

void sr_ledger_row_from(struct sr_ledger_row *row, char hex[SR_FINGERPRINT_SIZE], const struct sr_log *log,
                        const struct sr_rig *rig, const struct sr_score *score)
{
    const struct sr_peak *main_peak = score->n_peaks > 0 ? &score->peaks[0] : NULL;

    snprintf(hex, SR_FINGERPRINT_SIZE, "%016llx", (unsigned long long)log->fingerprint);
    *row = (struct sr_ledger_row){
        .readable = true,
        .fingerprint = hex,
        .log = base_name(log->name),
        .date = "",
        .build = rig->build.name,
        .motor = rig->build.motor,
        .prop = rig->build.prop,
        .blades = rig->build.blades > 0 ? rig->build.blades : NAN,
        .shore_a = rig->mount.shore_a,
        .material = rig->mount.material != SR_MATERIAL_UNKNOWN ? sr_material_name(rig->mount.material) : "",
        .temperature_c = rig->mount.temperature_c,
        .resonance_hz = rig->mount.resonance_hz,
        .camera = rig->build.camera,
        .width_px = rig->camera.width_px,
        .threshold_px = score->threshold_px,
        .verdict = sr_verdict_name(score->verdict),
        .wobble_px = score->wobble_px.value,
        .low_px = score->wobble_px.low,
        .high_px = score->wobble_px.high,
        .median_px = score->median_px,
        .rms_px = score->rms_px,
        .smear_px = score->smear_px,
        .airborne_s = score->airborne_s,
        .main_hz = main_peak != NULL ? main_peak->hz : NAN,
        .main_share = main_peak != NULL ? main_peak->share : NAN,
        .main_cause = main_peak != NULL ? sr_cause_name(main_peak->cause) : "",
        .main_order = main_peak != NULL && main_peak->order > 0 ? main_peak->order : NAN,
        .rating = SR_UNRATED,
        .note = "",
        .mount_in = mount_in_of(rig),
    };
    for (size_t b = 0; b < SR_BAND_COUNT - 1; b++)
        row->band_px[b] = score->bands[b].seen ? score->bands[b].wobble_px : NAN;
}
