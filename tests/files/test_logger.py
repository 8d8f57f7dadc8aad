import numpy as np
import pytest

from vibecheck.errors import RecordingError, UsageError
from vibecheck.files.audio import read_recording
from vibecheck.files.logger import read_log


def wave(times_s, hz=7.3, amplitude=2.0):
    return amplitude * np.sin(2 * np.pi * hz * times_s)


def pitch_and_level(recording, channel=0):
    samples = recording.channel(channel)
    samples = samples - samples.mean()
    padded = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 18))
    return np.argmax(padded) * recording.rate_hz / (1 << 18), np.std(samples) * np.sqrt(2)


EVEN_S = np.arange(3000) / 100.0


@pytest.mark.parametrize("mark", [",", ";", "\t", " ", " , ", "|"])
@pytest.mark.parametrize("header", ["", "time{0}x (m/s^2){0}y (m/s^2)\n"])
def test_any_separator_with_or_without_headings_is_read(tmp_path, mark, header):
    path = tmp_path / "log.csv"
    rows = [f"{t:.3f}{mark}{x:.5f}{mark}0.5" for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)]
    path.write_text((header.format(mark) if mark != " " else "") + "\n".join(rows) + "\n")
    recording = read_log(path)
    hz, level = pitch_and_level(recording)
    assert recording.rate_hz == pytest.approx(100.0, rel=1e-6)
    assert (hz, level) == (pytest.approx(7.3, abs=0.01), pytest.approx(2.0, rel=0.01))
    if header and mark != " ":
        assert (recording.quantity, recording.unit) == ("acceleration", "m/s^2")


def test_decimal_commas_are_understood(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"{t:.3f};{x:.5f}".replace(".", ",") for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)]
    path.write_text("Zeit (s);a (g)\n" + "\n".join(rows))
    recording = read_log(path)
    assert pitch_and_level(recording)[0] == pytest.approx(7.3, abs=0.01)
    assert recording.unit == "g"


@pytest.mark.parametrize(
    ("heading", "scale"),
    [("t (ms)", 1e3), ("time_us", 1e6), ("timestamp [ns]", 1e9), ("millis", 1e3), ("t", 1e3)],
)
def test_the_unit_of_the_time_is_read_or_guessed(tmp_path, heading, scale):
    path = tmp_path / "log.csv"
    rows = [f"{t * scale:.0f},{x:.5f}" for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)]
    path.write_text(f"{heading},ax\n" + "\n".join(rows))
    assert read_log(path).rate_hz == pytest.approx(100.0, rel=1e-6)


def test_clock_times_and_dates_are_times(tmp_path):
    for form in ("12:{m:02d}:{s:06.3f}", "2031-04-05 12:{m:02d}:{s:06.3f}"):
        path = tmp_path / "log.csv"
        rows = [
            form.format(m=int(t // 60), s=t % 60) + f",{x:.5f}"
            for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)
        ]
        path.write_text("time,ax\n" + "\n".join(rows))
        recording = read_log(path)
        assert recording.rate_hz == pytest.approx(100.0, rel=1e-6)
        assert pitch_and_level(recording)[0] == pytest.approx(7.3, abs=0.01)


def test_uneven_stamps_are_resampled_at_the_true_rate_and_said(tmp_path):
    rng = np.random.default_rng(2)
    times = np.sort(EVEN_S * 1.01 + rng.normal(0, 0.0015, EVEN_S.size))
    path = tmp_path / "log.csv"
    np.savetxt(path, np.column_stack([times, wave(times)]), delimiter=",", fmt="%.6f")
    recording = read_log(path)
    hz, level = pitch_and_level(recording)
    assert recording.rate_hz == pytest.approx(100 / 1.01, rel=1e-4)
    assert (hz, level) == (pytest.approx(7.3, abs=0.01), pytest.approx(2.0, rel=0.02))
    assert any("1.5" in why and "jitter" in why for why in recording.support.reasons)
    assert recording.top_hz < recording.rate_hz / 2
    assert recording.support.aliased


def test_repeated_stamps_of_a_coarse_clock_are_spread_evenly(tmp_path):
    path = tmp_path / "log.csv"
    coarse = np.floor(EVEN_S / 0.0336) * 33.6
    np.savetxt(path, np.column_stack([coarse, wave(EVEN_S)]), delimiter=",", fmt="%.4f")
    recording = read_log(path)
    hz, level = pitch_and_level(recording)
    assert recording.rate_hz == pytest.approx(100.0, rel=1e-3)
    assert (hz, level) == (pytest.approx(7.3, abs=0.02), pytest.approx(2.0, rel=0.01))
    assert any("repeat" in why for why in recording.support.reasons)


def test_records_in_one_long_line_with_end_marks_are_read(tmp_path):
    path = tmp_path / "log.dat"
    rows = [
        f"{x:.5f},{9.81 + 0.1 * x:.5f},{0.3 + 0.01 * x:.5f},{1000 * t:.3f}"
        for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)
    ]
    path.write_text(";".join(["999,999,999,999", *rows, "111,111,111,111"]) + ";")
    recording = read_log(path)
    assert recording.frames == 3000
    assert recording.unit == "m/s^2"
    assert pitch_and_level(recording)[0] == pytest.approx(7.3, abs=0.01)
    assert any("marker" in why for why in recording.support.reasons)
    assert any("standing gravity reads 9.8" in why for why in recording.support.reasons)


