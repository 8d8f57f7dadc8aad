import numpy as np
import pytest

from vibecheck.errors import JobError, RecordingError
from vibecheck.files.calibration import by_tone, by_turn_over
from vibecheck.files.lengths import force_n, length_mm
from vibecheck.files.refused import (
    alias_hz,
    must_support,
    why_no_levels,
    why_no_tone,
    why_no_unit,
)
from vibecheck.files.sensor import Sensor, sensor_from
from vibecheck.recording import Recording, Support

RATE_HZ = 48_000.0


def recording(samples=None, rate_hz=RATE_HZ, **more):
    noise = np.random.default_rng(1).normal(0, 0.01, int(4 * rate_hz))
    return Recording(samples=noise if samples is None else samples, rate_hz=rate_hz, **more)


def tone(hz, amplitude=0.3, noise=0.001, seconds=8):
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    rest = np.random.default_rng(2).normal(0, noise, times.size)
    return recording(amplitude * np.sin(2 * np.pi * hz * times) + rest + 0.01)


@pytest.mark.parametrize(
    ("mount", "top_hz"),
    [("hand held", 2000), ("magnet", 5000), ("adhesive", 6000), ("stud", 7000), ("unknown", 24000)],
)
def test_the_mount_sets_the_upper_limit(mount, top_hz):
    sensor = Sensor(kind="accelerometer", mount=mount)
    assert sensor.applied(recording()).top_hz == top_hz


def test_a_mount_does_not_limit_a_microphone_on_a_stand():
    assert Sensor(kind="microphone", mount="stand").applied(recording()).top_hz == 24000


def test_no_unit_without_a_calibration():
    plain = Sensor(kind="accelerometer", mount="stud").applied(recording())
    assert "not calibrated" in why_no_unit(plain, "mm/s")
    known = Sensor(kind="accelerometer", mount="stud", per_full_scale=98.0, unit="m/s^2")
    heard = known.applied(recording())
    assert why_no_unit(heard, "mm/s") == ""
    assert why_no_unit(heard, "Pa") == "no Pa: the sensor gives m/s^2"
    assert np.std(heard.samples) == pytest.approx(0.98, rel=0.02)


def test_no_once_a_turn_from_a_phone_microphone():
    heard = Sensor(kind="phone microphone", processing="off").applied(recording())
    assert "deaf below 90 Hz" in why_no_tone(heard, 24.0)
    assert why_no_tone(heard, 424.8) == ""
    with pytest.raises(RecordingError, match="deaf below"):
        must_support(why_no_tone(heard, 24.0), heard)


@pytest.mark.parametrize("processing", ["unknown", "automatic gain"])
def test_a_phone_that_may_have_changed_the_sound_gives_no_levels(processing):
    heard = Sensor(kind="phone microphone", processing=processing).applied(recording())
    assert "levels may not be compared" in why_no_levels(heard)
    assert not Sensor(kind="accelerometer", mount="hand held").applied(recording()).support.levels


def test_nothing_above_the_true_half_rate_and_the_alias_is_named():
    log = recording(rate_hz=59.8, support=Support(aliased=True, high_hz=26.9))
    assert "would show falsely at 24.4 Hz" in why_no_tone(log, 84.2)
    assert "ends at 26.9" in why_no_tone(log, 28.0)


@pytest.mark.parametrize(
    ("hz", "rate_hz", "shown_hz"),
    [(120, 60, 0), (120, 59.8, 0.4), (120, 100, 20), (120, 200, 80), (424.8, 100, 24.8),
     (424.8, 200, 24.8), (424.8, 400, 24.8), (57.5, 60, 2.5), (84.2, 59.8, 24.4)],
)  # fmt: skip
def test_a_tone_folds_about_half_the_rate(hz, rate_hz, shown_hz):
    assert alias_hz(hz, rate_hz) == pytest.approx(shown_hz, abs=1e-9)


def test_a_calibrator_gives_the_sensitivity():
    found = by_tone(tone(159.2), level_rms=10.0, hz=159.15)
    assert found.per_full_scale == pytest.approx(10.0 / (0.3 / np.sqrt(2)), rel=1e-3)
    assert found.found_hz == pytest.approx(159.2, abs=0.01)


def test_a_bad_calibration_is_refused():
    with pytest.raises(RecordingError, match=r"loudest tone is at 300\.00 Hz"):
        by_tone(tone(300.0), level_rms=10.0, hz=159.15)
    with pytest.raises(RecordingError, match="clear of the noise"):
        by_tone(tone(159.2, noise=0.1), level_rms=10.0, hz=159.15)
    fading = tone(159.2)
    fading = recording(fading.channel(0) * np.linspace(1, 0.7, fading.frames))
    with pytest.raises(RecordingError, match="wanders by"):
        by_tone(fading, level_rms=10.0, hz=159.15)
    with pytest.raises(RecordingError, match="clipped"):
        by_tone(recording(support=Support(reasons=("clipped: 9 samples",))), 10.0, 159.15)


def test_turning_a_sensor_over_gives_volts_a_g_whatever_its_offset():
    rng = np.random.default_rng(3)
    up, down = (recording(1.65 + way * 0.33 + rng.normal(0, 0.004, 20_000)) for way in (1, -1))
    found = by_turn_over(up, down, one_g=1.0)
    assert found.per_full_scale == pytest.approx(1 / 0.33, rel=1e-3)
    assert found.offset == pytest.approx(1.65, abs=1e-3)
    with pytest.raises(RecordingError, match="steady acceleration"):
        by_turn_over(up, up, one_g=1.0)
    shaken = recording(1.65 - 0.33 + rng.normal(0, 0.1, 20_000))
    with pytest.raises(RecordingError, match="lie still"):
        by_turn_over(up, shaken, one_g=1.0)


def test_faults_of_a_sensor_table_name_what_may_be_written():
    with pytest.raises(JobError, match="no mount of sensor 'glue'"):
        sensor_from({"mount": "glue"}, "sweep.toml")
    with pytest.raises(JobError, match=r"unknown key\(s\) mont"):
        sensor_from({"mont": "magnet"}, "sweep.toml")


def test_lengths_and_forces_are_read_as_written_at_a_machine():
    assert length_mm("0.0005in") == pytest.approx(0.0127)
    assert length_mm("2 tenths") == pytest.approx(0.00508)
    assert length_mm("12 µm") == pytest.approx(0.012)
    assert force_n("50lb") == pytest.approx(222.4, abs=0.1)
