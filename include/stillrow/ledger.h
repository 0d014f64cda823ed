/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The ledger: one row a flight, many people's flights, in a CSV file that a
 * spreadsheet opens.
 *
 * The first row names the columns. Known columns (sr_ledger_column_name()) may stand
 * in any order; others are kept as they are. Every change is made beside the
 * file (FILE.stillrow-new), flushed to disk and renamed, under a lock on FILE.lock,
 * so that a reader never sees half a row and several programs, or threads of one, may
 * change it at once. What is in the file already keeps its bytes: order, line ends,
 * quotes, unknown columns, rows that cannot be read. A symbolic link is followed and
 * stays one, rights stay.
 *
 * A new ledger has commas between its cells and points in its numbers, in every locale. One that a
 * spreadsheet has saved with semicolons or tabs is known by its first row (a line "sep=;" above that is
 * passed over); then the first number with a decimal sign tells whether that is a comma or a point in this
 * file, and what is written to it is written like that. A number with the other sign cannot be read: what
 * "1.234" is meant to be nobody knows, which is why one like that tells the sign only where there is no
 * other. Where no number has a sign, it is a comma between semicolons, and a point between tabs.
 */
#ifndef STILLROW_LEDGER_H
#define STILLROW_LEDGER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "stillrow/log.h"
#include "stillrow/rig.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Of the columns' meaning; a newer one is refused. A column more that may be left out does not raise it: a
 * program that does not know it keeps it, and reads the rest as ever. */
#define SR_LEDGER_VERSION   1
#define SR_FINGERPRINT_SIZE 17 /* bytes of a fingerprint as text, with its terminator */

enum sr_rating { SR_UNRATED = 0, SR_RATED_CLEAN, SR_RATED_SLIGHT, SR_RATED_BAD };
const char *sr_rating_name(enum sr_rating rating); /* "" "clean" "slight" "bad" */
/* By name, whatever its case; false: no such rating, *rating untouched. */
bool sr_rating_find(const char *name, enum sr_rating *rating);

/*
 * Whether a row's wobble includes what the camera's mount does, without which it says nothing of a hardness:
 * the gyro was on the camera, behind the mount; or on the frame, seen through a model of the mount (its
 * resonance as the rig has it); or on the frame and nothing more, which is a camera fixed to the frame.
 */
enum sr_mount_in { SR_MOUNT_IN_UNKNOWN = 0, SR_MOUNT_IN_LOGGED, SR_MOUNT_IN_MODELLED, SR_MOUNT_IN_NO };
const char *sr_mount_in_name(enum sr_mount_in mount_in); /* "" "logged" "modelled" "no" */

/* One flight. Texts are never NULL in a row that was read; numbers are NAN where the cell is empty. */
struct sr_ledger_row {
    size_t line;   /* [1-based] in the file, 0: made, not read */
    bool readable; /* false: `problem` says what is wrong; the row is kept, and left out of statistics */
    char problem[120];
    const char *fingerprint; /* 16 hexadecimal digits of the log's content */
    const char *log;         /* file name without folders */
    const char *date;        /* "2026-06-14", or "" */
    const char *build, *motor, *prop;
    double blades;
    double shore_a; /* [Shore A] of the mount */
    const char *material;
    double temperature_c; /* [deg C] */
    double resonance_hz;  /* [Hz] measured natural frequency of the mount, NAN: not measured */
    const char *camera;
    double width_px;     /* [px] picture width that the wobble counts on */
    double threshold_px; /* [px RMS] */
    const char *verdict;
    double wobble_px, low_px, high_px, median_px, rms_px; /* [px RMS] */
    double band_px[SR_BAND_COUNT - 1];                    /* bend, wave, ripple, grain */
    double smear_px;
    double airborne_s;
    double main_hz, main_share; /* the strongest line */
    const char *main_cause;
    double main_order;
    enum sr_rating rating; /* of the footage, by eye */
    const char *note;
    enum sr_mount_in mount_in; /* unknown: a row from before this was written down */
};

struct sr_ledger {
    char delimiter; /* ',' ';' or '\t', between its cells */
    char decimal;   /* '.' or ',', of its numbers */
    char **columns; /* names as in the file, unknown ones too */
    size_t n_columns;
    struct sr_ledger_row *rows;
    size_t n_rows;
    size_t n_unreadable;
    /* Private: the cells' text, where each cell begins in it, and each row's first cell. */
    char *text;
    size_t *cells; /* offsets into text, row after row */
    size_t *first; /* [n_rows + 1] index into cells */
};

/* Name of known column k, in the order in which a new ledger has them; NULL behind the last. */
const char *sr_ledger_column_name(size_t k);

/*
 * Read a ledger; a missing file is an error. Rows that cannot be read are marked, not dropped: a number that
 * is none or out of range, an unknown word for rating or mount_in, no fingerprint, no wobble, more cells than
 * columns, a quote that is never closed. Blank lines do not count. Errors: SR_ERR_OPEN, SR_ERR_READ,
 * SR_ERR_FORMAT (no header of a ledger, a newer version), SR_ERR_MEMORY.
 */
