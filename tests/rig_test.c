/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/rig.h"
#include "support/near.h"
#include "support/rig_file.h"

/* Field by field: the padding between them is nobody's business. */
static void assert_same_camera(const struct sr_camera *a, const struct sr_camera *b)
{
    assert_true(a->width_px == b->width_px && a->height_px == b->height_px && a->fps == b->fps);
    assert_true(a->readout_s == b->readout_s && a->exposure_s == b->exposure_s);
    assert_true(a->hfov_deg == b->hfov_deg && a->lens == b->lens && a->tilt_deg == b->tilt_deg);
}

static void nothing_given(void **state)
{
    struct sr_rig rig;
    struct sr_camera camera;
    (void)state;
    sr_rig_init(&rig);
    sr_camera_init(&camera);
    assert_same_camera(&rig.camera, &camera);
    assert_string_equal(rig.file, "");
    assert_true(rig.camera_given == 0 && rig.n_modes == 0);
    assert_true(rig.axes == SR_AXES_FRD && rig.gyro_side == SR_GYRO_FRAME);
    assert_true(rig.pole_pairs == 0 && rig.speed_scale == 1 && rig.idle_throttle == 0);
    assert_true(isnan(rig.threshold_px) && isnan(rig.mount.shore_a) && isnan(rig.mount.modulus_mpa));
    assert_true(isnan(rig.mount.temperature_c) && isnan(rig.mount.resonance_hz) && isnan(rig.mount.damping));
    assert_true(isnan(rig.mount.kappa) && isnan(rig.mount.outer_mm) && isnan(rig.mount.inner_mm));
    assert_true(isnan(rig.mount.thickness_mm) && isnan(rig.mount.camera_g) && isnan(rig.mount.arm_mm));
    assert_true(isnan(rig.mount.fc_resonance_hz) && isnan(rig.mount.fc_damping) && rig.mount.count == 0);
    assert_true(rig.mount.material == SR_MATERIAL_UNKNOWN && rig.build.blades == 0 &&
                isnan(rig.build.mass_g));
    assert_int_equal(sr_rig_finish(&rig, NULL), SR_OK);
    assert_true(sr_rig_threshold_px(&rig) == 1);
}

