#!/bin/sh
# Make the small inputs of the scenario tests in the current directory. Invented flights: a line at
# 80 Hz on a slow pilot motion. SPDX-License-Identifier: GPL-3.0-or-later
set -eu

# flight HEADER RATE_HZ SECONDS SEPARATOR LINE_DPS: time in s, three rates.
flight() {
    echo "$1"
    awk -v rate="$2" -v seconds="$3" -v sep="$4" -v dps="$5" 'BEGIN {
        pi = 3.14159265358979
        for (i = 0; i < rate * seconds; i++) {
            t = i / rate
            x = 8 * sin(2 * pi * 0.7 * t) + 0.25 * dps * sin(2 * pi * 80 * t)
            y = 5 * sin(2 * pi * 0.4 * t) + dps * sin(2 * pi * 80 * t)
            z = 3 * sin(2 * pi * 0.3 * t)
            # A little of everything, so that no density is zero.
            seed = (seed * 1103 + 12345) % 65536
            n = seed / 65536 - 0.5
            printf "%.6f%s%.3f%s%.3f%s%.3f\n", t, sep, x + n, sep, y - n, sep, z + n / 2
        }
    }'
}

columns='time [s],gyro x [deg/s],gyro y [deg/s],gyro z [deg/s]'
flight "$columns" 1000 6 , 60 >wobbly.csv
flight "$columns" 1000 6 , 2 >calm.csv
flight "$columns" 200 6 , 0.5 >slow.csv
flight "$columns" 12 60 , 2 >crawling.csv
flight "$columns" 1000 1 , 2 >short.csv

# Bad input, one kind a file.
: >empty.csv
echo "$columns" >header-only.csv
printf 'time [s],height [m],volts\n0,1,7\n0.1,1,7\n0.2,1,7\n' >no-gyro.csv
sed 's/^time \[s\]/height/' calm.csv >no-time.csv
# Every third row carries words.
awk 'NR > 1 && NR % 3 == 0 { sub(/,[^,]*$/, ",lost") } { print }' calm.csv >words.csv
awk 'NR > 1 && NR % 4 != 0 { sub(/,[^,]*$/, ",lost") } { print }' calm.csv >mostly-words.csv
awk 'NR == 17 || NR == 21 { sub(/,[^,]*$/, ",nan") } NR == 30 { sub(/,[^,]*$/, ",inf") } { print }' calm.csv >nan.csv
# A row of the past in the middle.
awk 'NR == 501 { row = $0 } NR == 2001 { print row } { print }' calm.csv >backwards.csv
# All of it backwards.
{ head -n 1 calm.csv; tail -n +2 calm.csv | sort -r -t , -k 1,1; } >reversed.csv
# Cut in the middle of its last row.
{ head -n 5000 calm.csv; printf '4.999000,1.2'; } >truncated.csv
{ cat calm.csv; awk 'BEGIN { for (i = 0; i < 200000; i++) printf "%s", "0123456789" }'; echo; } >long-line.csv
awk 'BEGIN { for (i = 0; i < 2000000; i++) printf "x" }' >one-line.csv
printf 'stillrow\000\001\002\377\376 no text\000\000\000\n\000\000' >binary.csv
mkdir folder.csv
# 100 samples missing in the middle.
awk 'NR < 3000 || NR > 3100' calm.csv >gap.csv

# The same flight written otherwise.
{ printf '\357\273\277'; sed 's/$/\r/' calm.csv; } >bom-crlf.csv
sed 's/,/;/g; s/\./,/g' calm.csv >decimal-comma.csv
# Decimal commas between commas: quoted they stay whole, bare they fall apart.
awk -F , -v OFS=, 'NR > 1 { for (i = 1; i <= NF; i++) { sub(/[.]/, ",", $i); $i = "\"" $i "\"" } } { print }' \
    calm.csv >quoted-comma.csv
tr . , <calm.csv >bare-comma.csv
# Whole numbers alone, and columns that nobody named: neither is a decimal comma.
awk -F , -v OFS=, 'NR > 1 { print int($1 * 1000), int($2 * 100), int($3 * 100), int($4 * 100), 7, 8; next }
                   { print "time [ms],gyro x [deg/s],gyro y [deg/s],gyro z [deg/s]" }' calm.csv >unnamed.csv
{ printf 'Recorder of the boathouse\nprops, 3 blades\n\n'; cat calm.csv; } >preamble.csv
tail -n +2 calm.csv >no-header.csv
# Rows only: a counter instead of a clock.
{ echo 'row,a,b,c'; awk -F , 'NR > 1 { print NR - 1 "," $2 "," $3 "," $4 }' calm.csv; } >counter.csv
sed '1s/.*/when,left,right,up/' calm.csv >odd-names.csv

cat >rig.ini <<'INI'
[camera]
size = 1280x720
fps = 50
readout_ms = 12
exposure_ms = 2
hfov_deg = 80
lens = rectilinear
tilt_deg = 15
[gyro]
axes = frd
on = frame
[threshold]
px = 0.8
[mode slow]
fps = 25
INI
printf '[camera]\nreadout = 12\n' >bad-key.ini
printf '[camera]\nfps = fast\n' >bad-value.ini
