/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/plot_words.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

static const char ELLIPSIS[] = "\xE2\x80\xA6";
static const char REPLACEMENT[] = "\xEF\xBF\xBD";

/* Length of the UTF-8 character at s and its code point; 0 if s starts none (RFC 3629, table of section 4).
 */
static size_t decode(const char *s, uint32_t *code)
{
    const unsigned char *u = (const unsigned char *)s;
    size_t n = u[0] < 0x80 ? 1 : u[0] < 0xC2 ? 0 : u[0] < 0xE0 ? 2 : u[0] < 0xF0 ? 3 : u[0] < 0xF5 ? 4 : 0;

    if (n <= 1) {
        *code = u[0];
        return n;
    }
    uint32_t c = u[0] & (0x7FU >> n);
    for (size_t i = 1; i < n; i++) {
        if ((u[i] & 0xC0) != 0x80)
            return 0;
        c = c << 6 | (u[i] & 0x3FU);
    }
    if ((n == 3 && c < 0x800) || (n == 4 && (c < 0x10000 || c > 0x10FFFF)) || (c >= 0xD800 && c <= 0xDFFF))
        return 0;
    *code = c;
    return n;
}

/* Controls, separators, and the marks that turn the direction of what follows or take no room. */
static bool is_blank(uint32_t c)
{
    return c <= 0x20 || (c >= 0x7F && c <= 0xA0) || (c >= 0x200B && c <= 0x200F) ||
           (c >= 0x2028 && c <= 0x202E) || (c >= 0x2060 && c <= 0x206F) || c == 0xFEFF;
}

char *sr_words_clean(const char *text, size_t most, char *out, size_t size)
{
    size_t used = 0, length = 0, cut = 0; /* cut: bytes that leave room for an ellipsis */
    bool gap = false, full = false;

    if (size < sizeof ELLIPSIS) {
        if (size > 0)
            out[0] = '\0';
        return out;
    }
    for (const char *s = text != NULL ? text : ""; *s != '\0' && !full;) {
        uint32_t code;
        size_t n = decode(s, &code);
        bool bad = n == 0;
        const char *from = bad ? REPLACEMENT : s;
        size_t bytes = bad ? sizeof REPLACEMENT - 1 : n;

        s += bad ? 1 : n;
        if (!bad && is_blank(code)) {
            gap = used > 0;
            continue;
        }
        size_t chars = 1 + (gap ? 1 : 0);
        if (length + chars > most || used + (gap ? 1 : 0) + bytes >= size) {
            full = true;
            break;
        }
        if (gap)
            out[used++] = ' ';
        memcpy(out + used, from, bytes);
        used += bytes;
        length += chars;
        gap = false;
        if (length + 1 <= most && used + sizeof ELLIPSIS <= size)
            cut = used;
    }
    if (full && most > 0) {
        memcpy(out + cut, ELLIPSIS, sizeof ELLIPSIS - 1);
        used = cut + sizeof ELLIPSIS - 1;
    }
    out[used] = '\0';
    return out;
}

size_t sr_words_length(const char *text)
{
    size_t n = 0;
    for (; *text != '\0'; text++)
        n += ((unsigned char)*text & 0xC0) != 0x80;
    return n;
}

/* Advance widths of DejaVu Sans from ' ' to '~', in thousandths of the font size; measured from the font
 * file. */
static const uint16_t advance[] = {
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361,  318, 337, 636, 636, 636,
    636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
    575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635,  611, 732, 684, 989, 685,
    611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352,  635, 634, 278, 278, 579,
    278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592,  525, 636, 337, 636, 838};

static double advance_em(uint32_t code)
{
    if (code >= ' ' && code <= '~')
        return advance[code - ' '] / 1000.0;
    if (code == 0xB0 || code == 0xB7 || code == 0x2013) /* degree, middle dot, en dash */
        return 0.5;
    return code < 0x1100 ? 0.75 : 1.0; /* letters of the narrow scripts, then the square ones */
}

double sr_words_width(const char *text, double size_px, bool bold)
{
    const double bold_over_regular = 1.115; /* the mean over the same characters of DejaVu Sans Bold */
    double em = 0;

    while (*text != '\0') {
        uint32_t code;
        size_t n = decode(text, &code);
        em += n > 0 ? advance_em(code) : 1.0;
        text += n > 0 ? n : 1;
    }
    return em * size_px * (bold ? bold_over_regular : 1);
}

char *sr_words_fit(const char *text, double width_px, double size_px, bool bold, char *out, size_t size)
{
    size_t most = size;

    sr_words_clean(text, most, out, size);
    most = sr_words_length(out);
    while (most > 1 && sr_words_width(out, size_px, bold) > width_px)
        sr_words_clean(text, --most, out, size);
    return out;
}

const char *sr_words_base(const char *path)
{
    if (path == NULL)
        return "";
    if (strcmp(path, "-") == 0)
        return "standard input";
    const char *slash = strrchr(path, '/');
    return slash != NULL && slash[1] != '\0' ? slash + 1 : path;
}

char *sr_words_hz(double hz, char *out, size_t size)
{
    snprintf(out, size, hz < 9.95 ? "%.1f Hz" : "%.0f Hz", hz);
    return out;
}

char *sr_words_order(double order, char *out, size_t size)
{
    bool whole = fabs(order - round(order)) < 0.02;
    snprintf(out, size, whole ? "%.0fx" : "%.2fx", order);
    return out;
}