static void every_key(void **state)
{
    struct sr_rig rig;
    (void)state;
    take_text("# the heron, the club's own\r\n"
              "[camera]\r\n"
              "size = 2704x1520\r\n"
              "fps = 59.94\r\n"
              "readout_ms = 12.5 ; measured under the shed's lamp\r\n"
              "exposure_ms=2\r\n"
              "\r\n"
              "   hfov_deg   =   120   \r\n"
              "\tlens = equidistant\r\n"
              "tilt_deg = -5\r\n"
              "[gyro]\n"
              "axes = flu\n"
              "on = camera\n"
              "pole_pairs = 7\n"
              "speed_scale = 100\n"
              "idle = 0.06\n"
              "[mount]\n"
              "shore_a = 50\n"
              "modulus_mpa = 2.5\n"
              "temperature_c = -4.5\n"
              "material = natural-rubber\n"
              "resonance_hz = 83\n"
              "damping = 0.12\n"
              "kappa = 0.004\n"
              "count = 4\n"
              "outer_mm = 8\n"
              "inner_mm = 3\n"
              "thickness_mm = 5\n"
              "camera_g = 28\n"
              "arm_mm = 12\n"
              "fc_resonance_hz = 190\n"
              "fc_damping = 0.2\n"
              "[build]\n"
              "name = heron; the grey one\n"
              "motor = 1103 = 11000\n"
              "prop = reed #2\n"
              "camera = \"own\"\n"
              "pilot = Åse\n"
              "blades = 3\n"
              "mass_g = 241.5\n"
              "[threshold]\n"
              "px = 0.8",
              &rig);
    assert_string_equal(rig.file, "rig.ini");
    assert_int_equal(rig.camera_given, SR_KEY_ALL | SR_KEY_AXES | SR_KEY_GYRO_SIDE);
    assert_true(rig.camera.width_px == 2704 && rig.camera.height_px == 1520 && rig.camera.fps == 59.94);
    assert_near(rig.camera.readout_s, 0.0125, 1e-18);
    assert_near(rig.camera.exposure_s, 0.002, 1e-18);
    assert_true(rig.camera.hfov_deg == 120 && rig.camera.lens == SR_LENS_EQUIDISTANT);
    assert_true(rig.camera.tilt_deg == -5 && rig.axes == SR_AXES_FLU && rig.gyro_side == SR_GYRO_CAMERA);
    assert_true(rig.pole_pairs == 7 && rig.speed_scale == 100 && rig.idle_throttle == 0.06);
    assert_true(rig.mount.shore_a == 50 && rig.mount.modulus_mpa == 2.5 && rig.mount.temperature_c == -4.5);
    assert_true(rig.mount.material == SR_MATERIAL_NATURAL_RUBBER && rig.mount.resonance_hz == 83);
    assert_true(rig.mount.damping == 0.12 && rig.mount.kappa == 0.004 && rig.mount.count == 4);
    assert_true(rig.mount.outer_mm == 8 && rig.mount.inner_mm == 3 && rig.mount.thickness_mm == 5);
    assert_true(rig.mount.camera_g == 28 && rig.mount.arm_mm == 12 && rig.mount.fc_resonance_hz == 190);
    assert_true(rig.mount.fc_damping == 0.2 && rig.build.blades == 3 && rig.build.mass_g == 241.5);
    /* ';' needs a space before it to start a comment, '#' never does behind a value, '=' may come again. */
    assert_string_equal(rig.build.name, "heron; the grey one");
    assert_string_equal(rig.build.motor, "1103 = 11000");
    assert_string_equal(rig.build.prop, "reed #2");
    assert_string_equal(rig.build.camera, "\"own\"");
    assert_string_equal(rig.build.pilot, "Åse");
    assert_true(sr_rig_threshold_px(&rig) == 0.8);
    char text[256] = "x";
    sr_rig_assumption(&rig, text, sizeof text);
    assert_string_equal(text, "");
}

static enum sr_status set(struct sr_rig *rig, const char *section, const char *key, double value)
{
    char text[64];
    snprintf(text, sizeof text, "%.17g", value);
    return sr_rig_set(rig, section, key, text, NULL);
}

/* Each number's own range, from the table: its ends in or out as it says, and just outside. */
static void the_table_is_what_is_enforced(void **state)
{
    const struct sr_rig_key *key;
    char range[128];
    size_t i = 0;
    (void)state;
    for (; (key = sr_rig_key_at(i)) != NULL; i++) {
        struct sr_rig rig;
        sr_rig_init(&rig);
        sr_rig_key_range(key, range, sizeof range);
        assert_true(strlen(range) > 3 && strlen(key->help) > 5);
        if (key->kind == SR_KIND_NUMBER || key->kind == SR_KIND_INTEGER) {
            assert_true(key->low < key->high);
            assert_int_equal(set(&rig, key->section, key->name, key->low) == SR_OK, !key->low_open);
            assert_int_equal(set(&rig, key->section, key->name, key->high) == SR_OK, !key->high_open);
            const double least = key->low == 0 ? 1e-9 : fabs(key->low) * 1e-9;
            assert_int_equal(set(&rig, key->section, key->name, key->low - least), SR_ERR_RIG);
            assert_int_equal(set(&rig, key->section, key->name, key->high * (1 + 1e-9)), SR_ERR_RIG);
            assert_int_equal(set(&rig, key->section, key->name, NAN), SR_ERR_RIG);
            if (key->kind == SR_KIND_NUMBER)
                assert_int_equal(set(&rig, key->section, key->name, (key->low + key->high) / 2), SR_OK);
        }
        for (size_t c = 0; key->kind == SR_KIND_CHOICE && key->choices[c] != NULL; c++)
            assert_int_equal(sr_rig_set(&rig, key->section, key->name, key->choices[c], NULL), SR_OK);
        const bool text = key->kind == SR_KIND_TEXT;
        assert_int_equal(sr_rig_set(&rig, key->section, key->name, "bittern", NULL),
                         text ? SR_OK : SR_ERR_RIG);
        assert_int_equal(sr_rig_set(&rig, key->section, key->name, "", NULL), text ? SR_OK : SR_ERR_RIG);
    }
    assert_true(i >= 35);
    assert_null(sr_rig_key_at(i));
    assert_null(sr_rig_key_at(SIZE_MAX));
}

