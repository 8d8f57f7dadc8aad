"""Whole uses: an owner's recordings in a folder, a gear table, one command, and what must be said.

The sounds are plain sums of tones, rings and noise written to disk (``story_sounds``); what is
planted is known, and each story asserts what a careful fitter would have concluded, and no more.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from story_sounds import RATE_HZ, Strikes, Voice, sound, write, write_sweep

from vibecheck.cli import main
from vibecheck.files.gear_table import read_machine
from vibecheck.files.shipped import shipped_folder

EIGHT, TWELVE, SIXTEEN = "lathe-8-speed", "lathe-12-speed", "lathe-16-speed"
B1 = ["A1 B1 CH", "A1 B1 CL", "A2 B1 CH", "A2 B1 CL", "A3 B1 CH", "A3 B1 CL"]
B2 = [label.replace("B1", "B2") for label in B1]


def as_json(*arguments: object, code: int = 0) -> dict[str, Any]:
    result = CliRunner().invoke(main, [*map(str, arguments), "--json"])
    assert result.exit_code == code, result.output
    told: dict[str, Any] = json.loads(result.stdout)
    return told


def diagnosed(folder: Path, table: object) -> dict[str, Any]:
    return as_json("diagnose", folder, "--table", table)


def named(told: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Findings a reader would act on."""
    return [f for f in told["findings"] if f["verdict"] in ("shown", "likely")]


