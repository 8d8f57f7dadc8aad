"""Bad input at the command line: a plain message with what to do, the right exit code, and never a
traceback. What each reader refuses in detail is held in ``tests/files``."""

from __future__ import annotations

import json
import subprocess
import sys
import wave
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vibecheck.cli import COMMANDS, main

RATE_HZ = 12_000
SPEED_RPM = 1440.0
TABLE = """
name = "two by two"
[supply]
mains_hz = 50
[motor]
poles = 4
plate_rpm = 1440
shaft = "I"
[levers.A]
1 = "38/38"
2 = "32/44"
[levers.B]
1 = "43/41"
2 = "22/62"
"""
MEGABYTE = 1 << 20


class Said(NamedTuple):
    code: int
    out: str
    err: str


def run(*arguments: object) -> Said:
    """One call of the program; whatever happens, it must end by itself and in words."""
    result = CliRunner().invoke(main, [str(each) for each in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return Said(result.exit_code, result.stdout, result.stderr)


def plain(text: str) -> str:
    """The message on one line, however it was folded."""
    return " ".join(text.split())


def sound(path: Path, samples: np.ndarray | None = None, rate_hz: int = RATE_HZ) -> Path:
    """A machine in noise, or the samples given."""
    if samples is None:
        times = np.arange(6 * rate_hz) / rate_hz
        turns = SPEED_RPM / 60
        samples = sum(0.05 * np.sin(2 * np.pi * k * turns * times + k * k) for k in range(1, 11))
        samples = samples + np.random.default_rng(3).normal(0, 0.03, times.size)
    soundfile.write(path, samples, rate_hz, subtype="FLOAT" if path.suffix == ".wav" else None)
    return path


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(said: Said, *words: str, code: int = 3) -> None:
    """Whether a call was refused as it should be, with something to do about it."""
    assert said.code == code, said
    assert said.out == ""
    assert said.err.startswith(("vibecheck: ", "Usage: ", "Note: "))
    assert all(len(line) <= 80 or " " not in line.strip() for line in said.err.splitlines())
    for word in words:
        assert word in plain(said.err)


class TestRecordings:
    def test_not_audio(self, here: Path) -> None:
        (here / "a.wav").write_text("this is a shopping list " * 50)
        refused(run("diagnose", "a.wav"), "no sound file", "Give a WAV, FLAC")

    def test_nothing_in_the_file(self, here: Path) -> None:
        (here / "a.wav").write_bytes(b"")
        refused(run("diagnose", "a.wav"), "the file is empty", "Record or copy it again")

    def test_no_samples_after_the_header(self, here: Path) -> None:
        sound(here / "a.wav", np.zeros(0))
        refused(run("diagnose", "a.wav"), "a.wav")

    def test_cut_off(self, here: Path) -> None:
        whole = sound(here / "a.wav").read_bytes()
        (here / "a.wav").write_bytes(whole[: len(whole) // 2])
        refused(run("diagnose", "a.wav"), "before its header says", "Copy it again")

    @pytest.mark.parametrize("cut", [5, 20, 44, 60, 2000])
    def test_cut_off_anywhere(self, here: Path, cut: int) -> None:
        for kind in ("wav", "flac", "ogg"):
            path = sound(here / f"a.{kind}")
            path.write_bytes(path.read_bytes()[:cut])
            refused(run("diagnose", path), path.name)

    @pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e30])
    def test_numbers_that_are_none(self, here: Path, bad: float) -> None:
        samples = np.random.default_rng(1).normal(0, 0.1, 60_000).astype(np.float32)
        samples[20_000:] = bad
        refused(run("diagnose", sound(here / "a.wav", samples)), "a.wav")

    def test_all_zeros(self, here: Path) -> None:
        refused(
            run("diagnose", sound(here / "a.wav", np.zeros(60_000))),
            "a.wav",
            "nothing but silence",
            "record again",
        )

    def test_too_short(self, here: Path) -> None:
        said = run("diagnose", sound(here / "a.wav", np.ones(20)))
        refused(said, "a.wav")

    def test_a_short_take_is_listened_to_and_says_how_long_would_do(self, here: Path) -> None:
        samples = np.random.default_rng(1).normal(0, 0.1, RATE_HZ // 2)
        said = run("diagnose", sound(here / "a.wav", samples), "--rpm", "1440")
        assert said.code == 0
        assert "would do" in plain(said.out)

    def test_a_clipped_take_is_used_and_said_to_be_clipped(self, here: Path) -> None:
        times = np.arange(6 * RATE_HZ) / RATE_HZ
        loud = np.clip(3 * np.sin(2 * np.pi * 24 * times), -1, 1)
        noisy = loud * (1 - 1e-9) + 0 * times
        said = run("diagnose", sound(here / "a.flac", noisy), "--rpm", "1440")
        assert said.code == 0
        assert "clipped" in said.out

    def test_no_such_file(self, here: Path) -> None:
        refused(run("diagnose", "nowhere.wav"), "no such file", "Check the name")

    def test_a_wrong_speed_is_contradicted_by_the_recording(self, here: Path) -> None:
        said = run("diagnose", sound(here / "a.wav"), "--rpm", SPEED_RPM * 1.06, "--json")
        assert said.code == 0
        told = json.loads(said.out)
        assert told["takes"][0]["spindle_rpm"] == pytest.approx(SPEED_RPM, rel=2e-3)
        assert "1440 rpm" in str(told["takes"][0]["remarks"])

    def test_a_speed_far_from_the_truth_is_not_believed(self, here: Path) -> None:
        said = run("diagnose", sound(here / "a.wav"), "--rpm", "5000", "--bearing", "9,8,39")
        assert said.code == 0
        assert "likely" not in said.out.split("\n\n")[0]

    @pytest.mark.parametrize("channels", [1, 2, 6])
    def test_one_channel_or_many(self, here: Path, channels: int) -> None:
        mono = soundfile.read(sound(here / "mono.wav"))[0]
        sound(here / "a.wav", np.tile(mono[:, None], (1, channels)))
        for extra in ((), ("--channel", channels)):
            said = run("diagnose", "a.wav", "--rpm", SPEED_RPM, *extra)
            assert said.code == 0
            assert "1440" in said.out
        refused(run("diagnose", "a.wav", "--channel", channels + 1), "Ask for a channel", code=2)

    @pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 96_000, 192_000])
    def test_from_slow_to_fast_sampling(self, here: Path, rate_hz: int) -> None:
        said = run("diagnose", sound(here / "a.wav", rate_hz=rate_hz), "--rpm", "1450", "--json")
        assert said.code == 0
        speed = json.loads(said.out)["takes"][0]["spindle_rpm"]
        assert speed == pytest.approx(SPEED_RPM, rel=2e-3)

    def test_a_recording_too_slow_for_gears_still_ends_in_words(self, here: Path) -> None:
        samples = np.random.default_rng(1).normal(0, 0.1, 2000)
        assert run("diagnose", sound(here / "a.wav", samples, 100), "--rpm", "1440").code in (0, 3)


ODD = {
    "a step": np.repeat([0.0, 1.0], 20_000),
    "one click": np.eye(1, 40_000, 20_000)[0],
    "one tone": 0.5 * np.sin(0.3 * np.arange(40_000)),
    "square": 0.9 * np.sign(np.sin(0.03 * np.arange(40_000))),
    "next to nothing": 1e-30 * np.random.default_rng(1).normal(size=40_000),
    "a ramp": np.linspace(-1, 1, 40_000),
    "silence in the second half": np.r_[np.random.default_rng(2).normal(size=20_000),
                                        np.zeros(20_000)],
    "a few samples": np.random.default_rng(3).normal(size=300),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("rate_hz", [200, 8000, 192_000])
def test_odd_sounds_end_in_words_and_accuse_nobody(here: Path, name: str, rate_hz: int) -> None:
    path = sound(here / "a.wav", ODD[name].astype(np.float32), rate_hz)
    for told in ((), ("--rpm", "1440"), ("--rpm", "1440", "--bearing", "9,7.94,39.04")):
        said = run("diagnose", path, *told, "--json")
        assert said.code in (0, 3)
        if said.code == 0:
            found = json.loads(said.out)["findings"]
            assert [f for f in found if f["verdict"] in ("shown", "likely")] == []


class TestFolders:
    def test_empty(self, here: Path) -> None:
        (here / "takes").mkdir()
        refused(run("diagnose", "takes", "--table", "lathe-8-speed"), "no takes here", "A2_B2_CL")

    def test_two_takes_for_one_position(self, here: Path) -> None:
        (here / "takes").mkdir()
        for name in ("A1_B1_CL", "a1 b1 cl loud"):
            sound(here / "takes" / f"{name}.wav")
        said = run("diagnose", "takes", "--table", "lathe-8-speed")
        refused(said, "2 takes for A1 B1 CL", "Number repeats")

    def test_none_for_any_position(self, here: Path) -> None:
        (here / "takes").mkdir()
        for name in ("monday", "tuesday"):
            sound(here / "takes" / f"{name}.wav")
        said = run("diagnose", "takes", "--table", "lathe-8-speed")
        assert said.code == 0
        assert "names no lever position" in plain(said.err)

    def test_one_bad_take_among_good_ones_is_named_and_left_out(self, here: Path) -> None:
        (here / "takes").mkdir()
        sound(here / "takes" / "A1_B1_CL.wav")
        (here / "takes" / "A1_B2_CL.wav").write_text("oops")
        said = run("diagnose", "takes", "--table", "lathe-8-speed")
        assert said.code == 0, said
        assert "A1_B2_CL.wav was left out" in said.err


class TestTables:
    @pytest.fixture
    def told(self, here: Path):
        """What `speeds` says of the table with one thing changed."""

        def tell(old: str, new: str) -> Said:
            assert old in TABLE
            (here / "m.toml").write_text(TABLE.replace(old, new))
            return run("speeds", "m.toml")

        return tell

    def test_the_good_one_is_good(self, told) -> None:
        assert told("two by two", "good").code == 0

    def test_a_gear_is_missing(self, told) -> None:
        refused(told('"22/62"', '"22/"'), "levers.B.2", "leaves a place empty")

    def test_a_gear_nobody_described(self, told) -> None:
        refused(told('"22/62"', '"pinion/62"'), 'no gear is called "pinion"')

    def test_teeth_that_are_no_whole_number(self, told) -> None:
        refused(told('"22/62"', '"22.5/62"'), "22.5 teeth is not a whole number")

    def test_the_train_does_not_reach_the_spindle(self, told) -> None:
        said = told('shaft = "I"\n', "")
        refused(said, "nothing that turns reaches the spindle", "Say what the motor drives")

    def test_a_planet_set_that_cannot_be_assembled(self, told) -> None:
        added = '\n[planetary.p]\nbetween = ["II", "spindle"]\nsun = 40\nring = 30\n'
        refused(told('2 = "22/62"\n', f'2 = "22/62"\n{added}'), "planetary.p.ring")

    def test_teeth_that_planets_do_not_divide_are_remarked_on(self, told) -> None:
        planets = "sun = 21\nplanet = 43\nring = 108\nplanets = 4\n"
        added = f'\n[planetary.p]\nbetween = ["motor", "I"]\n{planets}'
        told('shaft = "I"\n', "")
        Path("m.toml").write_text(Path("m.toml").read_text() + added)
        said = run("speeds", "m.toml")
        assert said.code == 0, said.err
        assert "sun and ring add to 129, which 4 evenly spaced planets do not divide" in plain(
            said.out
        )

    def test_unknown_keys_are_told_with_the_nearest_known_one(self, told) -> None:
        said = told("plate_rpm", "plate_rmp")
        refused(said, "motor.plate_rmp", 'Did you mean "plate_rpm"')

    def test_everything_wrong_is_said_at_once(self, here: Path) -> None:
        bad = TABLE.replace("plate_rpm", "plate_rmp").replace('"22/62"', '"22/"')
        (here / "m.toml").write_text(bad.replace("mains_hz = 50", "mains_hz = 5000"))
        for command in (("speeds", "m.toml"), ("plan", "m.toml")):
            refused(run(*command), "3 things to put right", "plate_rmp", "levers.B.2", "mains_hz")

    def test_diagnose_refuses_the_table_before_it_listens(self, here: Path) -> None:
        (here / "m.toml").write_text(TABLE.replace('"22/62"', '"22/"'))
        refused(run("diagnose", sound(here / "a.wav"), "--table", "m.toml"), "levers.B.2")

    @pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"[", b"\x00" * 99, b"name = 1979-01-01"])
    def test_what_is_no_table_at_all(self, here: Path, content: bytes) -> None:
        (here / "m.toml").write_bytes(content)
        refused(run("speeds", "m.toml"), "m.toml")

    def test_a_table_that_is_not_there_names_those_that_are(self, here: Path) -> None:
        refused(run("speeds", "lathe-17-speed"), 'Did you mean "lathe-16-speed"')

    @settings(
        max_examples=25,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )
    @given(name=st.text(st.characters(blacklist_categories=("Cs",)), max_size=30))
    def test_any_characters_in_a_machines_name(self, here: Path, name: str) -> None:
        text = TABLE.replace('"two by two"', json.dumps(name, ensure_ascii=True))
        if "\\ud8" in text or "\\udc" in text.lower():
            text = TABLE.replace("two by two", "".join(c for c in name if c.isalnum()))
        (here / "m.toml").write_text(text.replace("\x7f", ""), encoding="utf-8")
        said = run("speeds", "m.toml")
        assert said.code in (0, 3)
        assert said.code == 0 or "to put right" in plain(said.err)


