/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/store.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/number.h"
#include "support/pages.h"

#define FIRST_ROOM 16384
#define STRIDE     8      /* rows of one cell that are passed over at once */
#define JUMP_MAX_S 3600.0 /* [s] a longer gap is no gap of a flight: unit or stamp is wrong */
#define SPAN_FREE_S                                                                                          \
    10000.0 /* [s] of log that need no excuse; beyond, a row may stand for a slow cell or so */
#define ROW_SPAN_S   (4.0 * SR_SLOW_STEP_S)
#define STRAY_ROWS   16           /* rows before such a jump that are dropped as strays */
#define BACK_MAX_S   1.0          /* [s] a time that goes back by more, and on for as long, starts again */
#define COUNTER_SPAN 4294967296.0 /* values of a 32-bit counter */
#define COUNTER_END  0.01         /* of them: so near to its top, and then to 0, it wrapped round */

void sr_store_init(struct sr_store *store, const struct sr_layout *layout, double seconds)
{
    *store = (struct sr_store){.seconds = seconds, .counted = layout->counted};
    store->slow.channels = layout->n_slow;
    for (size_t c = 0; c < SR_SLOW_MAX; c++) {
        store->slow.low[c] = INFINITY;
        store->slow.high[c] = -INFINITY;
        store->pending[c] = NAN;
    }
}

static void slow_release(struct sr_slow *slow)
{
    for (size_t c = 0; c < SR_SLOW_MAX; c++) {
        free(slow->sum[c]);
        free(slow->count[c]);
    }
    *slow = (struct sr_slow){0};
}

void sr_store_release(struct sr_store *store)
{
    free(store->time_s);
    for (size_t axis = 0; axis < 3; axis++)
        free(store->rate[axis]);
    free(store->skipped);
    slow_release(&store->slow);
    *store = (struct sr_store){0};
}

/* realloc() of an array of doubles; false leaves it as it was. */
static bool resize(double **array, size_t count)
{
    double *moved;

    if (count > SIZE_MAX / sizeof *moved)
        return false;
    moved = realloc(*array, count * sizeof *moved);
    if (moved == NULL)
        return false;
    *array = moved;
    return true;
}

/* A quarter at a time: 32 bytes a row stay under 48 while growing. */
static bool set_room(struct sr_store *store, size_t room)
{
    if (!resize(&store->time_s, room))
        return false;
    for (size_t axis = 0; axis < 3; axis++)
        if (!resize(&store->rate[axis], room))
            return false;
    store->room = room;
    return true;
}

bool sr_store_reserve(struct sr_store *store, size_t rows)
{
    double **const array[4] = {&store->time_s, &store->rate[0], &store->rate[1], &store->rate[2]};

    if (store->room > 0 || rows == 0)
        return true;
    if (rows > SIZE_MAX / sizeof **array[0])
        return false;
    for (size_t i = 0; i < 4; i++) {
        *array[i] = sr_pages_alloc(rows * sizeof **array[i]);
        if (*array[i] == NULL)
            return false;
    }
    store->room = rows;
    return true;
}

bool sr_store_mark(struct sr_store *store)
{
    if (store->skipped == NULL)
        store->skipped = calloc(store->count, sizeof *store->skipped);
    return store->skipped != NULL;
}

/* ---- slow grid ------------------------------------------------------------ */

static bool slow_grow(struct sr_slow *slow, size_t cells)
{
    size_t room = slow->room < 1024 ? 1024 : slow->room;

    while (room < cells)
        room += room / 2;
    if (room > slow->room)
        for (size_t c = 0; c < slow->channels; c++) {
            uint32_t *count = realloc(slow->count[c], room * sizeof *count);
            if (count == NULL)
                return false;
            slow->count[c] = count;
            if (!resize(&slow->sum[c], room))
                return false;
        }
    slow->room = room > slow->room ? room : slow->room;
    for (size_t c = 0; c < slow->channels; c++) {
        memset(slow->count[c] + slow->cells, 0, (cells - slow->cells) * sizeof *slow->count[c]);
        memset(slow->sum[c] + slow->cells, 0, (cells - slow->cells) * sizeof *slow->sum[c]);
    }
    slow->cells = cells;
    return true;
}