static void order_words(const struct sr_peak *peak, const struct sr_causes *causes, const struct sr_rig *rig,
                        char *out, size_t size)
{
    char order[24], motor[24] = "";

    if (causes != NULL && causes->source == SR_SPEED_THROTTLE) {
        snprintf(out, size, "follows throttle");
        return;
    }
    if (peak->motor > 0)
        snprintf(motor, sizeof motor, "motor %d ", peak->motor);
    bool blade_pass = rig->build.blades >= 2 && fabs(peak->order - rig->build.blades) < 0.02 &&
                      !(causes != NULL && causes->electrical && !(causes->pole_pairs > 0));
    snprintf(out, size, "%s%s%s", motor, sr_words_order(peak->order, order, sizeof order),
             blade_pass ? " blades" : "");
}

char *sr_words_line(const struct sr_peak *peak, const struct sr_causes *causes, const struct sr_rig *rig,
                    char *out, size_t size)
{
    char hz[24], cause[64] = "";

    switch (peak->cause) {
    case SR_CAUSE_ORDER:
        order_words(peak, causes, rig, cause, sizeof cause);
        break;
    case SR_CAUSE_FIXED:
        snprintf(cause, sizeof cause, "fixed");
        break;
    case SR_CAUSE_FOLDED:
        snprintf(cause, sizeof cause, "folded from %.0f", peak->true_hz);
        break;
    case SR_CAUSE_BROADBAND:
        snprintf(cause, sizeof cause, "broadband");
        break;
    case SR_CAUSE_UNDECIDED:
        break;
    }
    snprintf(out, size, "%s%s%s", sr_words_hz(peak->hz, hz, sizeof hz), cause[0] != '\0' ? ", " : "", cause);
    return out;
}

char *sr_words_px(double px, char *out, size_t size)
{
    snprintf(out, size, px >= 99.95 ? "%.0f px" : px >= 9.995 ? "%.1f px" : "%.2f px", px);
    return out;
}

char *sr_words_verdict(const struct sr_score *score, char *out, size_t size)
{
    char wobble[24], threshold[24];
    double headroom = fabs(score->headroom_db) < 0.05 ? 0 : score->headroom_db;

    sr_words_px(score->wobble_px.value, wobble, sizeof wobble);
    sr_words_px(score->threshold_px, threshold, sizeof threshold);
    snprintf(out, size, "%s, threshold %s, headroom %s%.1f dB", wobble, threshold,
             headroom < 0   ? "\xE2\x88\x92"
             : headroom > 0 ? "+"
                            : "",
             fabs(headroom));
    return out;
}

/* Append ", more" (or "more" to nothing); what does not fit is left out whole. */
static void join(char *out, size_t size, const char *more)
{
    size_t used = strlen(out), n = strlen(more);

    if (n == 0 || used + n + 3 > size)
        return;
    snprintf(out + used, size - used, "%s%s", used > 0 ? ", " : "", more);
}

static void join_named(char *out, size_t size, const char *text, const char *noun)
{
    char clean[SR_TEXT_MAX * 3], part[SR_TEXT_MAX * 3 + 16];

    sr_words_clean(text, SR_TEXT_MAX, clean, sizeof clean);
    if (clean[0] == '\0')
        return;
    snprintf(part, sizeof part, "%s%s%s", noun, noun[0] != '\0' ? " " : "", clean);
    join(out, size, part);
}

static void join_mount(char *out, size_t size, const struct sr_mount_keys *mount)
{
    char part[64] = "";
    int used = 0;

    if (isfinite(mount->shore_a))
        used = snprintf(part, sizeof part, "mount %.0f Shore A", mount->shore_a);
    else if (isfinite(mount->modulus_mpa))
        used = snprintf(part, sizeof part, "mount %.2g MPa", mount->modulus_mpa);
    if (used > 0 && isfinite(mount->temperature_c))
        snprintf(part + used, sizeof part - (size_t)used,
                 " at %.0f \xC2\xB0"
                 "C",
                 mount->temperature_c);
    join(out, size, part);
}

char *sr_words_build(const struct sr_rig *rig, bool with_name, char *out, size_t size)
{
    const struct sr_build_keys *build = &rig->build;
    char part[64];

    out[0] = '\0';
    if (with_name)
        join_named(out, size, build->name, "");
    if (isfinite(build->mass_g)) {
        snprintf(part, sizeof part, "%.0f g", build->mass_g);
        join(out, size, part);
    }
    join_named(out, size, build->motor, "motor");
    join_named(out, size, build->prop, "prop");
    if (build->blades >= 1 && strstr(build->prop, "blade") == NULL) {
        snprintf(part, sizeof part, "%.0f blade%s", build->blades, build->blades >= 2 ? "s" : "");
        join(out, size, part);
    }
    join_mount(out, size, &rig->mount);
    return out;
}

char *sr_words_camera(const struct sr_rig *rig, char *out, size_t size)
{
    const struct sr_camera *c = &rig->camera;
    char part[200];

    out[0] = '\0';
    join_named(out, size, rig->build.camera, "");
    snprintf(part, sizeof part,
             "%.0fx%.0f, %.4g fps, readout %.3g ms, exposure %.3g ms, %.4g\xC2\xB0 %s, tilt %.3g\xC2\xB0",
             c->width_px, c->height_px, c->fps, c->readout_s * 1e3, c->exposure_s * 1e3, c->hfov_deg,
             sr_lens_name(c->lens), c->tilt_deg);
    join(out, size, part);
    return out;
}

char *sr_words_clock(double seconds, bool tenths, char *out, size_t size)
{
    /* Of what would be printed with tenths, so that both forms name the same second. */
    double shown = round(seconds * 10) / 10;
    double whole = fabs(tenths ? shown : floor(shown + 1e-6));
    double minutes = floor(whole / 60);

    snprintf(out, size, tenths ? "%s%.0f:%04.1f" : "%s%.0f:%02.0f",
             seconds < 0 && whole > 0 ? "\xE2\x88\x92" : "", minutes, whole - 60 * minutes);
    return out;
}