/* What the table calls a default is what sr_rig_init() sets. */
static void the_table_tells_the_defaults(void **state)
{
    const struct sr_rig_key *key;
    struct sr_rig rig, plain;
    (void)state;
    sr_rig_init(&rig);
    sr_rig_init(&plain);
    assert_int_equal(sr_rig_set(&rig, "camera", "size", "640x480", NULL), SR_OK);
    rig.camera.fps = rig.camera.readout_s = rig.camera.exposure_s = rig.camera.hfov_deg = 5;
    rig.camera.tilt_deg = 5;
    rig.camera.lens = SR_LENS_EQUIDISTANT;
    rig.axes = SR_AXES_FLU;
    rig.gyro_side = SR_GYRO_CAMERA;
    rig.speed_scale = 5;
    rig.mount.material = SR_MATERIAL_TPU;
    for (size_t i = 0; (key = sr_rig_key_at(i)) != NULL; i++) {
        if (key->fallback[0] != '\0')
            assert_int_equal(sr_rig_set(&rig, key->section, key->name, key->fallback, NULL), SR_OK);
    }
    assert_int_equal(rig.camera_given, SR_KEY_ALL | SR_KEY_AXES | SR_KEY_GYRO_SIDE);
    assert_same_camera(&rig.camera, &plain.camera);
    assert_true(rig.axes == plain.axes && rig.gyro_side == plain.gyro_side);
    assert_true(rig.speed_scale == plain.speed_scale && rig.mount.material == plain.mount.material);
}

static void one_key_at_a_time(void **state)
{
    struct sr_rig rig, before;
    struct sr_error err;
    (void)state;
    sr_rig_init(&rig);
    assert_int_equal(sr_rig_set(&rig, "camera", "readout_ms", "12.5", &err), SR_OK);
    assert_int_equal(rig.camera_given, SR_KEY_READOUT);
    assert_int_equal(sr_rig_set(&rig, "camera", "readout_ms", "8", &err), SR_OK); /* the later option wins */
    assert_near(rig.camera.readout_s, 0.008, 1e-18);
    assert_int_equal(sr_rig_set(&rig, "camera", "size", "3840X2160", &err), SR_OK);
    memcpy(&before, &rig, sizeof rig);
    assert_int_equal(sr_rig_set(&rig, "camera", "fps", "0", &err), SR_ERR_RIG);
    assert_true(err.line == 0 && err.file[0] == '\0');
    assert_string_equal(err.text, "fps: '0' is out of range, 1..10000 Hz");
    assert_int_equal(sr_rig_set(&rig, "camera", "fspp", "0", &err), SR_ERR_RIG);
    assert_int_equal(sr_rig_set(&rig, "mode new", "fps", "0", &err), SR_ERR_RIG);
    assert_memory_equal(&rig, &before, sizeof rig);
    assert_int_equal(sr_rig_set(&rig, "mode new", "fps", "25", &err), SR_OK);
    assert_true(rig.n_modes == 1 && rig.modes[0].camera.fps == 25 && rig.camera.fps == 60);
}