def test_of_a_log_with_a_gap_the_longest_stretch_is_kept(tmp_path):
    path = tmp_path / "log.csv"
    keep = (EVEN_S < 8) | (EVEN_S > 11)
    np.savetxt(path, np.column_stack([EVEN_S, wave(EVEN_S)])[keep], delimiter=",", fmt="%.4f")
    recording = read_log(path)
    assert recording.seconds == pytest.approx(19.0, abs=0.05)
    assert any("1 gap(s), the widest 3.02 s" in why for why in recording.support.reasons)


def test_records_logged_twice_count_once(tmp_path):
    path = tmp_path / "log.csv"
    rows = np.column_stack([EVEN_S, wave(EVEN_S)])
    np.savetxt(path, np.insert(rows, [100, 900], rows[[99, 899]], axis=0), delimiter=",")
    recording = read_log(path)
    assert recording.frames == 3000
    assert any("2 record(s) were logged twice" in why for why in recording.support.reasons)


def test_rubbish_rows_are_left_out_and_counted(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"{t:.3f},{x:.5f}" for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)]
    rows[500] = "--- battery low ---"
    path.write_text("\n".join(rows))
    recording = read_log(path)
    assert any("1 of 3000 rows could not be read" in why for why in recording.support.reasons)


def test_a_log_without_time_needs_a_rate_from_the_user_or_its_own_head(tmp_path):
    path = tmp_path / "log.csv"
    body = "\n".join(f"{x:.5f},{2 * x:.5f}" for x in wave(EVEN_S))
    path.write_text("a1,a2\n" + body)
    with pytest.raises(RecordingError, match=r"no time column.*--rate"):
        read_log(path)
    assert read_log(path, rate_hz=100).channels == 2
    path.write_text("Sample rate: 0.1 kHz\na1,a2\n" + body)
    assert read_log(path).rate_hz == pytest.approx(100)


def test_columns_are_chosen_by_heading_or_number_and_faults_name_them(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,ax,ay\n" + "\n".join(f"{t},{t % 1},{t % 3}" for t in EVEN_S))
    assert np.array_equal(read_log(path, column="AY").samples, read_log(path, column="3").samples)
    with pytest.raises(UsageError, match="t, ax, ay"):
        read_log(path, column="az")


def test_milli_g_comes_back_in_g(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t (s),a (mg)\n" + "\n".join(f"{t},{1000 * x}" for t, x in
                    zip(EVEN_S, wave(EVEN_S), strict=True)))  # fmt: skip
    recording = read_log(path)
    assert recording.unit == "g"
    assert pitch_and_level(recording)[1] == pytest.approx(2.0, rel=0.01)


def test_a_tone_above_half_the_rate_is_warned_of_as_a_possible_alias(tmp_path):
    path = tmp_path / "log.csv"
    times = np.arange(1800) / 59.8
    np.savetxt(path, np.column_stack([times, wave(times, hz=84.2)]), delimiter=",", fmt="%.6f")
    recording = read_log(path)
    assert pitch_and_level(recording)[0] == pytest.approx(24.4, abs=0.05)
    assert recording.support.aliased
    assert recording.top_hz < 29.9
    assert any("alias" in why for why in recording.support.reasons)


@pytest.mark.parametrize("text", ["", "hello\nworld\n", "a,b\nc,d\n" * 20])
def test_a_text_without_numbers_is_refused(tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(RecordingError, match=r"empty|no table of numbers"):
        read_recording(path)


def test_binary_rubbish_is_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(bytes(range(256)) * 40)
    with pytest.raises(RecordingError, match="no text file"):
        read_recording(path)


def test_an_empty_entry_is_refused_not_guessed(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,a\n" + "\n".join(f"{t},{'nan' if t == 5 else t % 1}" for t in EVEN_S))
    with pytest.raises(RecordingError, match="not numbers"):
        read_recording(path)


def test_equal_readings_of_one_axis_under_one_stamp_are_not_taken_for_a_doubled_record(tmp_path):
    path = tmp_path / "log.csv"
    coarse = np.floor(EVEN_S / 0.0336) * 33.6
    rows = np.column_stack([coarse, np.round(wave(EVEN_S)), wave(EVEN_S + 0.3)])
    np.savetxt(path, rows, delimiter=",", fmt="%.4f")
    assert read_log(path, column="2").frames == 3000


def test_units_in_a_row_of_their_own_are_read(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"{1000 * t:.0f};{x:.5f}" for t, x in zip(EVEN_S, wave(EVEN_S), strict=True)]
    path.write_text("Time;Axis 1\n[ms];[m/s²]\n" + "\n".join(rows))
    recording = read_log(path)
    assert (recording.unit, recording.rate_hz) == ("m/s^2", pytest.approx(100.0))


def test_rows_with_empty_fields_are_left_out_not_shifted(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"{t:.2f},{t % 1:.3f},{5 + t % 2:.3f}" for t in EVEN_S]
    rows[1050] = f"{EVEN_S[1050]:.2f},,5.0"
    path.write_text("t,a,b\n" + "\n".join(rows))
    recording = read_log(path, column="b")
    wanted = 5 + EVEN_S % 2
    assert recording.rate_hz == pytest.approx(100.0)
    assert recording.channel(0) == pytest.approx(wanted, abs=1e-3)
    assert any("1 single sample(s) missing" in why for why in recording.support.reasons)


def test_a_running_number_is_neither_time_nor_a_sensor(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("no,t,a\n" + "\n".join(f"{i},{t:.2f},{i % 7}" for i, t in enumerate(EVEN_S)))
    assert read_log(path).channels == 1
