/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where a line is cut into fields, 64 characters at a time.
 *
 * With one bit for each character the fields of a line are known before any of their
 * numbers is read, so that the processor works on several at once.
 */
#ifndef SR_LOG_CUTS_H
#define SR_LOG_CUTS_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include "log/short.h"

#define SR_CUTS_BLOCK 64 /* characters, one bit each */

/* Bit i is set where text[i] is the delimiter, for i below SR_CUTS_BLOCK. With what any processor has. */
static inline uint64_t sr_cuts_mask_words(const char *text, char delimiter)
{
    const uint64_t pattern = SR_EACH_BYTE((unsigned char)delimiter);
    const uint64_t low = SR_EACH_BYTE(0x7F);
    uint64_t mask = 0;

    for (unsigned i = 0; i < SR_CUTS_BLOCK; i += SR_WORD_BYTES) {
        const uint64_t word = sr_word_load(text + i) ^ pattern;
        /* the top bit of each byte that is zero: exact, no carry between bytes (Warren, Hacker's Delight,
         * 6-1)
         */
        const uint64_t zero = ~(((word & low) + low) | word | low);
        mask |= (((zero >> 7) * 0x0102040810204080U) >> 56) << i; /* each of the eight into its place */
    }
    return mask;
}

/* The same by the quickest way there is. */
static inline uint64_t sr_cuts_mask(const char *text, char delimiter)
{
#ifdef __SSE2__
    const __m128i pattern = _mm_set1_epi8(delimiter);
    uint64_t mask = 0;

    for (unsigned i = 0; i < SR_CUTS_BLOCK; i += 16) {
        const __m128i part = _mm_loadu_si128((const __m128i *)(const void *)(text + i));
        mask |= (uint64_t)(unsigned)_mm_movemask_epi8(_mm_cmpeq_epi8(part, pattern)) << i;
    }
    return mask;
#else
    return sr_cuts_mask_words(text, delimiter);
#endif
}

/*
 * Where the first fields of [line, line_end) end: field i cut[i + 1] characters from `line` on, at a
 * delimiter or at the end of the line, and starts cut[i] + 1 from there. Returns how many fields were found,
 * at most `most`. The text may be read up to text_end, at or behind line_end.
 */
static inline size_t sr_cuts_find(const char *line, const char *line_end, const char *text_end,
                                  char delimiter, int32_t *cut, size_t most)
{
    const size_t size = (size_t)(line_end - line), readable = (size_t)(text_end - line);
    size_t n = 0;

    cut[0] = -1;
    for (size_t at = 0; at < size && n < most; at += SR_CUTS_BLOCK) {
        char copy[SR_CUTS_BLOCK];
        const char *block = line + at;
        if (readable - at < sizeof copy) {
            memset(copy, 0, sizeof copy);
            memcpy(copy, block, readable - at);
            block = copy;
        }
        uint64_t mask = sr_cuts_mask(block, delimiter);
        if (size - at < SR_CUTS_BLOCK)
            mask &= ((uint64_t)1 << (size - at)) - 1U;
        for (; mask != 0 && n < most; mask &= mask - 1U)
            cut[++n] = (int32_t)at + __builtin_ctzll(mask);
    }
    if (n < most)
        cut[++n] = (int32_t)size;
    return n;
}

#endif
