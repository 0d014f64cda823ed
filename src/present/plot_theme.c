/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Colours of the pictures; where they come from is in the header. */
#include "present/plot_page.h"

#include "stillrow/plot.h"

/* blue #0072B2, sky blue #56B4E9, vermillion #D55E00, orange #E69F00, bluish green #009E73: Okabe and Ito
 * 2008. */
static const struct sr_palette light = {
    .paper = "#FBFAF7",
    .ink = "#1D2429",
    .muted = "#5C666E",
    .grid = "#DDDCD6",
    .shade = {"#EFF0EC", "#E4E8E8"},
    .curve = "#0072B2",
    .curve_fill = "#B80072B2",
    .alarm = "#D55E00",
    .alarm_fill = "#48D55E00",
    .limit = "#1D2429",
    .mark = "#8A4F7D",
    .halo = "#FFFFFF",
};

static const struct sr_palette dark = {
    .paper = "#12171B",
    .ink = "#EEF1F2",
    .muted = "#A3AEB5",
    .grid = "#2C353B",
    .shade = {"#182025", "#202A30"},
    .curve = "#56B4E9",
    .curve_fill = "#B056B4E9",
    .alarm = "#FF7A1F", /* vermillion, lightened for the dark paper */
    .alarm_fill = "#48FF7A1F",
    .limit = "#EEF1F2",
    .mark = "#CC79A7",
    .halo = "#000000",
};

const struct sr_palette *sr_palette_get(bool is_dark)
{
    return is_dark ? &dark : &light;
}

const char *sr_verdict_color(enum sr_verdict verdict)
{
    switch (verdict) {
    case SR_STEADY:
        return "#009E73";
    case SR_MARGINAL:
        return "#E69F00";
    case SR_WOBBLY:
        return "#D55E00";
    case SR_UNPROVEN:
        break;
    }
    return "#6B757C";
}

const char *sr_verdict_ink(enum sr_verdict verdict)
{
    return verdict == SR_MARGINAL ? "#1D2429" : "#FFFFFF";
}

/* Read off matplotlib's table of the published map, at ninths. */
const char *const sr_cividis[SR_CIVIDIS_STEPS] = {"#00224E", "#123570", "#3B496C", "#575D6D", "#707173",
                                                  "#8A8678", "#A59C74", "#C3B369", "#E1CC55", "#FEE838"};
