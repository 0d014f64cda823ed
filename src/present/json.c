/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "json.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

json_t *sr_json_number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

json_t *sr_json_count(uint64_t value)
{
    return json_integer((json_int_t)value);
}

/* Bytes of the well-formed UTF-8 character at `at` (Unicode 15, table 3-7), 0 if it is none. */
static size_t utf8_length(const unsigned char *at)
{
    size_t length;
    unsigned char low = 0x80, high = 0xbf; /* of the second byte */

    if (at[0] < 0x80)
        return 1;
    if (at[0] >= 0xc2 && at[0] <= 0xdf)
        length = 2;
    else if (at[0] >= 0xe0 && at[0] <= 0xef)
        length = 3;
    else if (at[0] >= 0xf0 && at[0] <= 0xf4)
        length = 4;
    else
        return 0;
    if (at[0] == 0xe0)
        low = 0xa0;
    if (at[0] == 0xed)
        high = 0x9f;
    if (at[0] == 0xf0)
        low = 0x90;
    if (at[0] == 0xf4)
        high = 0x8f;
    for (size_t i = 1; i < length; i++) {
        if (at[i] < low || at[i] > high)
            return 0;
        low = 0x80;
        high = 0xbf;
    }
    return length;
}

json_t *sr_json_text(const char *text)
{
    static const char replacement[] = "\xef\xbf\xbd";
    const size_t size = strlen(text);

    if (size > SIZE_MAX / 3 - 1)
        return NULL;
    char *clean = malloc(3 * size + 1);
    if (clean == NULL)
        return NULL;
    size_t used = 0;
    for (size_t i = 0; i < size;) {
        size_t length = utf8_length((const unsigned char *)text + i);
        memcpy(clean + used, length > 0 ? text + i : replacement, length > 0 ? length : 3);
        used += length > 0 ? length : 3;
        i += length > 0 ? length : 1;
    }
    clean[used] = '\0';
    json_t *value = json_string(clean);
    free(clean);
    return value;
}

void sr_json_set(json_t *object, const char *key, json_t *value, bool *failed)
{
    if (json_object_set_new(object, key, value) != 0)
        *failed = true;
}

void sr_json_add(json_t *array, json_t *value, bool *failed)
{
    if (json_array_append_new(array, value) != 0)
        *failed = true;
}

/* The text of a value as it comes. json_dumps() is not used: jansson 2.14's goes on where its own buffer
 * could not grow, and gives back a text with a hole in it. */
struct sink {
    char *data;
    size_t size, room;
    bool failed;
};

static int take(const char *data, size_t size, void *context)
{
    struct sink *sink = context;

    if (sink->failed || size > SIZE_MAX / 2 - sink->size) {
        sink->failed = true;
        return -1;
    }
    if (sink->size + size > sink->room) {
        const size_t room = 2 * (sink->size + size) + 4096;
        char *grown = realloc(sink->data, room);
        if (grown == NULL) {
            sink->failed = true;
            return -1;
        }
        sink->data = grown;
        sink->room = room;
    }
    memcpy(sink->data + sink->size, data, size);
    sink->size += size;
    return 0;
}

/*
 * jansson escapes C0, but leaves DEL and C1 (in UTF-8 0xc2 0x80..0x9f) as they are. A terminal obeys them,
 * so they are escaped here: the same JSON.
 */
static void write_escaped(FILE *out, const char *data, size_t size)
{
    size_t plain = 0;

    for (size_t i = 0; i < size; i++) {
        const unsigned char *at = (const unsigned char *)data + i;
        const bool c1 = at[0] == 0xc2 && i + 1 < size && at[1] >= 0x80 && at[1] <= 0x9f;
        if (at[0] != 0x7f && !c1)
            continue;
        fwrite(data + plain, 1, i - plain, out);
        fprintf(out, "\\u%04x", (unsigned)(c1 ? at[1] : at[0]));
        i += c1;
        plain = i + 1;
    }
    fwrite(data + plain, 1, size - plain, out);
}