def kinds(facts: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    return {fact["kind"]: fact["values"] for fact in facts}


def remarks(told: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [remark for take in told["takes"] for remark in take["remarks"]]


def table_with(tmp_path: Path, shipped: str, *changes: tuple[str, str]) -> Path:
    text = (shipped_folder("gear_tables") / f"{shipped}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "table.toml"
    path.write_text(text, encoding="utf-8")
    return path


# A tooth is missing on the 62-tooth gear of shaft III: one blow a turn of III, with B2 only.


@pytest.fixture(scope="module")
def broken_tooth(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("broken")
    voice = Voice(strikes=[Strikes(rotor="III", height=0.3, ring_hz=870.0, when={"B": "2"})])
    write_sweep(folder, read_machine(TWELVE), voice, seconds=8.0, flac=True)
    return diagnosed(folder, TWELVE)


def test_a_missing_tooth_is_named_with_its_positions_and_its_knocks_a_spindle_turn(
    broken_tooth: dict[str, Any],
) -> None:
    (found,) = named(broken_tooth)
    assert (found["parts"], found["fault"]) == (["62T (B2, III)"], "broken or damaged tooth")
    assert found["verdict"] == "shown"
    assert sorted(found["heard"]) == sorted(found["expected"]) == sorted(B2)
    for label, times in found["per_spindle_turn"].items():
        assert times == pytest.approx(74 / 18 if label.endswith("CL") else 31 / 61, rel=1e-3)
    assert "6 of the 6" in found["evidence"][0]


def test_the_mate_and_the_gears_of_the_same_shaft_are_excluded_by_name(
    broken_tooth: dict[str, Any],
) -> None:
    (found,) = named(broken_tooth)
    fallen = " ".join(found["ruled_out"])
    for teeth in ("22-tooth", "41-tooth", "61-tooth", "18-tooth"):
        assert teeth in fallen


# A belt with a lump: 6.5 and twice that, at every position, beside shaft I at 11.8 Hz.


def test_a_lumpy_belt_is_likely_and_its_second_multiple_is_not_taken_for_a_shaft(
    tmp_path: Path,
) -> None:
    voice = Voice(belt=(0.02, 0.05, 0.0))
    write_sweep(tmp_path, read_machine(TWELVE), voice, seconds=12.0)
    told = diagnosed(tmp_path, TWELVE)
    (found,) = named(told)
    assert (found["part"], found["verdict"]) == ("V-belts", "likely")
    assert found["next_test"]["kind"] == "belt_off"
    belt_hz = 6.545 * voice.scale
    assert list(found["rates_hz"].values()) == pytest.approx([belt_hz] * 12, rel=0.004)
    (resolution,) = [e for e in found["evidence"] if "can be told apart" in e]
    assert float(resolution.split(" Hz apart")[0].split()[-1]) < 0.5 * (2 * 6.545 - 12.40)


# A worn spindle bearing of unknown make: 10.947 strikes a turn, 11 would be 1.6 Hz away.


@pytest.fixture(scope="module")
def unknown_bearing(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("unknown")
    table = table_with(
        folder,
        SIXTEEN,
        ("elements = 24\n", 'elements = "20-26"\nbore_mm = 75\noutside_mm = 130\n'),
        ("element_mm = 9.5\n", ""),
        ("pitch_mm = 105\n", ""),
        ("angle_deg = 14\n", ""),
    )
    strikes = Strikes(rotor="spindle", order=10.947, height=0.1, ring_hz=2600.0, scatter=0.005)
    voice = Voice(scale=1.006, strikes=[strikes])
    write_sweep(folder / "takes", read_machine(SIXTEEN), voice, seconds=8.0)
    return diagnosed(folder / "takes", table)


def test_a_bearing_of_unknown_numbers_is_likely_at_its_order_and_no_race_is_claimed(
    unknown_bearing: dict[str, Any],
) -> None:
    (found,) = named(unknown_bearing)
    assert found["parts"] == ["spindle front"]
    assert (found["verdict"], found["fault"]) == ("likely", "bearing worn, race not known")
    told = kinds(found["facts"])
    assert told["order_range"]["order"] == pytest.approx(10.947, abs=0.01)
    assert told["order_range"]["error"] <= 0.01


def test_it_is_no_eleventh_multiple_and_lies_where_such_a_bearing_may(
    unknown_bearing: dict[str, Any],
) -> None:
    told = kinds(named(unknown_bearing)[0]["facts"])
    assert told["order_not_whole"]["position"] == "A1 B1 C1 DH"
    assert told["order_not_whole"]["apart_hz"] == pytest.approx(1.64, abs=0.3)
    size = told["order_fits_size"]
    assert (size["low"], size["high"]) == (20, 26)
    assert size["low_order"] == pytest.approx(8.9, abs=0.2)
    assert size["high_order"] == pytest.approx(12.0, abs=0.2)


def test_what_would_settle_it_is_said(unknown_bearing: dict[str, Any]) -> None:
    (found,) = named(unknown_bearing)
    assert "race_open" in kinds(found["facts"])
    assert found["next_test"]["kind"] == "bearing_numbers"
    assert any(w["kind"] == "bearing_unknown" for w in unknown_bearing["warnings"])


# A boring bar howls at 312 Hz, give or take 4, only while cutting.


def howl(label: str, number: int, *, hz: float = 312.0, seconds: float = 6.0) -> np.ndarray:
    machine, rng = read_machine(SIXTEEN), np.random.default_rng(number)
    samples, _ = sound(machine, label, Voice(scale=0.99, noise=0.05), seconds=seconds, take=number)
    time = np.arange(samples.size) / RATE_HZ
    wander = 0.01 * np.cumsum(rng.standard_normal(samples.size))
    return samples + 0.25 * np.sin(2 * np.pi * (hz + rng.uniform(-4, 4)) * time + wander)


def test_a_howl_while_cutting_is_the_tools_and_no_name_lasts_over_the_positions(
    tmp_path: Path,
) -> None:
    for number, place in enumerate(read_machine(SIXTEEN).positions):
        write(tmp_path, f"{place.label} cutting", howl(place.label, number))
    told = diagnosed(tmp_path, SIXTEEN)
    (found,) = named(told)
    assert (found["part"], found["fault"]) == ("tool", "chatter")
    assert found["rates_hz"]["A1 B1 C1 DH"] == pytest.approx(312.0, abs=4.0)
    fallen = [fact["values"] for fact in found["facts"] if fact["kind"] == "named_by_chance"]
    assert fallen
    assert all(each["count"] < each["of"] == 16 for each in fallen)
    asked = found["next_test"]["sentence"]
    assert "in air" in asked
    assert "tap" in asked


def test_silence_in_air_and_the_ring_of_a_tap_show_it(tmp_path: Path) -> None:
    machine = read_machine(SIXTEEN)
    labels = [place.label for place in machine.positions][::3]
    for number, label in enumerate(labels):
        write(tmp_path, f"{label} cutting", howl(label, number))
    for number, label in enumerate(labels[:3]):
        air, _ = sound(
            machine, label, Voice(scale=0.995, noise=0.03), seconds=6.0, take=90 + number
        )
        write(tmp_path, label, air)
    write(tmp_path, "tap", taps(300.0, 0.03))
    (found,) = named(diagnosed(tmp_path, SIXTEEN))
    assert (found["fault"], found["verdict"]) == ("chatter", "shown")
    assert {"only_while_cutting", "rings_when_tapped"} <= set(kinds(found["facts"]))


def taps(hz: float, damping: float) -> np.ndarray:
    time = np.arange(6 * RATE_HZ) / RATE_HZ
    total = 5e-4 * np.random.default_rng(3).standard_normal(time.size)
    for start in np.arange(0.5, 5.5, 1.1):
        since = np.maximum(time - start, 0.0)
        ring = np.exp(-2 * np.pi * hz * damping * since) * np.sin(2 * np.pi * hz * since)
        total += 0.5 * (time > start) * ring
    return total


# Somebody typed 44/40 for 43/41.


@pytest.fixture(scope="module")
def wrong_pair(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("wrong")
    table = table_with(folder, TWELVE, ('"43/41"', '"44/40"'))
    voice = Voice(uneven=0.0, strikes=[Strikes(rotor="III", when={"B": "2"})])
    write_sweep(folder / "takes", read_machine(TWELVE), voice, seconds=8.0, rpm=True)
    return diagnosed(folder / "takes", table)


def test_a_wrong_count_shows_as_488_per_cent_in_exactly_its_six_positions(
    wrong_pair: dict[str, Any],
) -> None:
    told = [w["values"] for w in wrong_pair["warnings"] if w["kind"] == "table_wrong_pair"]
    (doubt,) = told
    assert doubt["pair"] == "44/40 (B1)"
    assert sorted(doubt["positions"]) == sorted(B1)
    assert doubt["percent"] == pytest.approx(4.88, abs=0.02)
    assert doubt["candidates"][0] == [43, 41]
    assert wrong_pair["next_test"]["kind"] == "check_table"


def test_only_verdicts_on_that_pair_are_withheld(wrong_pair: dict[str, Any]) -> None:
    aside = {t["position"] for t in wrong_pair["takes"] if "take_set_aside" in kinds(t["remarks"])}
    assert aside == set(B1)
    (found,) = named(wrong_pair)
    assert found["part"] == "62T (B2, III)"
    assert set(found["heard"]) <= set(B2)
    held = [f for f in wrong_pair["findings"] if f["verdict"] == "cannot tell"]
    assert [f["part"] for f in held] == ["44/40 (B1)"]


def test_a_wrong_count_is_found_by_ear_without_a_tachometer_or_a_chart(tmp_path: Path) -> None:
    machine = read_machine(TWELVE)
    text = (shipped_folder("gear_tables") / f"{TWELVE}.toml").read_text(encoding="utf-8")
    chart = "\n".join(f'"{p.label}" = "unknown"' for p in machine.positions)
    text = text.split("[chart_rpm]")[0].replace('"18/74"', '"19/73"')
    table = tmp_path / "table.toml"
    table.write_text(f"{text}[chart_rpm]\n{chart}\n", encoding="utf-8")
    write_sweep(tmp_path / "takes", machine, Voice(seed=3), seconds=6.0)
    told = diagnosed(tmp_path / "takes", table)
    (doubt,) = [w["values"] for w in told["warnings"] if w["kind"] == "table_wrong_pair"]
    assert doubt["pair"] == "19/73 (CL)"
    assert doubt["candidates"][0] == [18, 74]
    assert not named(told)


# A healthy back gear that whines, through a phone's motion stream and a voice message.


@pytest.fixture(scope="module")
def whining(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("whine")
    machine = read_machine("lathe-back-gear")
    rng = np.random.default_rng(12)
    for number, label in enumerate(["S1 RB", "S3 RB"]):
        samples, _ = sound(machine, label, Voice(scale=1.0, mesh=0.15), seconds=8.0, take=number)
        path = folder / f"{label.replace(' ', '_')}.ogg"
        soundfile.write(path, 0.4 * samples, RATE_HZ, format="OGG", subtype="VORBIS")
    rate_hz, true_hz = 59.8, 84.2
    times = np.arange(0, 30, 1 / rate_hz)
    heard = 0.5 * np.sin(2 * np.pi * true_hz * times) + 0.2 * np.sin(2 * np.pi * 120.0 * times)
    heard += 0.02 * rng.standard_normal(times.size)
    with (folder / "S2_RB.csv").open("w", newline="", encoding="utf-8") as stream:
        rows = csv.writer(stream)
        rows.writerow(["t (s)", "z (m/s^2)"])
        rows.writerows(zip(np.round(times, 5), np.round(heard, 6), strict=True))
    return diagnosed(folder, "lathe-back-gear")


def test_no_fault_is_found_in_an_ordinary_whine(whining: dict[str, Any]) -> None:
    assert not named(whining)
    assert not [f for f in whining["findings"] if f["verdict"] == "possible"]


def test_the_motion_stream_ends_at_half_its_rate_and_lines_below_may_be_false(
    whining: dict[str, Any],
) -> None:
    (stream,) = [t for t in whining["takes"] if t["position"] == "S2 RB"]
    told = kinds(stream["remarks"])
    assert told["aliased"]["top_hz"] == pytest.approx(29.9, abs=0.1)
    false = [r["values"] for r in stream["remarks"] if r["kind"] == "false_line"]
    (line,) = [each for each in false if abs(each["hz"] - 24.4) < 0.2]
    assert line["true_hz"] == pytest.approx(84.2, abs=2.0)


def test_a_compressed_file_supports_no_levels(whining: dict[str, Any]) -> None:
    reasons = [r["sentence"] for r in remarks(whining) if r["kind"] == "processed"]
    assert any("level" in reason or "compress" in reason or "loss" in reason for reason in reasons)


# 61 and 62 teeth on one shaft: the mesh of one is a sideband of the other, with CH.


def test_with_ch_alone_the_sixty_one_and_the_sideband_of_the_sixty_two_are_not_told_apart(
    tmp_path: Path,
) -> None:
    machine = read_machine(TWELVE)
    labels = ["A3 B2 CH", "A2 B2 CH", "A1 B2 CH"]
    write_sweep(tmp_path, machine, Voice(loud={"61/31 (CH)": 3.0}), labels=labels, seconds=8.0)
    told = diagnosed(tmp_path, TWELVE)
    assert not named(told)
    text = CliRunner().invoke(main, ["speeds", TWELVE, "--all"]).output
    assert "61/31" in text
    assert "22/62" in text


def test_with_cl_as_well_the_line_that_stays_is_the_sixty_twos(tmp_path: Path) -> None:
    voice = Voice(deep={"62T (B2, III)": 1.8})
    write_sweep(tmp_path, read_machine(TWELVE), voice, labels=B2, seconds=10.0)
    (found,) = named(diagnosed(tmp_path, TWELVE))
    assert (found["parts"], found["fault"]) == (["62T (B2, III)"], "eccentric or worn gear")


# What must not be said.


@pytest.fixture(scope="module")
def eight(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A healthy eight-speed lathe on 60 Hz, all positions."""
    folder = tmp_path_factory.mktemp("eight")
    write_sweep(folder, read_machine(EIGHT), Voice(seed=4), seconds=8.0)
    return folder


def test_a_healthy_machine_is_accused_of_nothing(eight: Path) -> None:
    told = diagnosed(eight, EIGHT)
    assert told["findings"] == []
    assert told["next_test"]["kind"] == "repeat_sweep"


def test_a_60_hz_machine_entered_as_50_is_found_out_and_judged_at_its_true_speed(
    eight: Path, tmp_path: Path
) -> None:
    changes = (("mains_hz = 60", "mains_hz = 50"), ("plate_rpm = 1725", "plate_rpm = 1440"))
    told = diagnosed(eight, table_with(tmp_path, EIGHT, *changes))
    (off,) = [w["values"] for w in told["warnings"] if w["kind"] == "scale_differs"]
    assert off["percent"] == pytest.approx(100 * (1725 / 1440 * 1.012 - 1), abs=0.3)
    assert "60 Hz" in off["likely_cause"]
    assert not named(told)
    top = max(take["spindle_rpm"] for take in told["takes"])
    assert top == pytest.approx(1308.8 * 1.012, rel=2e-3)


def test_mains_entered_wrong_beside_a_true_plate_are_found_out(eight: Path, tmp_path: Path) -> None:
    """The plate's 1725 rpm is one of 60 Hz: its hum at 120 Hz is no tone of the structure."""
    told = diagnosed(eight, table_with(tmp_path, EIGHT, ("mains_hz = 60", "mains_hz = 50")))
    (said,) = [w["values"] for w in told["warnings"] if w["kind"] == "mains_by_plate"]
    assert (said["plate_rpm"], said["stated_hz"], said["needed_hz"]) == (1725.0, 50.0, 60.0)
    assert "scale_differs" not in [w["kind"] for w in told["warnings"]]
    assert not named(told)


def test_exchanged_takes_are_found_out(eight: Path, tmp_path: Path) -> None:
    one, other = "A2_B1_CL.wav", "A1_B1_CH.wav"
    for path in eight.iterdir():
        name = {one: other, other: one}.get(path.name, path.name)
        (tmp_path / name).write_bytes(path.read_bytes())
    told = diagnosed(tmp_path, EIGHT)
    assert "swapped" in kinds(told["warnings"])
    heard = {take["position"]: take["heard_position"] for take in told["takes"]}
    assert heard["A2 B1 CL"] == "A1 B1 CH"
    assert heard["A1 B1 CH"] == "A2 B1 CL"
    assert not named(told)


def test_the_room_alone_is_not_a_machine(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    time = np.arange(8 * RATE_HZ) / RATE_HZ
    for place in read_machine(EIGHT).positions:
        room = 0.01 * rng.standard_normal(time.size) + 0.02 * np.sin(2 * np.pi * 120 * time)
        write(tmp_path, place.label, room)
    told = diagnosed(tmp_path, EIGHT)
    assert not named(told)
    assert all(take["spindle_rpm"] is None for take in told["takes"])
    assert "cannot tell" in told["headline"]


def test_a_background_take_alone_says_that_nothing_ran(tmp_path: Path) -> None:
    noise = 0.01 * np.random.default_rng(1).standard_normal(8 * RATE_HZ)
    write(tmp_path, "background", noise)
    told = diagnosed(tmp_path, EIGHT)
    assert not told["findings"]
    assert "cannot tell" in told["headline"]


def test_three_seconds_are_called_too_short_and_show_nothing(tmp_path: Path) -> None:
    voice = Voice(seed=4, strikes=[Strikes(rotor="III", when={"B": "2"})])
    write_sweep(tmp_path, read_machine(EIGHT), voice, seconds=3.0)
    told = diagnosed(tmp_path, EIGHT)
    short = [r for r in remarks(told) if r["kind"] == "take_too_short"]
    assert len(short) == len(told["takes"])
    assert not [f for f in told["findings"] if f["verdict"] == "shown"]


def test_clipped_takes_are_named_and_nobody_is_accused(tmp_path: Path) -> None:
    machine = read_machine(EIGHT)
    for number, place in enumerate(machine.positions):
        samples, _ = sound(machine, place.label, Voice(seed=5), seconds=8.0, take=number)
        top = 1.3 * samples.std()
        write(tmp_path, place.label, np.clip(samples, -top, top))
    told = diagnosed(tmp_path, EIGHT)
    for take in told["takes"]:
        assert any("clipped" in remark["sentence"] for remark in take["remarks"])
    assert not named(told)


def test_a_sensor_seated_again_between_repeats_is_no_repair(tmp_path: Path) -> None:
    machine = read_machine(EIGHT)
    labels = [place.label for place in machine.positions][::3]
    rng = np.random.default_rng(8)
    for side in ("before", "after"):
        (tmp_path / side).mkdir()
        for number, label in enumerate(labels):
            for repeat in (1, 2, 3):
                take = 10 * number + repeat + (100 if side == "after" else 0)
                samples, _ = sound(machine, label, Voice(seed=6), seconds=6.0, take=take)
                samples = reseated(samples, rng)
                write(tmp_path / side, f"{label} {repeat}", samples)
    told = as_json("compare", tmp_path / "before", tmp_path / "after", "--table", EIGHT)
    assert {place["outcome"] for place in told["positions"]} <= {"same", "not comparable"}
    assert "mproved" not in told["headline"]
    assert not named(diagnosed(tmp_path / "before", EIGHT))


def reseated(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The same sensor put back by hand: another gain, and another response."""
    lines = np.fft.rfft(samples)
    places = np.linspace(0, 1, lines.size)
    bend = np.interp(places, np.linspace(0, 1, 12), rng.normal(0, 1.0, 12))
    return np.fft.irfft(lines * 10 ** ((bend + rng.normal(0, 1.5)) / 20), samples.size)


# What special takes decide.


@pytest.fixture(scope="module")
def humming(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The eight-speed lathe with a strong 120 Hz at every position."""
    folder = tmp_path_factory.mktemp("hum")
    voice = Voice(seed=9, fixed=[(120.0, 0.35)])
    labels = [place.label for place in read_machine(EIGHT).positions][:6]
    write_sweep(folder, read_machine(EIGHT), voice, labels=labels, seconds=6.0)
    return folder


def copied(folder: Path, to: Path) -> None:
    for path in folder.iterdir():
        (to / path.name).write_bytes(path.read_bytes())


def hum_of(told: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [f for f in told["findings"] if f["part"] == "mains"]


def test_a_hum_that_dies_with_the_power_is_electrical(humming: Path, tmp_path: Path) -> None:
    copied(humming, tmp_path)
    machine = read_machine(EIGHT)
    time = np.arange(10 * RATE_HZ) / RATE_HZ
    alive = np.where(time < 4, 1.0, np.exp(-(time - 4) / 3))
    samples, _ = sound(machine, "A1 B2 CH", Voice(seed=9), seconds=10.0, take=50, alive=alive)
    samples += 0.35 * np.where(time < 4, np.sin(2 * np.pi * 120 * time), 0.0)
    write(tmp_path, "A1 B2 CH coast-down", samples)
    before, after = hum_of(diagnosed(humming, EIGHT)), hum_of(diagnosed(tmp_path, EIGHT))
    assert before
    assert after[0]["verdict"] == "shown"
    assert "stops_at_power_off" in kinds(after[0]["facts"])


def test_a_hum_that_is_there_with_the_machine_off_is_the_rooms(
    humming: Path, tmp_path: Path
) -> None:
    copied(humming, tmp_path)
    time = np.arange(6 * RATE_HZ) / RATE_HZ
    room = 0.005 * np.random.default_rng(2).standard_normal(time.size)
    write(tmp_path, "background", room + 0.35 * np.sin(2 * np.pi * 120 * time))
    told = diagnosed(tmp_path, EIGHT)
    assert not hum_of(told)
    assert "in_the_room" in kinds(told["warnings"])


def test_a_belt_is_shown_once_it_is_gone_with_the_belts_off(tmp_path: Path) -> None:
    machine = read_machine(EIGHT)
    labels = [place.label for place in machine.positions][:6]
    voice = Voice(seed=10, belt=(0.02, 0.06, 0.01))
    write_sweep(tmp_path, machine, voice, labels=labels, seconds=12.0)
    likely = [f for f in diagnosed(tmp_path, EIGHT)["findings"] if f["part_kind"] == "belt"]
    rng = np.random.default_rng(4)
    time = np.arange(8 * RATE_HZ) / RATE_HZ
    motor = 0.01 * np.cos(2 * np.pi * 28.75 * 1.012 * time)
    write(tmp_path, "motor alone", motor + 0.003 * rng.standard_normal(time.size))
    shown = [f for f in diagnosed(tmp_path, EIGHT)["findings"] if f["part_kind"] == "belt"]
    assert likely[0]["verdict"] != "shown"
    assert shown[0]["probability"] > likely[0]["probability"]
    assert "gone_with_motor_alone" in kinds(shown[0]["facts"])
