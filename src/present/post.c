/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/post.h"

#include <math.h>
#include <string.h>

#include "present/notes.h"
#include "present/plot_words.h"
#include "present/post_text.h"

enum { TEXT_MOST = 2048 }; /* bytes of one line's text before escaping */

const char *sr_post_format_name(enum sr_post_format format)
{
    switch (format) {
    case SR_POST_TEXT:
        return "text";
    case SR_POST_MARKDOWN:
        return "md";
    case SR_POST_BBCODE:
        return "bbcode";
    }
    return "unknown";
}

bool sr_post_format_find(const char *name, enum sr_post_format *format)
{
    for (int f = SR_POST_TEXT; f <= SR_POST_BBCODE; f++)
        if (strcmp(name, sr_post_format_name((enum sr_post_format)f)) == 0) {
            *format = (enum sr_post_format)f;
            return true;
        }
    return false;
}

/* Everything that is written as text goes through here. */
void sr_post_text(FILE *out, enum sr_post_format format, const char *text)
{
    char clean[TEXT_MOST * 3];

    sr_words_clean(text, TEXT_MOST, clean, sizeof clean);
    for (const char *s = clean; *s != '\0'; s++) {
        char c = *s;
        if (format == SR_POST_MARKDOWN && strchr("\\`*_[]<>#|~&!$", c) != NULL)
            putc('\\', out);
        if (format == SR_POST_BBCODE)
            c = c == '[' ? '(' : c == ']' ? ')' : c;
        putc(c, out);
    }
}

/* Longest run of backticks: a code span is fenced by one more (CommonMark 0.30, section 6.1). */
static size_t longest_ticks(const char *text)
{
    size_t longest = 0, run = 0;

    for (; *text != '\0'; text++) {
        run = *text == '`' ? run + 1 : 0;
        longest = run > longest ? run : longest;
    }
    return longest;
}

/* A command to be copied: unchanged but for what would end it early. */
static void put_code(FILE *out, enum sr_post_format format, const char *text)
{
    char clean[TEXT_MOST * 3];

    sr_words_clean(text, TEXT_MOST, clean, sizeof clean);
    size_t fence = format == SR_POST_MARKDOWN ? longest_ticks(clean) + 1 : 0;
    const char *pad = fence > 1 ? " " : "";

    fputs(format == SR_POST_BBCODE ? "[code]" : "", out);
    for (size_t i = 0; i < fence; i++)
        putc('`', out);
    fputs(pad, out);
    for (const char *s = clean; *s != '\0'; s++) {
        putc(*s, out);
        if (format == SR_POST_BBCODE && s[0] == '[' && s[1] == '/')
            putc(' ', out);
    }
    fputs(pad, out);
    for (size_t i = 0; i < fence; i++)
        putc('`', out);
    fputs(format == SR_POST_BBCODE ? "[/code]" : "", out);
}

/* "Cause: " as a list item; the text follows. */
static void begin_item(FILE *out, enum sr_post_format format, const char *name)
{
    static const char *const before[] = {"", "- **", "[*][b]"};
    static const char *const after[] = {": ", ":** ", ":[/b] "};

    fprintf(out, "%s%s%s", before[format], name, after[format]);
}

static void put_item(FILE *out, enum sr_post_format format, const char *name, const char *text)
{
    begin_item(out, format, name);
    sr_post_text(out, format, text);
    putc('\n', out);
}

static void put_head(FILE *out, enum sr_post_format format, const struct sr_post *post)
{
    static const char *const before[] = {"", "**", "[b]"};
    static const char *const after[] = {"", "**", "[/b]"};
    const struct sr_plot_flight *flight = post->flight;
    const struct sr_score *score = flight->score;
    const char *name = post->title;
    char line[TEXT_MOST], px[24];

    if (name == NULL || name[0] == '\0')
        name = flight->rig->build.name[0] != '\0' ? flight->rig->build.name : sr_words_base(flight->log_name);
    snprintf(line, sizeof line, "%.1000s: %s, %s", name, sr_verdict_name(score->verdict),
             sr_words_px(score->wobble_px.value, px, sizeof px));
    fputs(before[format], out);
    sr_post_text(out, format, line);
    fputs(after[format], out);
}

/* "(2.10 to 2.71 px, threshold 1.00 px, headroom -7.6 dB; steady 12 % of 48 s)" */
static void put_numbers(FILE *out, enum sr_post_format format, const struct sr_score *score)
{
    char line[TEXT_MOST], low[24], high[24], threshold[24];
    double headroom = fabs(score->headroom_db) < 0.05 ? 0 : score->headroom_db;

    snprintf(line, sizeof line,
             "(95 %% interval %s to %s; threshold %s, headroom %s%.1f dB; below that %.0f %% of %.0f s)",
             sr_words_px(score->wobble_px.low, low, sizeof low),
             sr_words_px(score->wobble_px.high, high, sizeof high),
             sr_words_px(score->threshold_px, threshold, sizeof threshold), headroom > 0 ? "+" : "", headroom,
             score->steady_share * 100, score->airborne_s);
    putc(' ', out);
    sr_post_text(out, format, line);
    fputs(format == SR_POST_MARKDOWN ? "\n\n" : "\n", out);
}

