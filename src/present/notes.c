/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "notes.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

bool sr_moments_stand_out(const struct sr_score *score)
{
    const double alike_db = 1, few = 0.1;

    if (score->n_worst == 0)
        return false;
    return 20 * log10(score->worst[0].wobble_px / score->median_px) > alike_db ||
           (score->steady_share > few && score->steady_share < 1 - few);
}

void sr_note_text(FILE *out, const struct sr_style *style, const char *text)
{
    fprintf(out, "  %snote:%s ", sr_ink(style, SR_INK_DIM), sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, text, 8, 8, SR_TEXT_WIDTH);
}

size_t sr_notes_text(FILE *out, const struct sr_style *style, const struct sr_log *log,
                     const struct sr_rig *rig)
{
    char assumed[SR_NOTE_MAX];
    size_t count = log->n_notes;

    sr_rig_assumption(rig, assumed, sizeof assumed);
    if (assumed[0] != '\0') {
        sr_note_text(out, style, assumed);
        count++;
    }
    for (size_t i = 0; i < log->n_notes; i++)
        sr_note_text(out, style, log->notes[i]);
    return count;
}

/* "note: 0.4 s are missing in 1 gap", where there are any. */
static bool gap_words(const struct sr_log *log, char *text, size_t size)
{
    double lost_s = 0;

    for (size_t i = 1; i < log->n_runs; i++) {
        const struct sr_run *before = &log->runs[i - 1];
        lost_s += log->runs[i].start_s - before->start_s - (double)before->count / log->rate_hz;
    }
    if (log->quality.gaps == 0 || !(lost_s > 0))
        return false;
    snprintf(text, size, "%.1f s are missing in %zu gap%s of this log: nothing is said of them", lost_s,
             log->quality.gaps, log->quality.gaps == 1 ? "" : "s");
    return true;
}

/* So few seconds, resampled, scatter less than flights do. */
static bool short_words(const struct sr_score *score, char *text, size_t size)
{
    const double enough_s = 5;

    if (!(score->airborne_s < enough_s))
        return false;
    snprintf(
        text, size,
        "only %.1f s in the air: the verdict and its interval speak of these seconds, not of a flight; half "
        "a minute or more would",
        score->airborne_s);
    return true;
}

void sr_report_notes(FILE *out, const struct sr_style *style, const struct sr_score_report *report)
{
    char assumed[SR_NOTE_MAX], gaps[SR_NOTE_MAX], brief[SR_NOTE_MAX];
    bool has_gaps = gap_words(report->log, gaps, sizeof gaps);
    bool is_brief = short_words(report->score, brief, sizeof brief);
    bool mounted = report->mount_note != NULL && report->mount_note[0] != '\0';

    sr_rig_assumption(report->rig, assumed, sizeof assumed);
    if (assumed[0] != '\0' || report->log->n_notes > 0 || mounted || has_gaps || is_brief)
        fputc('\n', out);
    sr_notes_text(out, style, report->log, report->rig);
    if (is_brief)
        sr_note_text(out, style, brief);
    if (has_gaps)
        sr_note_text(out, style, gaps);
    if (mounted)
        sr_note_text(out, style, report->mount_note);
}

const char *sr_log_first_words(const struct sr_score *score, const struct sr_camera *camera,
                               double nyquist_hz, double bridged_hz, char *text, size_t size)
{
    const bool at_nyquist = score->sees_hz >= nyquist_hz * (1 - 1e-9);
    const double wanted_hz = sr_band_high_hz(camera, SR_BAND_WAVE);
    const char *how = "unfiltered";
    char faster[48];

    if (at_nyquist) {
        snprintf(faster, sizeof faster, "faster, at %.0f Hz or more", ceil(2 * wanted_hz));
        how = faster;
    } else if (isnan(bridged_hz))
        how = "unfiltered, and without losing rows";
    else if (score->sees_hz == bridged_hz)
        how = "without losing rows";
    snprintf(text, size,
             "log the gyro %s: with this camera it takes sight up to %.0f Hz to clear a flight, and this log "
             "has it up to %.0f Hz",
             how, wanted_hz, score->sees_hz);
    return text;
}

const char *sr_log_title(const char *name)
{
    return strcmp(name, "-") == 0 ? "standard input" : name;
}

void sr_camera_line(const struct sr_camera *camera, char *text, size_t size)
{
    snprintf(text, size,
             "%.10gx%.10g at %.4g fps, readout %.4g ms, exposure %.4g ms, %.4g deg %s, tilt %.4g deg",
             camera->width_px, camera->height_px, camera->fps, 1e3 * camera->readout_s,
             1e3 * camera->exposure_s, camera->hfov_deg, sr_lens_name(camera->lens), camera->tilt_deg);
}

void sr_band_range(double low_hz, double high_hz, char *text, size_t size)
{
    char low[32], high[32];

    sr_format_value(low_hz, low, sizeof low);
    sr_format_value(high_hz, high, sizeof high);
    if (low_hz <= 0.0)
        snprintf(text, size, "below %s", high);
    else if (isinf(high_hz))
        snprintf(text, size, "over %s", low);
    else
        snprintf(text, size, "%s to %s", low, high);
}

void sr_count_words(char *text, size_t size, size_t count, const char *words)
{
    const size_t at = strlen(text);

    if (count > 0)
        snprintf(text + at, size - at, "%s %zu %s", strchr(text, ':') == NULL ? ":" : ",", count, words);
}