static size_t cell_of(double time_s)
{
    return (size_t)(time_s / SR_SLOW_STEP_S);
}

/* Rows of one cell; a row's values are `stride` on. A channel at a time, so that its sums stay in registers.
 */
static void cell_add(struct sr_slow *slow, size_t cell, const double *value, size_t stride, size_t rows)
{
    for (size_t c = 0; c < slow->channels; c++) {
        double sum = slow->sum[c][cell], low = slow->low[c], high = slow->high[c];
        uint32_t count = 0;
        for (size_t i = 0; i < rows; i++) {
            const double v = value[i * stride + c];
            if (isnan(v))
                continue;
            sum += v;
            count++;
            low = v < low ? v : low;
            high = v > high ? v : high;
        }
        slow->sum[c][cell] = sum;
        slow->count[c][cell] += count;
        slow->low[c] = low;
        slow->high[c] = high;
    }
}

static bool slow_add(struct sr_slow *slow, double time_s, const double *value)
{
    const size_t cell = cell_of(time_s);

    if (cell >= slow->cells && !slow_grow(slow, cell + 1))
        return false;
    cell_add(slow, cell, value, 0, 1);
    return true;
}

/* The same for rows in order of time. */
static bool slow_add_rows(struct sr_slow *slow, const double *time_s, const double *value, size_t stride,
                          size_t rows)
{
    for (size_t i = 0, next; i < rows; i = next) {
        const size_t cell = cell_of(time_s[i]);
        for (next = i + 1; next + STRIDE < rows && cell_of(time_s[next + STRIDE - 1]) == cell;)
            next += STRIDE; /* the times are in order */
        while (next < rows && cell_of(time_s[next]) == cell)
            next++;
        if (cell >= slow->cells && !slow_grow(slow, cell + 1))
            return false;
        cell_add(slow, cell, value + i * stride, stride, next - i);
    }
    return true;
}

double sr_slow_mean(const struct sr_slow *slow, size_t channel, size_t cell)
{
    if (channel >= slow->channels || cell >= slow->cells || slow->count[channel][cell] == 0)
        return NAN;
    return slow->sum[channel][cell] / slow->count[channel][cell];
}

/* ---- rows ----------------------------------------------------------------- */

/* Seconds since the first row; the difference of long integer stamps is taken before it is rounded. */
static double since_first(const struct sr_store *store, const struct sr_row *row)
{
    return sr_stamp_difference(row->whole, row->fraction, store->first_whole, store->first_fraction) *
               store->seconds +
           store->wrapped_s;
}

/* The same, where the row may be the first, or the counter have wrapped. */
static double time_of(struct sr_store *store, const struct sr_row *row)
{
    double time;

    if (store->count == 0) {
        store->first_whole = row->whole;
        store->first_fraction = row->fraction;
        store->wrapped_s = 0.0;
    }
    time = since_first(store, row);
    if (store->count == 0 || row->whole < 0 || time >= store->time_s[store->count - 1])
        return time;

    /* A 32-bit counter that went from near its top to near 0 went on by 2^32. */
    const double last_stamp =
        (store->time_s[store->count - 1] - store->wrapped_s) / store->seconds + (double)store->first_whole;
    if (last_stamp > COUNTER_SPAN * (1.0 - COUNTER_END) && last_stamp < COUNTER_SPAN &&
        (double)row->whole < COUNTER_SPAN * COUNTER_END) {
        store->wrapped_s += COUNTER_SPAN * store->seconds;
        store->wraps++;
        time += COUNTER_SPAN * store->seconds;
    }
    return time;
}

/* With rows counted, a row that was dropped as bad still takes its time. */
static double counted_time(struct sr_store *store, const struct sr_row *row)
{
    const int64_t number = (int64_t)(store->rows + row->ordinal);

    if (store->count == 0)
        store->first_whole = number;
    return (double)(number - store->first_whole) * store->seconds;
}