static void modes_lie_over_the_camera(void **state)
{
    struct sr_rig rig;
    (void)state;
    /* [camera] comes last, and an option after it: both still lie under the modes. */
    take_text(
        "[mode slow]\nfps = 25\nreadout_ms = 30\n"
        "[mode wide]\nsize = 1280x720\nhfov_deg = 150\nlens = equidistant\nexposure_ms = 4\ntilt_deg = 0\n"
        "[mode plain]\n"
        "[camera]\nsize = 2704x1520\nreadout_ms = 10\nfps = 50\n",
        &rig);
    assert_int_equal(sr_rig_set(&rig, "camera", "exposure_ms", "3", NULL), SR_OK);
    assert_int_equal(sr_rig_finish(&rig, NULL), SR_OK);
    assert_int_equal(rig.n_modes, 3);
    assert_string_equal(rig.modes[0].name, "slow");
    assert_int_equal(rig.modes[0].given, SR_KEY_FPS | SR_KEY_READOUT);
    assert_true(rig.modes[0].camera.fps == 25 && rig.modes[0].camera.width_px == 2704);
    assert_near(rig.modes[0].camera.readout_s, 0.030, 1e-18);
    assert_near(rig.modes[0].camera.exposure_s, 0.003, 1e-18);
    assert_true(rig.modes[1].camera.width_px == 1280 && rig.modes[1].camera.height_px == 720);
    assert_true(rig.modes[1].camera.lens == SR_LENS_EQUIDISTANT && rig.modes[1].camera.hfov_deg == 150);
    assert_true(rig.modes[1].camera.tilt_deg == 0 && rig.modes[1].camera.fps == 50);
    assert_near(rig.modes[1].camera.exposure_s, 0.004, 1e-18);
    assert_same_camera(&rig.modes[2].camera, &rig.camera);
}

static void too_many_modes(void **state)
{
    char text[512] = "";
    struct sr_rig rig;
    struct sr_error err;
    (void)state;
    for (int i = 0; i < SR_MODES_MAX; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "[mode m%d]\nfps = %d\n", i, 30 + i);
    take_text(text, &rig);
    assert_int_equal(rig.n_modes, SR_MODES_MAX);
    strcat(text, "[mode m3]\nreadout_ms = 9\n"); /* one of them again is fine */
    take_text(text, &rig);
    strcat(text, "[mode one-more]\n");
    assert_int_equal(read_text(text, &rig, &err), SR_ERR_RIG);
    assert_int_equal(err.line, 2 * SR_MODES_MAX + 3);
    assert_non_null(strstr(err.text, "section 'mode one-more' is one mode too many, a rig holds 8"));
}

/* What is assumed gives way to what is given. */
static void assumed_times_fit_the_frame(void **state)
{
    struct sr_rig rig;
    char text[512];
    (void)state;
    take_text("[camera]\nfps = 120\n", &rig);
    assert_near(rig.camera.readout_s, 0.008, 1e-15);
    assert_near(rig.camera.exposure_s, 0.001, 1e-15);
    sr_rig_assumption(&rig, text, sizeof text);
    assert_string_equal(
        text, "assumed: 1920x1080, readout 8 ms (shortened to fit 120 fps), exposure 1 ms, hfov 95 deg, "
              "rectilinear lens, tilt 20 deg, axes frd, gyro on the frame");
    take_text("[camera]\nfps = 1500\n", &rig);
    assert_near(rig.camera.readout_s, 0.96 / 1500, 1e-15);
    assert_near(rig.camera.exposure_s, 0.96 / 1500, 1e-15);
    assert_int_equal(sr_camera_check(&rig.camera, NULL), SR_OK);
    take_text("[camera]\nfps = 30\n", &rig); /* more room is no reason to change the guess */
    assert_near(rig.camera.readout_s, 0.016, 1e-15);
    take_text("[mode fast]\nfps = 240\n", &rig);
    assert_near(rig.modes[0].camera.readout_s, 0.004, 1e-15);
    assert_near(rig.camera.readout_s, 0.016, 1e-15);
    take_text("[camera]\nreadout_ms = 16.67\n", &rig); /* one frame at 60 fps, rounded */
}

