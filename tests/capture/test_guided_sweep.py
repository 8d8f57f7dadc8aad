import os
import re
import signal
import subprocess
import sys
import tomllib

import numpy as np
import pytest
import soundfile

from vibecheck.capture.sweep import Guide, plan_steps, seconds_for
from vibecheck.files.job import load_job, new_job
from vibecheck.files.job_check import check_job
from vibecheck.files.sweep import job_takes, load_sweep

CHART = [("A1", 720.0), ("A2", 1440.0), ("A3", 30.0)]
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


def test_takes_last_twenty_seconds_and_twenty_turns():
    assert [seconds_for(rpm) for rpm in (1440.0, 60.0, 30.0, 1.0, None)] == [20, 20, 40, 120, 20]


def guide():
    return Guide(steps=plan_steps(CHART, [("coast-down", "A2"), ("background", None)]))


def test_background_comes_first_and_other_specials_last():
    assert [step.title for step in guide().steps] == [
        "background", "A1", "A2", "A3", "A2 coast-down"
    ]  # fmt: skip


def test_keeping_and_skipping_go_on_and_redoing_stays():
    at = guide().kept().redone().skipped()
    assert at.step.title == "A2"
    assert at.statuses == ("kept", "skipped", "open", "open", "open")
    assert at.left_s == 20 + 40 + 40


def test_going_back_opens_the_step_before_and_comes_forward_again():
    at = guide().kept().kept().back()
    assert (at.step.title, at.statuses[1]) == ("A1", "open")
    assert at.kept().step.title == "A2"
    assert guide().back().at == 0


def test_a_sweep_stopped_today_goes_on_another_day_with_what_is_missing():
    at = guide().kept().kept().stop()
    assert at.finished
    again = guide().resumed([("A2", "idle"), (None, "background")])
    assert [step.title for step in again.open_steps] == ["A1", "A3", "A2 coast-down"]
    assert again.step.title == "A1"
    assert again.kept().kept().kept().finished


def test_repeats_go_round_the_whole_sweep_and_resume_counts_them():
    steps = plan_steps(CHART, repeats=2)
    assert [step.title for step in steps] == ["A1", "A2", "A3", "A1", "A2", "A3"]
    again = Guide(steps=steps).resumed([("A1", "idle"), ("A1", "idle"), ("A3", "idle")])
    assert [step.title for step in again.open_steps] == ["A2", "A2", "A3"]


@pytest.fixture
def shop(sound_server, tmp_path):
    """A job, and a machine that hums without end."""
    (tmp_path / "m.toml").write_text(MACHINE)
    new_job(tmp_path / "job", machine=tmp_path / "m.toml")
    times = np.arange(60 * 48_000) / 48_000
    rng = np.random.default_rng(5)
    hum = 0.1 * np.sin(2 * np.pi * 480 * times) + rng.normal(0, 0.02, times.size)
    player = sound_server.play(hum)
    yield tmp_path
    player.kill()
    player.wait()


@pytest.fixture
def terminal(shop):
    pexpect = pytest.importorskip("pexpect", reason="pexpect is not installed")
    started = []

    def start(*arguments):
        child = pexpect.spawn(
            sys.executable, ["-m", "vibecheck", "record", *arguments], cwd=shop,
            env={**os.environ, "TERM": "dumb"}, dimensions=(24, 80), encoding="utf-8", timeout=20,
            preexec_fn=heeding_ctrl_c,
        )  # fmt: skip
        child.logfile_read = open(shop / "screen.txt", "a")  # noqa: SIM115
        started.append(child)
        return child

    yield start
    for child in started:
        child.close(force=True)
        child.logfile_read.close()