/* The last row stays: its slow values go into the grid. Also the place to notice absurd jumps. */
static enum sr_status settle_last(struct sr_store *store, const char *file, struct sr_error *err)
{
    const size_t last = store->count - 1;
    const size_t line = store->last_line;
    const double step_s = last > 0 ? store->time_s[last] - store->time_s[last - 1] : 0.0;

    if (step_s > JUMP_MAX_S)
        return sr_fail(
            err, SR_ERR_TIME, file, line,
            "the time jumps ahead by %.4g s: is its unit right (--time-unit), or are these several flights "
            "(split the file)",
            step_s);
    if (store->time_s[last] > SPAN_FREE_S + ROW_SPAN_S * (double)store->count)
        return sr_fail(err, SR_ERR_TIME, file, line,
                       "%zu rows span %.4g s: is the time's unit right (--time-unit)", store->count,
                       store->time_s[last]);
    if (store->slow.channels > 0 && !slow_add(&store->slow, store->time_s[last], store->pending))
        return sr_fail(err, SR_ERR_MEMORY, file, 0, "out of memory");
    return SR_OK;
}

static void put(struct sr_store *store, size_t at, double time_s, const double *number)
{
    store->time_s[at] = time_s;
    for (size_t axis = 0; axis < 3; axis++)
        store->rate[axis][at] = number[axis];
}

/* Data row `number` was dropped as being behind. True: the time has started again. */
static bool starts_again(struct sr_store *store, double time_s, uint64_t number, size_t line)
{
    struct sr_behind *behind = &store->behind;

    if (number != behind->next)
        *behind = (struct sr_behind){
            .line = line, .first_s = time_s, .back_s = store->time_s[store->count - 1] - time_s};
    behind->next = number + 1;
    return behind->back_s > BACK_MAX_S && time_s - behind->first_s > BACK_MAX_S;
}

/* Drop a row whose time is not after the last one's; or the last one, if that was the stray. */
static bool goes_back(struct sr_store *store, double time_s, const double *number, size_t line)
{
    const size_t n = store->count;

    if (n == 0 || time_s >= store->time_s[n - 1])
        return false;
    if (store->backward++ == 0)
        store->backward_line = line;
    if (n >= 2 && time_s > store->time_s[n - 2]) {
        put(store, n - 1, time_s, number); /* the last stamp was ahead of its time */
        store->last_line = line;
        return true;
    }
    return true;
}

/* A few rows before a jump of hours: stamps from before the clock was set. */
static bool drop_strays(struct sr_store *store, double time_s)
{
    const size_t n = store->count;

    if (n == 0 || n > STRAY_ROWS || store->strays || time_s - store->time_s[n - 1] <= JUMP_MAX_S)
        return false;
    store->strays = true; /* once: where every step is as long, the unit is wrong */
    store->backward += n;
    store->count = 0;
    store->slow.cells = 0;
    return true;
}

static enum sr_status two_recordings(const struct sr_store *store, const char *file, struct sr_error *err)
{
    return sr_fail(
        err, SR_ERR_TIME, file, store->behind.line,
        "the time starts again here, %.4g s back: several recordings (split the file), or a counter "
        "that wrapped round (give --sample-rate HZ)",
        store->behind.back_s);
}

static enum sr_status add_row(struct sr_store *store, const struct sr_row *row, const double *number,
                              size_t line, const char *file, struct sr_error *err)
{
    const size_t bytes = store->slow.channels * sizeof *number;
    double time_s = store->counted ? counted_time(store, row) : time_of(store, row);
    enum sr_status status = SR_OK;

    if (goes_back(store, time_s, number, line)) {
        if (store->time_s[store->count - 1] == time_s) /* it took the stray one's place */
            memcpy(store->pending, number + SR_ROW_SLOW, bytes);
        return starts_again(store, time_s, store->rows + row->ordinal, line)
                   ? two_recordings(store, file, err)
                   : SR_OK;
    }
    if (!store->counted && drop_strays(store, time_s))
        time_s = time_of(store, row);
    if (store->count > 0)
        status = settle_last(store, file, err);
    if (status != SR_OK)
        return status;
    if (store->count == store->room &&
        !set_room(store, store->room < FIRST_ROOM ? FIRST_ROOM : store->room + store->room / 4))
        return sr_fail(err, SR_ERR_MEMORY, file, 0, "out of memory");
    put(store, store->count++, time_s, number);
    store->last_line = line;
    memcpy(store->pending, number + SR_ROW_SLOW, bytes);
    return SR_OK;
}

