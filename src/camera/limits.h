/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ranges of the camera's keys, shared by the check of a camera and by the table of
 * rig keys, so that both refuse the same values with the same words.
 */
#ifndef SR_CAMERA_LIMITS_H
#define SR_CAMERA_LIMITS_H

#define SIZE_LOW_PX               16.0
#define SIZE_HIGH_PX              100000.0
#define FPS_LOW                   1.0
#define FPS_HIGH                  10000.0
#define FRAME_HIGH_MS             1000.0 /* of readout and exposure: one frame at the lowest rate */
#define HFOV_LOW_DEG              1.0
#define HFOV_HIGH_DEG             360.0
#define HFOV_RECTILINEAR_HIGH_DEG 170.0
#define TILT_HIGH_DEG             90.0

/* The assumed camera; 16 ms at 60 fps reads out over 0.96 of a frame. */
#define ASSUMED_WIDTH_PX      1920.0
#define ASSUMED_HEIGHT_PX     1080.0
#define ASSUMED_FPS           60.0
#define ASSUMED_READOUT_S     0.016
#define ASSUMED_READOUT_SHARE 0.96
#define ASSUMED_EXPOSURE_S    0.001
#define ASSUMED_HFOV_DEG      95.0
#define ASSUMED_TILT_DEG      20.0

/* 16.67 ms at 60 fps, or 60 fps for a true 59.94, is a rounded figure and no contradiction. */
#define FRAME_SLACK 1.005

#endif