static void assumption_texts(void **state)
{
    struct sr_rig rig;
    char text[512];
    (void)state;
    sr_rig_init(&rig);
    assert_int_equal(sr_rig_finish(&rig, NULL), SR_OK);
    sr_rig_assumption(&rig, text, sizeof text);
    assert_string_equal(
        text, "no rig given; assumed: 1920x1080, 60 fps, readout 16 ms, exposure 1 ms, hfov 95 deg, "
              "rectilinear lens, tilt 20 deg, axes frd, gyro on the frame, no mount model");
    for (size_t size = 0; size < 40; size++) { /* cut, never overrun */
        memset(text, '!', sizeof text);
        sr_rig_assumption(&rig, text, size);
        assert_true(text[size] == '!');
        assert_true(size == 0 || strlen(text) == size - 1);
    }
    take_text(
        "[camera]\nsize=1920x1080\nfps=60\nreadout_ms=16\nexposure_ms=1\nhfov_deg=95\nlens=rectilinear\n"
        "[gyro]\naxes = frd\non = frame\n",
        &rig);
    sr_rig_assumption(&rig, text, sizeof text);
    assert_string_equal(text, "assumed: tilt 20 deg");
}

static void contradictions(void **state)
{
    static const struct {
        const char *text, *says;
    } bad[] = {
        {"[camera]\nfps = 60\nreadout_ms = 20\n",
         "readout_ms 20 is longer than a frame, 16.6667 ms at 60 fps"},
        {"[camera]\nreadout_ms = 20\n", "the frame rate is assumed, give fps too"},
        {"[camera]\nfps = 60\nexposure_ms = 20\n",
         "exposure_ms 20 is longer than a frame, 16.6667 ms at 60 fps"},
        {"[camera]\nhfov_deg = 175\n",
         "hfov_deg 175 is outside 1..170 of a lens that is rectilinear; for a wider view"},
        {"[camera]\nreadout_ms = 16\n[mode fast]\nfps = 120\n",
         "[mode fast]: readout_ms 16 is longer than a frame, 8.33333 ms at 120 fps; a mode with its own fps "
         "needs "
         "its own readout_ms and exposure_ms"},
        {"[mode m]\nhfov_deg = 175\n", "[mode m]: hfov_deg 175"},
        {"[mount]\nouter_mm = 5\ninner_mm = 5\n", "inner_mm 5 is not below outer_mm 5"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct sr_rig rig, before;
        struct sr_error err;
        assert_int_equal(read_text(bad[i].text, &rig, &err), SR_OK);
        memcpy(&before, &rig, sizeof rig);
        assert_int_equal(sr_rig_finish(&rig, &err), SR_ERR_RIG);
        assert_string_equal(err.file, "rig.ini");
        if (strstr(err.text, bad[i].says) == NULL)
            fail_msg("'%s' does not say '%s'", err.text, bad[i].says);
        assert_memory_equal(&rig, &before, sizeof rig);
    }
}

static void material_names(void **state)
{
    (void)state;
    assert_string_equal(sr_material_name(SR_MATERIAL_UNKNOWN), "unknown");
    assert_string_equal(sr_material_name(SR_MATERIAL_NATURAL_RUBBER), "natural-rubber");
    assert_string_equal(sr_material_name(SR_MATERIAL_SILICONE), "silicone");
    assert_string_equal(sr_material_name(SR_MATERIAL_TPU), "tpu");
    for (int m = SR_MATERIAL_UNKNOWN; m <= SR_MATERIAL_TPU;
         m++) { /* the parser knows them by the same names */
        struct sr_rig rig;
        sr_rig_init(&rig);
        assert_int_equal(sr_rig_set(&rig, "mount", "material", sr_material_name((enum sr_material)m), NULL),
                         SR_OK);
        assert_int_equal(rig.mount.material, m);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_given),
        cmocka_unit_test(every_key),
        cmocka_unit_test(the_table_is_what_is_enforced),
        cmocka_unit_test(the_table_tells_the_defaults),
        cmocka_unit_test(one_key_at_a_time),
        cmocka_unit_test(modes_lie_over_the_camera),
        cmocka_unit_test(too_many_modes),
        cmocka_unit_test(assumed_times_fit_the_frame),
        cmocka_unit_test(assumption_texts),
        cmocka_unit_test(contradictions),
        cmocka_unit_test(material_names),
    };
    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