enum sr_status sr_ledger_read(struct sr_ledger *ledger, const char *path, struct sr_error *err);
void sr_ledger_release(struct sr_ledger *ledger);

/* A cell's text, without its quotes and the blanks around it; "" behind the row's last. A row may have more
 * cells than there are columns. */
const char *sr_ledger_cell(const struct sr_ledger *ledger, size_t row, size_t column);

/* Whether a row's fingerprint begins so; letters of either case are the same. */
bool sr_ledger_has_print(const struct sr_ledger_row *row, const char *beginning);

/* Whether two rows are of the same flight: fingerprint, build, hardness and camera agree. */
bool sr_ledger_same_flight(const struct sr_ledger_row *a, const struct sr_ledger_row *b);

/* Whether a text is a day of the calendar as "2026-06-14". */
bool sr_ledger_is_date(const char *text);

/* What a scored flight amounts to. Texts point into the arguments, and fingerprint into hex, all of which
 * must outlive the row. Date, rating and note are for the caller to add. score: through a view that
 * sr_mount_apply() has been over with this rig, as mount_in takes for granted. */
void sr_ledger_row_from(struct sr_ledger_row *row, char hex[SR_FINGERPRINT_SIZE], const struct sr_log *log,
                        const struct sr_rig *rig, const struct sr_score *score);

enum sr_added { SR_ADDED = 0, SR_ADDED_BEFORE /* the same log is there already: nothing was written */ };

/*
 * Add a row to the ledger at `path`, which is made if it is missing or empty. Returns once the row is on the
 * disk. The row counts as there before if a row of the same fingerprint and the same build, hardness and
 * camera is.
 *
 * Errors: SR_ERR_ARGUMENT (the row would not be readable: the text says why), SR_ERR_LOCK (held by others for
 * 30 s), SR_ERR_OPEN, SR_ERR_READ, SR_ERR_WRITE (also: read-only, not a regular file), SR_ERR_FORMAT (also: a
 * quoted cell that is never closed would swallow what follows it), SR_ERR_MEMORY. The old file stays whole on
 * every failure.
 */
enum sr_status sr_ledger_add(const char *path, const struct sr_ledger_row *row, enum sr_added *added,
                             struct sr_error *err);

/* How a merge went. */
struct sr_merge_count {
    size_t added, known, unreadable; /* unreadable rows are carried over too */
    size_t rated;                    /* known flights without a rating that were given the other's */
    size_t filled;                   /* known flights that were given something else that they lacked */
    size_t rated_otherwise;      /* known flights that the other rates otherwise: that is not taken over */
    size_t rated_otherwise_line; /* [1-based] the first of those in `from`, 0: none */
    size_t differ;          /* known flights of which the other has something else otherwise: nor is that */
    size_t differ_line;     /* [1-based] the first of those in `from`, 0: none */
    char differ_column[40]; /* and in which column, maybe cut; "": none */
};

/*
 * Carry all rows of the ledger at `from` into the one at `into` (made if missing), columns that `into` lacks
 * added. Rows that cannot be read come along, whole. Of a flight that `into` has already, cells that are
 * empty are filled in from the other row, and nothing else of it changes: the rating, craft and day, columns
 * of others; temperature and resonance where the half of the two that is there is the same; figures of the
 * score, mount_in among them, where all that both rows have agree (to six digits), or they would be of two
 * scorings. What comes over is written as `into` is: its delimiter, its decimal sign.
 *
 * Errors: as sr_ledger_add(); SR_ERR_FORMAT also where one of the two is not written with commas and points,
 * and a cell of `from` that is no number there could be taken for one in `into`.
 */
enum sr_status sr_ledger_merge(const char *into, const char *from, struct sr_merge_count *count,
                               struct sr_error *err);

/* What a look over a ledger finds. */
struct sr_ledger_counts {
    size_t rows, readable;
    size_t builds;                      /* different ones, case and blanks aside */
    size_t rated[SR_RATED_BAD + 1];     /* readable rows by enum sr_rating */
    size_t doubled;                     /* readable rows that are the same flight as one above */
    size_t first_doubled_line;          /* [1-based] of them, 0: none */
    size_t other_rigs;                  /* readable rows of a log that another row has with another rig */
    size_t odd_dates;                   /* readable rows whose date is neither empty nor as "2026-06-14" */
    size_t first_odd_date_line;         /* [1-based] of them, 0: none */
    size_t no_hardness, no_temperature; /* readable rows without */
    /* Readable rows with a hardness: whose wobble does not include the mount, which do not say. */
    size_t no_mount, mount_unknown;
};

/* Count. Errors: SR_ERR_MEMORY. */
enum sr_status sr_ledger_count(struct sr_ledger_counts *counts, const struct sr_ledger *ledger,
                               struct sr_error *err);

/*
 * Set the rating of the row(s) of one fingerprint; a beginning of it that is unique will do. Errors: as
 * sr_ledger_add(), SR_ERR_DATA (no such flight, or several).
 */
enum sr_status sr_ledger_rate(const char *path, const char *fingerprint, enum sr_rating rating,
                              struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
