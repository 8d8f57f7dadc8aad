import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.capture.check import judge
from vibecheck.cli import main
from vibecheck.cli.heard_speed import speed_check
from vibecheck.files.gear_table import find_table, read_machine
from vibecheck.files.job import new_job
from vibecheck.recording import Recording
from vibecheck.synth.sweep import record_sweep


@pytest.fixture(scope="module")
def heard():
    machine = read_machine("lathe-12-speed")
    position = machine.position("A3 B1 CL")
    takes, truth = record_sweep(
        machine, rng=np.random.default_rng(3), positions=[position], seconds=15.0
    )
    return speed_check(machine), takes[0].recording, 60 * truth.takes[0].rotor_hz["spindle"]


def test_a_take_just_recorded_tells_its_spindle_speed(heard):
    check, recording, true_rpm = heard
    found = judge(recording, position="A3 B1 CL", chart_rpm=88.0, speed=check)
    assert found.heard.rpm == pytest.approx(true_rpm, rel=2e-4)
    assert found.weight == "good"


def test_a_lever_set_wrong_is_named_at_once(heard):
    check, recording, _ = heard
    for wrong in ("A1 B1 CL", "A2 B1 CL", "A3 B2 CL", "A1 B2 CH"):
        found = judge(recording, position=wrong, speed=check)
        assert f"fits A3 B1 CL, not {wrong}: check the levers" in found.faults[0]


def test_noise_tells_no_speed_and_accuses_no_lever(heard):
    check, recording, _ = heard
    noise = np.random.default_rng(8).normal(0, 0.1, recording.frames)
    found = judge(Recording(samples=noise, rate_hz=recording.rate_hz), position="A1 B1 CL",
                  speed=check)  # fmt: skip
    assert found.heard is None
    assert found.weight == "good"


def test_a_file_without_a_name_is_told_which_position_it_sounds_like(heard, tmp_path):
    _, recording, true_rpm = heard
    peak = np.abs(recording.samples).max()
    soundfile.write(tmp_path / "memo.wav", recording.channel(0) / peak / 2, 16_000)
    new_job(tmp_path / "job", machine=find_table("lathe-12-speed"))
    said = CliRunner().invoke(
        main, ["bring-in", str(tmp_path / "memo.wav"), "--job", str(tmp_path / "job")]
    )
    assert said.exit_code == 0
    words = " ".join(said.output.split())
    assert f"it sounds like A3 B1 CL, {true_rpm:.0f} rpm; if so, bring it in with" in words
