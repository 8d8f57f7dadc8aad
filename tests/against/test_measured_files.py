"""Every kind of file among the measured public recordings is read at its true rate.

Rates and speeds as the sets' own papers and pages state them; see ``tests/measured.py``.
"""

import measured
import numpy as np
import pytest

from vibecheck.files.audio import read_recording
from vibecheck.files.exchange import stored_rpm


def loudest_hz(recording, low_hz=5.0, channel=0):
    samples = recording.channel(channel) - recording.channel(channel).mean()
    lines = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 20))
    lines[: int(low_hz / recording.rate_hz * (1 << 20))] = 0
    return np.argmax(lines) * recording.rate_hz / (1 << 20)


@pytest.mark.parametrize("weights", ["2Weights", "4Weights"])
def test_a_phones_uneven_log_shows_the_unbalanced_motor_at_its_speed(weights):
    """M. Recio: 4-pole motor on a 50 Hz inverter, shaft a little below 25 Hz."""
    name = f"mrecio_motor/phone_Motor2_UnbalancedRotor_{weights}_Yaxis_50Hz.dat"
    recording = read_recording(measured.path(name), column="5")
    assert recording.rate_hz == pytest.approx(99.4, abs=0.6)
    assert recording.unit == "m/s^2"
    assert recording.channel(0).mean() == pytest.approx(9.81, abs=0.4)
    assert recording.support.aliased
    assert recording.top_hz < 45
    assert loudest_hz(recording) == pytest.approx(24.9, abs=0.25)


def test_hours_minutes_seconds_and_microseconds_are_one_clock():
    """PRONOSTIA: 2560 samples at 25.6 kHz, two axes in g."""
    recording = read_recording(measured.path("femto/acc_00001.csv"))
    assert recording.channels == 2
    assert recording.rate_hz == pytest.approx(25_600, rel=1e-4)
    assert any("0.1 s long" in why for why in recording.support.reasons)


def test_semicolons_and_a_first_row_with_extra_fields_are_no_hindrance():
    """Analog Devices: three axes in volts, 20 kHz, 2 s."""
    recording = read_recording(measured.path("adi_mfs/1800_GoB_GS_HImL_WA_00lb.csv"), unit="V")
    assert (recording.channels, recording.frames) == (3, 40_000)
    assert recording.rate_hz == pytest.approx(20_000, rel=1e-6)
    assert not recording.support.aliased


def test_arrays_are_read_by_name_and_the_stored_speed_beside_them():
    """CWRU 105: 12 kHz; the file stores 1797 r/min."""
    path = measured.path("cwru/105.mat")
    recording = read_recording(path, variable="X105_DE_time", rate_hz=12_000, unit="g")
    assert recording.frames == 121_265
    assert stored_rpm(path) == 1797


def test_a_rate_stored_beside_the_array_is_used():
    """UESTC: 20 kHz stored as SampleFrequency."""
    assert read_recording(measured.path("uestc/I_1400_5.mat")).rate_hz == 20_000


def test_a_gear_log_without_times_takes_the_rate_it_is_told(tmp_path):
    """Two-stage gearbox mirrored from OpenEI 623: four channels, 12.8 kHz inferred."""
    import gzip

    found = sorted(measured.folder().glob("sq_gear/*.csv.gz"))
    if not found:
        pytest.skip("measured recordings not found: no sq_gear; set VIBECHECK_MEASURED")
    plain = tmp_path / "gear.csv"
    with gzip.open(found[0], "rb") as packed:
        plain.write_bytes(packed.read())
    recording = read_recording(plain, rate_hz=12_800)
    assert recording.channels == 4
    assert any("a1, a2, a3, a4" in why for why in recording.support.reasons)