enum sr_status sr_json_write(FILE *out, json_t *root, bool failed, struct sr_error *err)
{
    struct sink sink = {.failed = failed || root == NULL};

    if (!sink.failed && json_dump_callback(root, take, &sink, JSON_COMPACT | JSON_REAL_PRECISION(6)) != 0)
        sink.failed = true;
    json_decref(root);
    if (!sink.failed) {
        write_escaped(out, sink.data, sink.size);
        fputc('\n', out);
    }
    free(sink.data);
    if (sink.failed)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory while writing JSON");
    return ferror(out) ? sr_fail(err, SR_ERR_WRITE, NULL, 0, "cannot write JSON") : SR_OK;
}

json_t *sr_json_camera(const struct sr_rig *rig, bool *failed)
{
    const struct sr_camera *camera = &rig->camera;
    json_t *object = json_object();
    char assumed[SR_NOTE_MAX];

    sr_rig_assumption(rig, assumed, sizeof assumed);
    sr_json_set(object, "width_px", sr_json_number(camera->width_px), failed);
    sr_json_set(object, "height_px", sr_json_number(camera->height_px), failed);
    sr_json_set(object, "fps", sr_json_number(camera->fps), failed);
    sr_json_set(object, "readout_ms", sr_json_number(1e3 * camera->readout_s), failed);
    sr_json_set(object, "exposure_ms", sr_json_number(1e3 * camera->exposure_s), failed);
    sr_json_set(object, "hfov_deg", sr_json_number(camera->hfov_deg), failed);
    sr_json_set(object, "lens", sr_json_text(sr_lens_name(camera->lens)), failed);
    sr_json_set(object, "tilt_deg", sr_json_number(camera->tilt_deg), failed);
    sr_json_set(object, "axes", sr_json_text(sr_axes_name(rig->axes)), failed);
    sr_json_set(object, "assumed", sr_json_text(assumed), failed);
    return object;
}

json_t *sr_json_quality(const struct sr_log *log, bool *failed)
{
    const struct sr_quality *quality = &log->quality;
    json_t *object = json_object(), *notes = json_array();

    sr_json_set(object, "rate_hz", sr_json_number(quality->rate_hz), failed);
    sr_json_set(object, "duration_s", sr_json_number(quality->duration_s), failed);
    sr_json_set(object, "rows", sr_json_count(quality->rows), failed);
    sr_json_set(object, "bad_rows", sr_json_count(quality->bad_rows), failed);
    sr_json_set(object, "backward_rows", sr_json_count(quality->backward_rows), failed);
    sr_json_set(object, "lost_rows", sr_json_count(quality->lost_rows), failed);
    sr_json_set(object, "first_bad_line", sr_json_count(quality->first_bad_line), failed);
    sr_json_set(object, "gaps", sr_json_count(quality->gaps), failed);
    sr_json_set(object, "jitter_us", sr_json_number(quality->jitter_us), failed);
    sr_json_set(object, "clipped", sr_json_count(quality->clipped), failed);
    sr_json_set(object, "clip_dps", sr_json_number(quality->clip_dps), failed);
    sr_json_set(object, "nyquist_hz", sr_json_number(quality->nyquist_hz), failed);
    sr_json_set(object, "low_pass_hz", sr_json_number(quality->low_pass_hz), failed);
    sr_json_set(object, "low_pass_low_hz", sr_json_number(quality->low_pass_low_hz), failed);
    sr_json_set(object, "low_pass_high_hz", sr_json_number(quality->low_pass_high_hz), failed);
    sr_json_set(object, "bridged_hz", sr_json_number(quality->bridged_hz), failed);
    sr_json_set(object, "coarse_stamps", json_boolean(quality->coarse_stamps), failed);
    sr_json_set(object, "resampled", json_boolean(quality->resampled), failed);
    for (size_t i = 0; i < log->n_notes; i++)
        sr_json_add(notes, sr_json_text(log->notes[i]), failed);
    sr_json_set(object, "notes", notes, failed);
    return object;
}