class TestCommands:
    @pytest.mark.parametrize("name", sorted(COMMANDS.keys() - {"demo", "phone", "record"}))
    @pytest.mark.parametrize("more", [(), ("nowhere",), ("nowhere", "nowhere"), ("/",)])
    def test_every_command_told_too_little_or_the_wrong_thing_says_so(
        self, here: Path, name: str, more: tuple[str, ...]
    ) -> None:
        said = run(name, *more)
        assert said.code in (2, 3) or (name, more) == ("speeds", ())
        assert said.out or said.err

    def test_a_command_that_is_none(self) -> None:
        said = run("diagnoze")
        assert said.code == 2
        assert "No such command" in said.err

    @pytest.mark.parametrize("numbers", ["9", "9,x,39", "9,50,39", ",,,"])
    def test_bearing_numbers_that_make_no_bearing(self, here: Path, numbers: str) -> None:
        refused(run("diagnose", sound(here / "a.wav"), "--bearing", numbers), code=2)

    def test_an_option_that_is_none_suggests_the_nearest(self) -> None:
        said = run("diagnose", "x.wav", "--tabel", "y")
        assert said.code == 2
        assert "--table" in said.err


LISTEN = """
import re, sys
from vibecheck.cli import COMMANDS, main
main(["diagnose", sys.argv[1], "--rpm", "1440", "--json"], standalone_mode=False)
status = open("/proc/self/status").read()
print(int(re.search(r"VmHWM:\\s+(\\d+)", status)[1]) * 1024, file=sys.stderr)
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to read memory from")
def test_an_hour_is_read_in_pieces_and_in_less_than_a_gigabyte(tmp_path: Path) -> None:
    rate_hz, minutes = 48_000, 60
    times = np.arange(60 * rate_hz) / rate_hz
    minute = 0.2 * np.sin(2 * np.pi * SPEED_RPM / 60 * np.outer(range(1, 9), times)).sum(axis=0)
    minute += np.random.default_rng(5).normal(0, 0.1, times.size)
    block = (8000 * minute / np.abs(minute).max()).astype("<i2").tobytes()
    path = tmp_path / "hour.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        for _ in range(minutes):
            file.writeframesraw(block)
    done = subprocess.run(
        [sys.executable, "-c", LISTEN, str(path)], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["takes"][0]["spindle_rpm"] == pytest.approx(SPEED_RPM, rel=1e-3)
    assert "60" in str(told["takes"][0]["remarks"])
    assert int(done.stderr.split()[-1]) < 1000 * MEGABYTE