/*
 * Times of the first of these rows that nothing is odd about, put behind those that are there: in order,
 * without a jump, within the first hours. Returns how many they are.
 */
static size_t even_times(struct sr_store *store, const struct sr_row *row, size_t rows)
{
    const size_t most = rows < store->room - store->count ? rows : store->room - store->count;
    size_t n = 0;

    if (store->count <= STRAY_ROWS)
        return 0;
    double *time_s = store->time_s + store->count;
    for (double last = time_s[-1]; n < most; n++) {
        const double now = store->counted ? counted_time(store, &row[n]) : since_first(store, &row[n]);
        if (!(now >= last && now - last <= JUMP_MAX_S && now <= SPAN_FREE_S))
            break;
        time_s[n] = last = now;
    }
    return n;
}

/* Add such rows at once. */
static enum sr_status add_even(struct sr_store *store, const struct sr_row *row, const double *number,
                               size_t stride, size_t rows, size_t first_line, const char *file,
                               struct sr_error *err)
{
    const size_t channels = store->slow.channels, at = store->count;
    const enum sr_status status = settle_last(store, file, err);

    if (status != SR_OK)
        return status;
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < rows; i++)
            store->rate[axis][at + i] = number[i * stride + axis];
    /* the last waits until it is known to stay */
    if (channels > 0 &&
        !slow_add_rows(&store->slow, store->time_s + at, number + SR_ROW_SLOW, stride, rows - 1))
        return sr_fail(err, SR_ERR_MEMORY, file, 0, "out of memory");
    memcpy(store->pending, number + (rows - 1) * stride + SR_ROW_SLOW, channels * sizeof *number);
    store->count += rows;
    store->last_line = first_line + row[rows - 1].line;
    return SR_OK;
}

enum sr_status sr_store_add(struct sr_store *store, const struct sr_rows *rows, size_t first_line,
                            const char *file, struct sr_error *err)
{
    for (size_t i = 0, n; i < rows->count; i += n) {
        const struct sr_row *row = &rows->row[i];
        const double *number = rows->number + i * rows->stride;
        n = even_times(store, row, rows->count - i);
        const enum sr_status status =
            n > 0 ? add_even(store, row, number, rows->stride, n, first_line, file, err)
                  : add_row(store, row, number, first_line + row->line, file, err);
        if (status != SR_OK)
            return status;
        n += n == 0;
    }
    if (store->bad == 0 && rows->bad > 0) {
        store->first_bad_line = first_line + rows->first_bad - 1;
        memcpy(store->bad_text, rows->bad_text, sizeof store->bad_text);
    }
    store->rows += rows->seen;
    store->bad += rows->bad;
    store->without += rows->without;
    store->comma_seen = store->comma_seen || rows->comma_seen;
    return SR_OK;
}

enum sr_status sr_store_finish(struct sr_store *store, const char *file, struct sr_error *err)
{
    if (store->count == 0)
        return SR_OK;
    if (store->count > STRAY_ROWS &&
        store->time_s[store->count - 1] - store->time_s[store->count - 2] > JUMP_MAX_S) {
        store->count--; /* one stray stamp at the end */
        store->backward++;
    } else {
        const enum sr_status status = settle_last(store, file, err);
        if (status != SR_OK)
            return status;
    }
    if (!set_room(store, store->count))
        return sr_fail(err, SR_ERR_MEMORY, file, 0, "out of memory");
    return SR_OK;
}
