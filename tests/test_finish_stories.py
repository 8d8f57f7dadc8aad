"""Whole uses of the two finish commands, through the command line."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main


def run(*arguments, code=0):
    result = CliRunner().invoke(main, [str(a) for a in arguments])
    assert result.exit_code == code, result.output
    narrow = max(map(len, result.output.splitlines()), default=0) <= 80
    assert narrow or code or "--json" in arguments
    return result.output


def as_json(*arguments):
    return json.loads(run(*arguments, "--json"))


EIGHT = ("marks", "--table", "lathe-8-speed", "--diameter", "40mm", "--feed", "0.10")
TWELVE = ("marks", "--table", "lathe-12-speed")
FIRST = ("--position", "A1 B2 CH", "--rpm", "637.2", "--count", "11", "--spacing", "0.33")


@pytest.mark.parametrize(
    "cut",
    [
        (*FIRST, "--hand", "left"),
        ("--position", "A2 B1 CH", "--rpm", "934.8", "--count", "8", "--spacing", "0.34",
         "--hand", "right"),
        ("--position", "A1 B1 CH", "--rpm", "1308.8", "--count", "5.5"),
    ],
)  # fmt: skip
def test_each_of_three_mark_sets_gives_120_hz_and_the_mains_by_name(cut):
    found = as_json(*EIGHT, *cut)
    assert found["frequencies"][0]["hz"] == pytest.approx(120, abs=1)
    assert "twice mains" in {f["name"].split(" (")[0] for f in found["cuts"][0]["fits"]}


def test_the_same_hand_means_another_tone_when_the_feed_goes_the_other_way():
    there = as_json(*EIGHT, *FIRST, "--hand", "left")["frequencies"][0]["hz"]
    back = as_json(*EIGHT, *FIRST, "--hand", "right", "--toward", "tailstock")
    wrong = as_json(*EIGHT, *FIRST, "--hand", "left", "--toward", "tailstock")
    assert back["frequencies"][0]["hz"] == pytest.approx(there)
    assert wrong["frequencies"][0]["hz"] == pytest.approx(113.6, abs=0.1)


def test_without_a_hand_both_tones_are_given_and_said():
    text = run(*EIGHT, *FIRST)
    assert "113.60" in text
    assert "120.04" in text
    assert "which way the marks lean was not given" in text


def test_three_cuts_together_leave_only_the_mains():
    text = run(
        *EIGHT, *FIRST, "--hand", "left",
        "--also", "position='A2 B1 CH' rpm=934.8 count=8 spacing=0.34 hand=right",
        "--also", "position='A1 B1 CH' rpm=1308.8 count=5 pattern=herringbone",
    )  # fmt: skip
    assert "One frequency explains all: 120.0" in text
    assert "Only one tone fits every cut" in text
    assert "twice mains" in text


def test_one_set_of_bands_names_nothing_and_asks_for_a_second_feed():
    text = " ".join(
        run(*TWELVE, "--bands", "7.85", "--feed", "0.1", "--rpm", "180.9",
            "--position", "A1 B1 CL").split()
    )  # fmt: skip
    assert "Nothing is named from one feed" in text
    assert "second cut at the same speed with the feed" in text
    for part in ("rack and pinion:", "teeth meeting", "hunting", "V-belts"):
        assert part not in text


def test_bands_that_stay_at_a_second_feed_are_one_rack_tooth():
    found = as_json(
        *TWELVE, "--bands", "7.85", "--feed", "0.1", "--rpm", "180.9",
        "--also", "feed=0.2 spacing=7.85", "--also", "rpm=495.2 spacing=7.85",
    )  # fmt: skip
    assert [t["kind"] for t in found["together"]] == ["fixed millimetres"]
    assert [r["name"] for r in found["carriage"]] == ["one tooth of rack and pinion"]


def test_bands_of_one_feed_rod_turn_are_not_told_from_the_apron_tooth_beside_it():
    text = run(*TWELVE, "--bands", "1.90", "--feed", "0.1", "--rpm", "180.9",
               "--also", "feed=0.2 spacing=1.9")  # fmt: skip
    assert "feed rod" in text
    assert "cannot be told apart" in text


def test_bands_that_grow_with_the_feed_are_not_blamed_on_the_carriage():
    found = as_json(*TWELVE, "--bands", "0.5", "--feed", "0.1", "--rpm", "180.9",
                    "--also", "feed=0.2 spacing=1.0")  # fmt: skip
    assert all(t["kind"] != "fixed millimetres" for t in found["together"])
    assert "carriage" not in found


def test_the_look_alike_at_61_rpm_is_refused_with_its_reason():
    text = run(*TWELVE, "--position", "A1 B2 CL", "--rpm", "61.2", "--feed", "0.1",
               "--count", "98", "--spacing", "5.2")  # fmt: skip
    assert "the fraction means nothing" in " ".join(text.split())
    assert "twice mains" not in text


def test_a_speed_from_the_chart_alone_is_too_rough_and_says_so():
    text = run(*EIGHT, "--position", "A1 B2 CH", "--count", "11", "--spacing", "0.33")
    assert "Measure the speed" in text


def test_inches_and_millimetres_give_the_same_answer():
    metric = as_json("marks", "--rpm", "637.2", "--feed", "0.1mm", "--count", "11",
                     "--spacing", "0.3302mm", "--hand", "left")  # fmt: skip
    imperial = as_json("marks", "--inch", "--rpm", "637.2", "--feed", "0.1mm", "--count", "11",
                       "--spacing", "0.013", "--hand", "left")  # fmt: skip
    assert metric["frequencies"] == imperial["frequencies"]


def test_frequency_to_marks_draws_a_picture_and_a_gauge(tmp_path):
    picture, gauge = tmp_path / "marks.svg", tmp_path / "gauge.pdf"
    found = as_json("marks", "--hz", "lumpy belt=13.09", "--rpm", "180.9", "--feed", "0.1",
                    "--diameter", "40", "--picture", picture, "--gauge", gauge)  # fmt: skip
    assert found["tones"][0]["count"] == 4
    assert found["tones"][0]["waves"] == pytest.approx(4.34, abs=0.005)
    assert picture.read_text().startswith("<?xml")
    assert gauge.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("marks", "--rpm", "500", "--feed", "0.1"), "nothing was said about the marks"),
        (("marks", "--count", "5", "--spacing", "1", "--feed", "0.1"), "spindle speed"),
        (("marks", "--count", "5", "--spacing", "1", "--rpm", "100"), "feed"),
        (("marks", "--rpm", "500", "--feed", "0.1", "--hz", "x=y"), "--hz"),
        (("marks", "--rpm", "500", "--feed", "0.1", "--bands", "3", "--also", "fed=1"), "fed=1"),
        (("marks", "--rpm", "500", "--feed", "0.1", "--hz", "20", "--picture", "a.svg"),
         "diameter"),
        (("finish",), "nothing to judge"),
        (("finish", "--feed", "0.2", "--nose", "0.8", "--ra", "banana"), "banana"),
        (("finish", "--feed", "0.2"), "nose radius"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_said_plainly(arguments, message):
    assert message in run(*arguments, code=2)


def test_a_position_not_on_the_chart_is_answered_with_the_chart():
    text = CliRunner().invoke(main, [*TWELVE, "--position", "A9", "--feed", "0.1", "--count", "3",
                                     "--spacing", "1"])  # fmt: skip
    assert text.exit_code == 3
    assert "A3 B2 CL" in text.output


def test_feed_marks_that_explain_the_finish_are_said_first():
    text = run("finish", "--feed", "0.2", "--nose", "0.8", "--ra", "1.8um")
    assert "The feed marks alone explain this finish" in text


def test_an_inch_finish_is_judged_in_inches():
    text = run(
        "finish", "--inch", "--feed", "0.014", "--nose", "1/32", "--ra", "400", "--sfm", "100"
    )
    assert "203 uin" in text
    assert "201 uin" in text
    assert "Rougher than the feed marks alone" in text


RATE = 8000


def howl(hz, rng):
    """A tone that wanders by a few hertz, as chatter does."""
    wander = np.interp(np.arange(6 * RATE), np.linspace(0, 6 * RATE, 40), rng.normal(0, 2, 40))
    return np.sin(2 * np.pi * np.cumsum(hz + wander) / RATE)


@pytest.fixture(scope="module")
def boring_bar(tmp_path_factory):
    """Cutting at two speeds, air at one, and a tap; the structure sings at 305 Hz and above."""
    folder, rng = tmp_path_factory.mktemp("bar"), np.random.default_rng(5)
    time = np.arange(6 * RATE) / RATE
    mesh = {"1153.1": 730.3, "925.0": 585.8}
    rattle = {rpm: 0.1 * np.sin(2 * np.pi * hz * time) for rpm, hz in mesh.items()}
    ring = np.exp(-0.03 * 2 * np.pi * 305 * time[:RATE]) * np.sin(2 * np.pi * 305 * time[:RATE])
    taps = np.concatenate([np.zeros(RATE // 2), *[ring] * 4, np.zeros(RATE // 2)])
    made = {
        "cut1": howl(312, rng) + rattle["1153.1"],
        "cut2": howl(317, rng) + rattle["925.0"],
        "air1": rattle["1153.1"],
        "tap": taps,
    }
    for name, samples in made.items():
        noisy = samples + rng.normal(0, 0.003 if name == "tap" else 0.1, samples.size)
        soundfile.write(folder / f"{name}.wav", 0.3 * noisy, RATE)
    return folder


def test_a_howling_bar_recorded_only_while_cutting_is_not_blamed_on_a_gear(boring_bar):
    found = as_json("finish", "--table", "lathe-16-speed",
                    "--cutting", f"{boring_bar}/cut1.wav@1153.1",
                    "--cutting", f"{boring_bar}/cut2.wav@925.0")["vibration"]  # fmt: skip
    assert found["kind"] != "forced"
    assert found["confidence"] in ("possible", "")
    asked = " ".join(found["next_tests"])
    assert "in air" in asked
    assert "tap the tool holder" in asked


def test_idle_and_tap_show_the_howl_to_be_chatter(boring_bar):
    found = as_json("finish", "--table", "lathe-16-speed",
                    "--cutting", f"{boring_bar}/cut1.wav@1153.1",
                    "--cutting", f"{boring_bar}/cut2.wav@925.0",
                    "--idle", f"{boring_bar}/air1.wav@1153.1",
                    "--tap", f"{boring_bar}/tap.wav")["vibration"]  # fmt: skip
    assert (found["kind"], found["confidence"]) == ("self-excited", "shown")
    assert found["signs"]["mode"]["hz"] == pytest.approx(305, rel=0.01)
    assert found["signs"]["mode"]["damping"] == pytest.approx(0.03, rel=0.1)
