/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rig files: read, finished, and a threshold written back. What is no rig is refused and left alone; in what
 * is one, writing changes the threshold and not another byte, and writing it again changes nothing.
 */
#include <math.h>

#include "fuzz/fuzz.h"
#include "stillrow/rig.h"

#define WRITTEN_PX 1.25 /* "1.25": four bytes */

static void check_camera(const struct sr_camera *camera)
{
    struct sr_error err;

    CHECK(sr_camera_check(camera, &err) == SR_OK);
    CHECK(isfinite(sr_camera_default_threshold_px(camera)));
}

static void check_text(const char *text)
{
    CHECK(strlen(text) < SR_TEXT_MAX);
    for (const char *c = text; *c != '\0'; c++)
        CHECK((unsigned char)*c >= 0x20 && *c != 0x7F);
}

/* What is in a finished rig can be worked with. */
static void check_rig(struct sr_rig *rig)
{
    char text[300];
    struct sr_error err;

    check_text(rig->build.name);
    check_text(rig->build.motor);
    check_text(rig->build.prop);
    CHECK(isnan(rig->threshold_px) || rig->threshold_px > 0);
    if (sr_rig_finish(rig, &err) != SR_OK) {
        CHECK(err.status == SR_ERR_RIG && err.text[0] != '\0');
        return;
    }
    check_camera(&rig->camera);
    CHECK(rig->n_modes <= SR_MODES_MAX);
    for (size_t m = 0; m < rig->n_modes; m++) {
        check_camera(&rig->modes[m].camera);
        check_text(rig->modes[m].name);
    }
    CHECK(isfinite(sr_rig_threshold_px(rig)) && sr_rig_threshold_px(rig) > 0);
    sr_rig_assumption(rig, text, sizeof text);
    CHECK(memchr(text, '\0', sizeof text) != NULL);
}

/* The new text is the old one with one stretch exchanged, which holds no line end if anything was there. */
static void check_bytes(const char *old, size_t old_size, const char *now, size_t now_size)
{
    const size_t most = old_size < now_size ? old_size : now_size;
    size_t head = 0, tail = 0;

    while (head < most && old[head] == now[head])
        head++;
    while (tail < most - head && old[old_size - 1 - tail] == now[now_size - 1 - tail])
        tail++;
    CHECK(memchr(old + head, '\n', old_size - tail - head) == NULL);
    /* "[threshold]", its key, and line ends: nothing else comes new. */
    CHECK(now_size - tail - head <= 40);
}

/* Alike but for the threshold. */
static void check_same(const struct sr_rig *a, const struct sr_rig *b)
{
    struct sr_rig with = *b;

    with.threshold_px = a->threshold_px;
    CHECK(memcmp(a, &with, sizeof with) == 0);
}

static void write_back(const char *path, const char *old, size_t old_size, const struct sr_rig *before)
{
    struct sr_rig after;
    struct sr_error err;
    size_t size, again_size;

    CHECK(sr_rig_write_threshold(path, WRITTEN_PX, &err) == SR_OK);
    char *now = fuzz_get(path, &size);
    check_bytes(old, old_size, now, size);
    memset(&after, 0, sizeof after);
    sr_rig_init(&after);
    if (sr_rig_read(&after, path, &err) != SR_OK) {
        fprintf(stderr, "after writing, line %zu: %s\n%s\n", err.line, err.text, now);
        abort();
    }
    CHECK(after.threshold_px == WRITTEN_PX);
    check_same(before, &after);
    CHECK(sr_rig_write_threshold(path, WRITTEN_PX, &err) == SR_OK);
    char *again = fuzz_get(path, &again_size);
    CHECK(again_size == size && memcmp(again, now, size) == 0);
    free(again);
    free(now);
}

static void refuse(const char *path, const char *old, size_t old_size, const struct sr_error *why)
{
    struct sr_error err;
    size_t size;

    CHECK(why->text[0] != '\0' && why->status == SR_ERR_RIG);
    CHECK(sr_rig_write_threshold(path, WRITTEN_PX, &err) == SR_ERR_RIG);
    char *now = fuzz_get(path, &size);
    CHECK(size == old_size && memcmp(now, old, size) == 0);
    free(now);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct sr_rig rig, untouched;
    struct sr_error err = {.status = SR_OK};
    char path[300];

    fuzz_put(fuzz_path("rig.ini", path), data, size);
    memset(&rig, 0, sizeof rig); /* the bytes between the members, too: rigs are compared whole */
    sr_rig_init(&rig);
    untouched = rig;
    if (sr_rig_read(&rig, path, &err) != SR_OK) {
        CHECK(memcmp(&rig, &untouched, sizeof rig) == 0);
        refuse(path, (const char *)data, size, &err);
        return 0;
    }
    struct sr_rig finished = rig;
    check_rig(&finished);
    write_back(path, (const char *)data, size, &rig);
    return 0;
}
