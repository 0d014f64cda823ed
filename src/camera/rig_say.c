/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was assumed about a rig, in one line. */
#include "stillrow/rig.h"

#include <stdarg.h>
#include <stdio.h>

#include "camera/limits.h"

struct line {
    char *text;
    size_t size, used;
    bool started; /* a part was added, so the next one needs a comma */
};

static void add(struct line *line, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void add(struct line *line, const char *format, ...)
{
    va_list list;
    const char *const glue[] = {"", ", "};
    int n = snprintf(line->text + line->used, line->size - line->used, "%s", glue[line->started]);
    for (int pass = 0; pass < 2; pass++) {
        if (n < 0 || (size_t)n >= line->size - line->used) {
            line->used = line->size - 1; /* full: what fits stands */
            return;
        }
        line->used += (size_t)n;
        if (pass == 0) {
            va_start(list, format);
            n = vsnprintf(line->text + line->used, line->size - line->used, format, list);
            va_end(list);
        }
    }
    line->started = true;
}

static void add_time(struct line *line, const char *name, double seconds, double assumed_s, double fps)
{
    if (seconds < assumed_s)
        add(line, "%s %.4g ms (shortened to fit %g fps)", name, seconds * 1e3, fps);
    else
        add(line, "%s %.4g ms", name, seconds * 1e3);
}

void sr_rig_assumption(const struct sr_rig *rig, char *text, size_t size)
{
    const struct sr_camera *const camera = &rig->camera;
    const unsigned missing = ~rig->camera_given;
    struct line line = {.text = text, .size = size};
    if (size == 0)
        return;
    text[0] = '\0';
    if ((missing & (SR_KEY_ALL | SR_KEY_AXES | SR_KEY_GYRO_SIDE)) == 0)
        return;
    if (rig->camera_given == 0 && rig->file[0] == '\0')
        add(&line, "no rig given; assumed: ");
    else
        add(&line, "assumed: ");
    line.started = false;
    if (missing & SR_KEY_SIZE)
        add(&line, "%gx%g", camera->width_px, camera->height_px);
    if (missing & SR_KEY_FPS)
        add(&line, "%g fps", camera->fps);
    if (missing & SR_KEY_READOUT)
        add_time(&line, "readout", camera->readout_s, ASSUMED_READOUT_S, camera->fps);
    if (missing & SR_KEY_EXPOSURE)
        add_time(&line, "exposure", camera->exposure_s, ASSUMED_EXPOSURE_S, camera->fps);
    if (missing & SR_KEY_HFOV)
        add(&line, "hfov %g deg", camera->hfov_deg);
    if (missing & SR_KEY_LENS)
        add(&line, "%s lens", sr_lens_name(camera->lens));
    if (missing & SR_KEY_TILT)
        add(&line, "tilt %g deg", camera->tilt_deg);
    if (missing & SR_KEY_AXES)
        add(&line, "axes %s", sr_axes_name(rig->axes));
    if (missing & SR_KEY_GYRO_SIDE)
        add(&line, "gyro on the %s", rig->gyro_side == SR_GYRO_CAMERA ? "camera" : "frame");
    if (rig->file[0] == '\0')
        add(&line, "no mount model");
}