static void put_cause(FILE *out, enum sr_post_format format, const struct sr_plot_flight *flight)
{
    const struct sr_score *score = flight->score;
    char line[128], px[24], text[TEXT_MOST];

    if (score->n_peaks == 0) {
        put_item(out, format, "Cause", "no line stands out; the wobble is spread over all frequencies");
        return;
    }
    const struct sr_peak *peak = &score->peaks[0];
    snprintf(text, sizeof text, "%s: %s, %.0f %% of the wobble%s%s",
             sr_words_line(peak, flight->causes, flight->rig, line, sizeof line),
             sr_words_px(peak->wobble_px, px, sizeof px), peak->share * 100,
             peak->evidence[0] != '\0' ? "; " : "", peak->evidence);
    put_item(out, format, "Cause", text);
}

static void put_change(FILE *out, enum sr_post_format format, const struct sr_post *post)
{
    const struct sr_change *change = post->flight->change;
    char clock[24], before[24], after[24], motor[24] = "", text[160];

    if (change == NULL || !change->found)
        return;
    if (change->motor > 0)
        snprintf(motor, sizeof motor, ", motor %d", change->motor);
    snprintf(text, sizeof text, "at %s%s: %s before, %s after",
             sr_words_clock(change->at_s + post->footage_offset_s, false, clock, sizeof clock), motor,
             sr_words_px(change->before_px, before, sizeof before),
             sr_words_px(change->after_px, after, sizeof after));
    put_item(out, format, change->ratio_db > 0 ? "Knock" : "Change", text);
}

static void put_trial(FILE *out, enum sr_post_format format, const struct sr_post *post)
{
    const struct sr_plot_flight *flight = post->flight;
    const struct sr_score *score = flight->score;
    char px[24], text[TEXT_MOST];

    if (score->verdict == SR_UNPROVEN) {
        put_item(out, format, "Try first",
                 sr_log_first_words(score, &flight->rig->camera, flight->slices->rate_hz / 2, NAN, text,
                                    sizeof text));
        return;
    }
    if (score->verdict == SR_STEADY || post->trials == NULL || post->n_trials == 0)
        return;
    const struct sr_trial *trial = &post->trials[0];
    snprintf(text, sizeof text, "%s: %s expected%s%s", trial->what,
             sr_words_px(trial->wobble_px, px, sizeof px), trial->caution[0] != '\0' ? "; " : "",
             trial->caution);
    put_item(out, format, "Try first", text);
}

static void put_settings(FILE *out, enum sr_post_format format, const struct sr_post *post)
{
    const struct sr_rig *rig = post->flight->rig;
    char camera[400], threshold[24], settings[80], text[440];
    unsigned given = rig->camera_given & SR_KEY_ALL;
    const char *assumed = given == SR_KEY_ALL ? "" : given == 0 ? "; all assumed" : "; partly assumed";

    snprintf(text, sizeof text, "%s%s", sr_words_camera(rig, camera, sizeof camera), assumed);
    put_item(out, format, "Camera", text);
    begin_item(out, format, "Repeat");
    if (post->command != NULL) {
        put_code(out, format, post->command);
        fputs(" with ", out);
    }
    snprintf(settings, sizeof settings, "stillrow " SR_VERSION ", threshold %s",
             sr_words_px(post->flight->score->threshold_px, threshold, sizeof threshold));
    sr_post_text(out, format, settings);
    putc('\n', out);
}

enum sr_status sr_post_write(FILE *out, enum sr_post_format format, const struct sr_post *post,
                             struct sr_error *err)
{
    const struct sr_plot_flight *flight = post->flight;
    char build[600];

    if ((int)format < 0 || format > SR_POST_BBCODE)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "no such format of a post");
    if (flight == NULL || flight->rig == NULL || flight->slices == NULL || flight->score == NULL)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a post needs a flight with rig, slices and score");
    put_head(out, format, post);
    put_numbers(out, format, flight->score);
    fputs(format == SR_POST_BBCODE ? "[list]\n" : "", out);
    if (sr_words_build(flight->rig, true, build, sizeof build)[0] != '\0')
        put_item(out, format, "Build", build);
    put_cause(out, format, flight);
    put_change(out, format, post);
    put_trial(out, format, post);
    if (post->mount_note != NULL && post->mount_note[0] != '\0')
        put_item(out, format, "Note", post->mount_note);
    put_settings(out, format, post);
    fputs(format == SR_POST_BBCODE ? "[/list]\n" : "", out);
    return SR_OK;
}
