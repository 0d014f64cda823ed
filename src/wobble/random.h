/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: random numbers from a fixed seed, without memory of their own that could run out. */
#ifndef WOBBLE_RANDOM_H
#define WOBBLE_RANDOM_H

#include <stddef.h>
#include <stdint.h>

/* Any fixed number: the same flight always gets the same answer. */
#define SR_RANDOM_SEED UINT64_C(20240229)

/* splitmix64, Steele, Lea and Flood 2014. */
static inline uint64_t sr_random_bits(uint64_t *state)
{
    uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

/* 0..count - 1, count >= 1; a multiply and shift, off evenness by count / 2^32. */
static inline size_t sr_random_below(uint64_t *state, size_t count)
{
    return (size_t)((sr_random_bits(state) >> 32) * (uint64_t)count >> 32);
}

#endif
