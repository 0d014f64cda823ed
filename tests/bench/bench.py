#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a competent script does with the same log: read, resample, Welch per second, gains, score.

bench.py LOG FROM_S TO_S prints one JSON object. Only the columns needed are parsed, by pandas'
C engine; all slices go through SciPy in one call. The camera is the one assumed without a rig.
"""
import json
import sys
import time

started = time.perf_counter()
import numpy as np
import pandas as pd
from scipy import signal, special

imported = time.perf_counter()

WIDTH, HEIGHT, READOUT_S, EXPOSURE_S = 1920, 1080, 16e-3, 1e-3
HFOV, TILT = np.radians(95), np.radians(20)
COLUMNS = ["time (us)", "gyro x (deg/s)", "gyro y (deg/s)", "gyro z (deg/s)", "throttle (%)"]


def gains(hz):
    """px^2 per (deg/s)^2 for roll, pitch, yaw; waves per picture from 0.25."""
    x = np.pi * hz * READOUT_S
    j0, j1, j2, j3 = (special.spherical_jn(n, x) for n in range(4))
    g1 = 1 - j0**2 - 3 * j1**2
    g2 = 1 - 3 * (j1**2 + ((j0 - 2 * j2) ** 2 - 4 * j2**2) / 3 + ((2 * j1 - 3 * j3) ** 2 - 9 * j3**2) / 5)
    with np.errstate(divide="ignore"):
        seen = np.sinc(hz * EXPOSURE_S) ** 2 * (np.radians(1) / (2 * np.pi * hz)) ** 2
    focal = WIDTH / 2 / np.tan(HFOV / 2)
    across = focal**2 * g1 * seen
    gain = np.array([(WIDTH**2 / 12 * g1 + HEIGHT**2 / 12 * g2) * seen, across, across])
    gain[:, hz * READOUT_S < 0.25 - 1e-12] = 0
    return gain


def read(path):
    table = pd.read_csv(path, usecols=COLUMNS, engine="c")
    t = table[COLUMNS[0]].to_numpy(float) * 1e-6
    gyro = table[COLUMNS[1:4]].to_numpy(float).T
    step = np.median(np.diff(t))
    if np.abs(np.diff(t) - step).max() > 1e-3 * step:
        even = np.arange(t[0], t[-1], step)
        gyro = np.array([np.interp(even, t, g) for g in gyro])
    return 1 / step, gyro, table[COLUMNS[4]].to_numpy(float)


def score(rate, gyro, from_s, to_s):
    segment = 2 * round(rate / 4)
    length = 2 * segment
    first = int(np.ceil(from_s * rate - 1e-6))
    count = int(np.floor(to_s * rate + 1e-6) + 1 - first) // length
    p, q, r = gyro[:, first : first + count * length].reshape(3, count, length)
    picture = np.array([p * np.cos(TILT) - r * np.sin(TILT), q, p * np.sin(TILT) + r * np.cos(TILT)])
    hz, psd = signal.welch(picture, rate, "hann", segment, segment // 2, detrend="linear")
    energy = np.einsum("asf,af->s", psd, gains(np.maximum(hz, 1e-9))) * hz[1]
    return np.quantile(np.sqrt(energy), 0.95), count


def main():
    rate, gyro, throttle = read(sys.argv[1])
    p95, count = score(rate, gyro, float(sys.argv[2]), float(sys.argv[3]))
    print(json.dumps({"p95": p95, "slices": count, "mean_throttle": throttle.mean(),
                      "import_s": imported - started, "work_s": time.perf_counter() - imported}))


if __name__ == "__main__":
    main()
