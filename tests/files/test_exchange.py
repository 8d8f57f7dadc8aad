import contextlib
import io

import numpy as np
import pytest
import pyuff
from scipy.io import savemat

from vibecheck.errors import RecordingError, UsageError
from vibecheck.files.audio import read_recording
from vibecheck.files.exchange import stored_rpm

RATE_HZ = 4096.0
TIMES_S = np.arange(4 * 4096) / RATE_HZ


def wave(hz, amplitude=0.5):
    return amplitude * np.sin(2 * np.pi * hz * TIMES_S)


def loudest_hz(samples, rate_hz):
    return np.argmax(np.abs(np.fft.rfft(samples))) * rate_hz / samples.size


def write_uff(path, *waves, kind=12, label="m/s^2"):
    with contextlib.redirect_stdout(io.StringIO()):
        file = pyuff.UFF(str(path))
        for number, samples in enumerate(waves, start=1):
            record = {
                "type": 58, "binary": 1, "func_type": 1, "rsp_node": number, "rsp_dir": 1,
                "ref_node": 0, "ref_dir": 0, "data": samples, "x": TIMES_S, "id1": f"axis {number}",
                "abscissa_inc": 1 / RATE_HZ, "abscissa_spacing": 1, "abscissa_min": 0.0,
                "ordinate_spec_data_type": kind, "ordinate_axis_units_lab": label,
                "orddenom_spec_data_type": 0, "num_pts": samples.size, "ord_data_type": 4,
                "abscissa_spec_data_type": 17, "z_axis_axis_lab": "none",
            }  # fmt: skip
            file.write_sets(record, "add")


@pytest.mark.filterwarnings(  # the library leaves a file it has written to the collector
    "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)
def test_uff_58_comes_back_at_its_pitch_rate_level_and_unit(tmp_path):
    path = tmp_path / "run.uff"
    write_uff(path, wave(437.0), wave(120.0))
    recording = read_recording(path)
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=1e-5)
    assert recording.samples == pytest.approx(np.stack([wave(437.0), wave(120.0)]), abs=1e-5)
    assert (recording.quantity, recording.unit) == ("acceleration", "m/s^2")
    assert loudest_hz(read_recording(path, variable="axis 2").channel(0), RATE_HZ) == 120.0
    with pytest.raises(UsageError, match="axis 1, axis 2"):
        read_recording(path, variable="axis 3")


def test_a_uff_file_that_is_none_is_refused(tmp_path):
    path = tmp_path / "run.uff"
    path.write_text("nothing to see\n" * 30)
    with pytest.raises(RecordingError, match=r"UFF|no time record"):
        read_recording(path)


def test_a_matlab_array_is_read_by_name_with_the_rate_told(tmp_path):
    path = tmp_path / "run.mat"
    savemat(path, {"drive_end": wave(437.0)[:, None], "fan_end": wave(90.0), "X1RPM": 1772.0})
    recording = read_recording(path, variable="drive_end", rate_hz=RATE_HZ, unit="g")
    assert loudest_hz(recording.channel(0), RATE_HZ) == 437.0
    assert recording.unit == "g"
    assert stored_rpm(path) == 1772.0
    with pytest.raises(UsageError, match="drive_end, fan_end"):
        read_recording(path, rate_hz=RATE_HZ)
    with pytest.raises(RecordingError, match="no sample rate"):
        read_recording(path, variable="fan_end")


def test_a_matlab_file_may_store_its_own_rate(tmp_path):
    path = tmp_path / "run.mat"
    savemat(path, {"data": np.stack([wave(437.0), wave(90.0)], axis=1), "fs": RATE_HZ})
    recording = read_recording(path)
    assert (recording.rate_hz, recording.channels) == (RATE_HZ, 2)


@pytest.mark.parametrize("content", [b"", b"MATLAB 7.3 MAT-file" + bytes(200), b"rubbish" * 99])
def test_a_broken_matlab_file_is_refused(tmp_path, content):
    path = tmp_path / "run.mat"
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=r"empty|7\.3|not a MATLAB"):
        read_recording(path)
