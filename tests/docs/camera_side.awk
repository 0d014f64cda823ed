# What a gyro on the camera would log, from heron's log of the frame: the mount's own difference equation
# (66 Hz, damping 0.12; bilinear transform). Use: awk -F, -f tests/docs/camera_side.awk heron.csv
# SPDX-License-Identifier: GPL-3.0-or-later
BEGIN {
    fn = 66; zeta = 0.12
    pi = atan2(0, -1); w = 2 * pi * fn; t = w / 2000; c = w / (sin(t) / cos(t))
    a0 = c * c + 2 * zeta * w * c + w * w
    b0 = (2 * zeta * w * c + w * w) / a0; b1 = 2 * w * w / a0; b2 = (w * w - 2 * zeta * w * c) / a0
    a1 = (2 * w * w - 2 * c * c) / a0; a2 = (c * c - 2 * zeta * w * c + w * w) / a0
}
/^time/ { print "time [ms],gyro x [deg/s],gyro y [deg/s],gyro z [deg/s]"; go = 1; next }
go {
    for (i = 2; i <= 4; i++) {
        y = b0 * $i + z1[i]; z1[i] = b1 * $i - a1 * y + z2[i]; z2[i] = b2 * $i - a2 * y
        out[i] = y
    }
    printf "%.3f,%.4f,%.4f,%.4f\n", $1, out[2], out[3], out[4]
}
