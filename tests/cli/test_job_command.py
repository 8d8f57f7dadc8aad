import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main

MACHINE = """
name = "invented"
[supply]
mains_hz = 50
[motor]
poles = 4
plate_rpm = 1440
shaft = "I"
[levers.A]
1 = "20/40"
2 = "30/30"
"""


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def call(*arguments, code=0):
        result = CliRunner().invoke(main, list(arguments))
        assert result.exit_code == code, result.output
        assert code or all(len(line) <= 80 for line in result.output.splitlines())
        return " ".join(result.output.split())

    return call


def sound(path, form=None):
    samples = np.random.default_rng(1).normal(0, 0.1, 48_000)
    soundfile.write(path, samples, 8000, format=form)


def test_a_job_is_opened_filled_shown_and_checked(run, tmp_path):
    (tmp_path / "m.toml").write_text(MACHINE)
    run(
        "job", "new", "grey", "--customer", "A shop", "--complaint", "knocks", "--machine", "m.toml"
    )
    said = run("job", "reading", "grey", "spindle lift", "0.5thou", "--place", "nose",
               "--pull", "50lb", "--date", "2031-04-05")  # fmt: skip
    assert "0.0127 mm (0.0005 in) at nose under 222 N: not the suspect" in said
    said = run("job", "reading", "grey", "taper", "0.004in", "--over", "2.5in", "--place", "bar")
    assert "0.0016 per unit of length, about 20 times what a good machine shows" in said
    said = run("job", "reading", "grey", "other", "0.002in", "--over", "5in", "--for", "18in",
               "--place", "carriage")  # fmt: skip
    assert "(0.0072 in) over 18in" in said
    run("job", "work", "grey", "new pair", "--part", "40T", "--by", "me")
    sound("a1.wav")
    assert "[A1]" in run("bring-in", "a1.wav", "--job", "grey")
    shown = run("job", "show", "grey")
    for words in ("A shop", "knocks", "new pair (parts: 40T), me", "A1: A1.wav, good"):
        assert words in shown
    assert "as recorded" in run("job", "check", "grey", "--read")
    assert "grey" in run("job", "list")
    (tmp_path / "grey/sweeps/before/A1.wav").write_bytes(b"x")
    assert "A1.wav: changed" in run("job", "check", "grey", code=3)


def test_what_bring_in_says_of_a_lossy_file_stays_with_its_new_form(run, tmp_path):
    from vibecheck.files.takes import read_takes

    sound("memo.ogg")
    said = run("bring-in", "memo.ogg", "--out", "sweep", "--position", "A3 B2", "--rpm", "495.5")
    assert "Vorbis (lossy)" in said
    [take] = read_takes(tmp_path / "sweep")
    assert (take.position, take.tach_rpm) == ("A3 B2", 495.5)
    assert not take.recording.support.levels
    assert any("lossy" in why for why in take.recording.support.reasons)
    assert soundfile.info(tmp_path / "sweep/A3_B2.flac").subtype == "PCM_24"


def test_a_log_keeps_its_true_rate_and_unit(run, tmp_path):
    from vibecheck.files.takes import read_takes

    times = np.arange(900) / 99.37
    np.savetxt("log.csv", np.column_stack([times, np.sin(times)]), delimiter=",", fmt="%.6f")
    run("bring-in", "log.csv", "--out", "sweep", "--unit", "g")
    [take] = read_takes(tmp_path / "sweep")
    assert take.recording.rate_hz == pytest.approx(99.37, rel=1e-5)
    assert take.recording.unit == "g"
    assert take.recording.support.aliased


def test_faults_are_one_line_and_an_exit_code(run, tmp_path):
    sound("a1.wav")
    assert "Give either --job or --out" in run("bring-in", "a1.wav", code=2)
    assert "no job.toml" in run("job", "show", "nowhere", code=3)
    (tmp_path / "bad.wav").write_text("no sound")
    assert "no sound file" in run("bring-in", "bad.wav", "--out", "x", code=3)
    run("job", "new", "j")
    assert "cannot read '5'" in run("job", "reading", "j", "runout", "5", "--place", "x", code=2)
    assert "Use spindle lift" in run("job", "reading", "j", "wobble", "1mm", "--place", "x", code=2)


def test_a_brought_in_take_is_scaled_by_its_sensor(run, tmp_path):
    from vibecheck.files.job import load_job
    from vibecheck.files.sweep import job_takes

    sound("a1.wav")
    run("job", "new", "grey")
    run("bring-in", "a1.wav", "--job", "grey", "--sensor", "accelerometer", "--mount", "magnet",
        "--per-full-scale", "98", "--unit", "m/s^2", "--processing", "off")  # fmt: skip
    [take] = job_takes(load_job(tmp_path / "grey"), "before")
    assert np.std(take.recording.samples) == pytest.approx(9.8, rel=0.02)
    assert take.recording.unit == "m/s^2"
    assert take.recording.support.high_hz == 5000
    assert "Only a job keeps one" in run(
        "bring-in", "a1.wav", "--out", "x", "--mount", "stud", code=2
    )
    assert "cannot: no mm/s" not in run("job", "show", "grey")


def test_what_a_sensor_cannot_support_is_shown_with_its_sweep(run):
    sound("a1.wav")
    run("job", "new", "grey")
    run("bring-in", "a1.wav", "--job", "grey", "--sensor", "phone microphone")
    shown = run("job", "show", "grey")
    assert "cannot: no mm/s: the sensor is not calibrated" in shown
    assert "cannot: levels may not be compared" in shown
    assert "at 89.1 Hz: the sensor is deaf below 90 Hz" in shown


def test_a_calibrator_and_a_turn_over_give_options_to_paste(run, tmp_path):
    times = np.arange(5 * 8000) / 8000
    soundfile.write("tone.wav", 0.2 * np.sin(2 * np.pi * 159.2 * times), 8000, subtype="FLOAT")
    said = run("calibrate", "tone.wav", "--level", "10", "--hz", "159.2")
    assert "--per-full-scale 70.71" in said
    for name, way in (("up", 1), ("down", -1)):
        rows = np.column_stack([times, 1.65 + way * 0.33 + 0.001 * np.sin(times)])
        np.savetxt(f"{name}.csv", rows, delimiter=",", fmt="%.6f")
    said = run("calibrate", "up.csv", "--turned", "down.csv", "--unit", "g")
    assert "without acceleration: 1.65" in said
    assert "3.03" in said
    assert "Give --level and --hz" in run("calibrate", "tone.wav", code=2)


def test_without_portaudio_recording_says_what_to_install_and_the_rest_works(run, monkeypatch):
    from vibecheck.capture import devices

    def missing(name):
        raise OSError("PortAudio library not found")

    monkeypatch.setattr(devices.importlib, "import_module", missing, raising=True)
    assert "PortAudio is missing" in CliRunner().invoke(devices_command(), []).output


def devices_command():
    """The record command asking for the inputs, errors shown as the program shows them."""
    import click

    from vibecheck.capture.devices import input_devices
    from vibecheck.errors import DeviceError

    @click.command()
    def ask():
        try:
            input_devices()
        except DeviceError as error:
            click.echo(error.text)

    return ask