def heeding_ctrl_c():
    """A shell that runs tests in the background has its children ignore Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def ended(child):
    """Read what is left, so that the child can end; a child that hangs fails the test."""
    import pexpect

    child.expect(pexpect.EOF)
    child.wait()


def test_a_whole_sweep_at_a_bare_terminal(terminal, shop):
    child = terminal("job", "--seconds", "1.5", "--countdown", "0", "--device", "pulse",
                     "--rate", "48000", "--sensor", "microphone", "--mount", "stand")  # fmt: skip
    child.expect("guards\\s+stay\\s+on")
    child.expect("I have read this")
    child.send("\r")
    child.expect("3 takes, 4 s of recording")
    child.expect("TAKE 1: background")
    child.send("\r")
    child.expect("peak +-[0-9]+ dB good")
    child.expect(r"\[k\]eep")
    child.send("k")
    child.expect("Kept: background.wav")
    child.expect("TAKE 2: A1")
    child.send("\r")
    child.expect("only 0 dB above the stopped shop")
    child.send("r")
    child.expect("Set aside: A1.wav")
    child.expect("TAKE 2: A1")
    child.send("\r")
    child.expect(r"\[k\]eep")
    child.send("k")
    child.expect("Kept: A1_2.wav")
    child.expect("TAKE 3: A2")
    child.send("b")
    child.expect("TAKE 2: A1")
    child.send("s")
    child.expect("TAKE 3: A2")
    child.send("\r")
    child.expect(r"\[k\]eep")
    child.send("q")
    child.expect("2 of 3 takes kept")
    child.expect("Still missing: A1")
    ended(child)
    assert child.exitstatus == 0
    _check_sweep(shop)


def _check_sweep(shop):
    job = load_job(shop / "job")
    assert check_job(job) == []
    sweep = load_sweep(job, "before")
    assert sweep.sensor.mount == "stand"
    assert [(take.position, take.kind) for take in sweep.takes] == [
        (None, "background"), ("A1", "idle"), ("A2", "idle")
    ]  # fmt: skip
    takes = job_takes(job, "before")
    assert all(take.recording.seconds == pytest.approx(1.5) for take in takes)
    lines = np.abs(np.fft.rfft(takes[1].recording.channel(0)))
    assert np.argmax(lines) / 1.5 == pytest.approx(480, abs=1)
    assert (shop / "job/sweeps/before/set aside/A1.wav").is_file()
    remembered = tomllib.loads((shop / "config/vibecheck/recording.toml").read_text())
    assert remembered["device"] == "pulse"
    screen = re.sub(r"\r[^\n]", "\n", (shop / "screen.txt").read_text())
    assert max(map(len, screen.splitlines())) <= 80
    assert "\x1b" not in screen


def test_a_killed_session_offers_its_partial_take_and_goes_on(terminal, shop):
    child = terminal("job", "--seconds", "8", "--countdown", "0", "--position", "A1")
    child.expect("I have read this")
    child.send("\r")
    child.expect("TAKE 1: background")
    child.send("s")
    child.expect("TAKE 2: A1")
    child.send("\r")
    child.expect("   [23] of 8 s")
    child.kill(9)
    child.wait()
    child = terminal("job", "--seconds", "1", "--countdown", "0", "--position", "A1")
    child.expect("I have read this")
    child.send("\r")
    child.expect(r"A1.part: a take of A1 was cut off after ([0-9.]+) s")
    assert float(child.match[1]) > 1.5
    child.send("u")
    child.expect("Kept: A1.wav")
    child.expect("A1 .*kept")
    child.expect("TAKE 1: background")
    child.send("q")
    ended(child)
    [take] = load_sweep(load_job(shop / "job"), "before").takes
    assert take.judgement[0].startswith("cut off after")


def test_a_device_pulled_in_mid_sweep_costs_one_take(terminal, shop, sound_server):
    child = terminal("job", "--seconds", "6", "--countdown", "0", "--position", "A1")
    child.expect("I have read this")
    child.send("\r")
    child.expect("TAKE 1")
    child.send("\r")
    child.expect("   1 of 6 s")
    sound_server.kill()
    child.expect("the device (went away|stopped delivering): [0-9.]+ of 6 s")
    child.send("r")
    child.expect("Set aside: background.wav")
    child.expect(r"\[Enter\] try again")
    child.send("q")
    child.expect("vibecheck: ")
    ended(child)
    assert child.exitstatus == 4


def test_inputs_are_listed_and_one_take_needs_no_job(shop):
    def run(*arguments):
        done = subprocess.run(
            [sys.executable, "-m", "vibecheck", "record", *arguments],
            cwd=shop, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False,
        )  # fmt: skip
        return done.returncode, done.stdout + done.stderr

    assert re.search(r"^pulse +\d+ ch", run("--devices")[1], re.M)
    code, said = run("--to", "one.wav", "--seconds", "1", "--countdown", "0")
    assert (code, "Saved one.wav" in said) == (0, True)
    assert run("--to", "one.wav", "--seconds", "1")[0] == 3
    assert run("job", "--device", "no such thing")[0] == 4


def test_ctrl_c_in_mid_take_keeps_what_came_and_gives_the_terminal_back(terminal, shop):
    child = terminal("job", "--seconds", "9", "--countdown", "0", "--position", "A1")
    child.expect("I have read this")
    child.send("\r")
    child.expect("TAKE 1")
    child.send("\r")
    child.expect("   [12] of 9 s")
    child.sendintr()
    ended(child)
    assert child.exitstatus == 1
    [part] = (shop / "job/sweeps/before").glob("*.part")
    assert soundfile.info(part).duration > 0.4
