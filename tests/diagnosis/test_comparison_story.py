"""A repair report that could have failed: what changed, what did not, and what cannot be said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from diagnosis.invented_sweeps import Sound, eight_speed_lathe, heard

from vibecheck.diagnosis.compared.comparison import compare
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.errors import JobError
from vibecheck.recording import Support

MACHINE = eight_speed_lathe()
LABELS = [position.label for position in MACHINE.positions]


def sweep(rng, sound_at, *, takes=3, labels=LABELS, seat=1.0, seconds=15.0, conditions=None):
    made = []
    for label in labels:
        for number in range(takes):
            sound = replace(sound_at(label), seat_db=rng.normal(0, seat))
            told = (conditions or {}).get(label, {})
            name = f"{label} {number}"
            made.append(
                heard(MACHINE, label, sound, rng, name=name, conditions=told, seconds=seconds)
            )
    return made


def after_the_repair(label):
    line = {"spindle 1x": 4.0} if label == "A2 B1 CH" else {}
    return Sound(sidebands_db={"25T": -14.0}, line_db=line)


@pytest.fixture(scope="module")
def report():
    """25T and 50T replaced; at A2 B1 CH the chuck was remounted; at A1 B1 CL automatic gain."""
    rng = np.random.default_rng(9)
    before = sweep(rng, lambda label: Sound())
    gain = {"A1 B1 CL": {"automatic gain": "on"}}
    after = sweep(rng, after_the_repair, conditions=gain)
    return compare(MACHINE, before, after)


def test_the_repair_splits_four_better_two_same_one_worse_one_not_comparable(report):
    split = {o: report.count(o) for o in ("better", "same", "worse", "not comparable")}
    assert split == {"better": 4, "same": 2, "worse": 1, "not comparable": 1}


def test_better_are_exactly_the_positions_where_the_new_pair_works(report):
    better = {p.position for p in report.positions if p.outcome == "better"}
    assert better == {label for label in LABELS if "B2" in label}
    for label in better:
        named = {line.name for line in report.at(label).called("better")}
        assert any("25T" in name and "sidebands" in name for name in named)


def test_the_side_lines_are_down_by_what_was_planted_within_their_intervals(report):
    for label in ("A2 B2 CL", "A2 B2 CH"):
        for line in report.at(label).lines:
            if line.sort == "sidebands" and "25T" in line.name:
                assert line.low_db < -14.0 < line.high_db


def test_the_worse_position_names_the_spindle_and_comes_first(report):
    assert report.positions[0].position == "A2 B1 CH"
    assert [line.name for line in report.positions[0].called("worse")] == ["spindle 1x"]


def test_the_files_with_automatic_gain_are_refused_with_what_still_stands(report):
    position = report.at("A1 B1 CL")
    assert "automatic gain" in position.obstacles[0].what
    assert "frequencies" in position.obstacles[0].survives
    assert not position.called("better")
    assert position.overall_db is None


def test_there_is_no_single_score(report):
    assert not [name for name in dir(report) if "score" in name or "percent" in name]


def test_a_knock_that_is_gone_shows_although_the_level_did_not_move():
    rng = np.random.default_rng(1)
    labels = ["A2 B2 CL", "A2 B1 CL"]
    before = sweep(
        rng,
        lambda label: Sound(knock={"III": 0.5} if "B2" in label else {}),
        labels=labels,
        seat=0.3,
    )
    after = sweep(rng, lambda label: Sound(), labels=labels, seat=0.3)
    found = compare(MACHINE, before, after)
    position = found.at("A2 B2 CL")
    assert abs(position.overall_db) < 1.0
    names = [line.name for line in position.called("better")]
    assert "blows once a turn of III" in names
    assert "peakiness" in names
    assert found.at("A2 B1 CL").outcome == "same"


def test_a_knock_that_stays_is_not_averaged_away_by_a_quieter_machine():
    rng = np.random.default_rng(2)
    labels = ["A2 B2 CL"]
    before = sweep(rng, lambda label: Sound(knock={"III": 0.6}), labels=labels, seat=0.2)
    quieter = {"sidebands_db": {"25T": -20.0}, "line_db": {"II 1x": -10.0}}
    after = sweep(rng, lambda label: Sound(knock={"III": 0.6}, **quieter), labels=labels, seat=0.2)
    position = compare(MACHINE, before, after).at("A2 B2 CL")
    knock = next(line for line in position.lines if line.name == "blows once a turn of III")
    assert knock.outcome == "same"


@pytest.mark.parametrize("takes", [1, 3])
def test_a_healthy_machine_measured_again_is_the_same_everywhere(takes):
    rng = np.random.default_rng(30 + takes)
    labels = ["A2 B2 CL", "A1 B1 CL", "A2 B1 CH"]
    for _ in range(3):
        one, other = (
            sweep(rng, lambda label: Sound(), takes=takes, labels=labels) for _ in range(2)
        )
        found = compare(MACHINE, one, other)
        assert {p.outcome for p in found.positions} == {"same"}


def test_without_repeats_the_allowance_is_stated_and_less_can_be_shown():
    rng = np.random.default_rng(7)
    made = {
        takes: compare(
            MACHINE,
            sweep(rng, lambda label: Sound(), takes=takes, labels=["A2 B2 CL"]),
            sweep(rng, lambda label: Sound(), takes=takes, labels=["A2 B2 CL"]),
        )
        for takes in (1, 3)
    }
    assert not made[1].repeatability.measured
    assert "allowed 1.5 dB" in made[1].notes[0]
    assert made[1].smallest_db > made[3].smallest_db
    assert [count for count, _ in made[1].smallest_with] == [3, 5, 8]


def one_pair(after, **change):
    rng = np.random.default_rng(8)
    before = [heard(MACHINE, "A2 B2 CL", Sound(), rng, name="before")]
    other = [heard(MACHINE, "A2 B2 CL", after, rng, name="after")]
    if change:
        other = [replace(other[0], take=replace(other[0].take, **change))]
    return compare(MACHINE, before, other).positions[0]


def test_a_speed_off_by_more_than_half_a_per_cent_is_refused():
    position = one_pair(Sound(speed=1.012))
    assert position.outcome == "not comparable"
    assert "speed differs" in position.obstacles[0].what


def test_a_clipped_take_is_refused():
    assert "clipped" in one_pair(Sound(clipped=True)).obstacles[0].what


def test_a_lossy_take_is_refused_with_the_reason_its_reader_gave():
    rng = np.random.default_rng(8)
    before = heard(MACHINE, "A2 B2 CL", Sound(), rng, name="before")
    bad = Support(levels=False, reasons=("lossy coding (Opus)",))
    recording = replace(before.take.recording, support=bad, name="after")
    after = replace(before, take=replace(before.take, recording=recording))
    position = compare(MACHINE, [before], [after]).positions[0]
    assert "lossy coding" in position.obstacles[0].what


def test_a_whole_recording_that_is_louder_alike_is_gain_not_wear():
    position = one_pair(Sound(seat_db=9.0))
    assert position.outcome == "not comparable"
    assert "dB louder" in position.obstacles[0].what


@pytest.mark.parametrize(
    ("key", "one", "other"),
    [
        ("sensor", "magnet 1", "phone"),
        ("place", "head, front", "bed"),
        ("gain", "3", "5"),
        ("chuck", "3-jaw 160", "none"),
        ("load", "idle", "cutting"),
        ("direction", "forward", "reverse"),
        ("temperature", "21 C", "48 C"),
        ("supply", "mains", "converter"),
    ],
)
def test_other_conditions_are_refused_when_both_were_written_down(key, one, other):
    rng = np.random.default_rng(8)
    sides = [
        [heard(MACHINE, "A2 B2 CL", Sound(), rng, name=value, conditions={key: value})]
        for value in (one, other)
    ]
    position = compare(MACHINE, *sides).positions[0]
    assert position.outcome == "not comparable"
    assert key in position.obstacles[0].what


def test_a_few_degrees_of_temperature_do_no_harm():
    rng = np.random.default_rng(8)
    sides = [
        [heard(MACHINE, "A2 B2 CL", Sound(), rng, conditions={"temperature": value})]
        for value in ("38 C", "41 C")
    ]
    assert compare(MACHINE, *sides).positions[0].outcome == "same"


def test_one_spoilt_repeat_is_left_out_and_named():
    rng = np.random.default_rng(8)
    before = sweep(rng, lambda label: Sound(), labels=["A2 B2 CL"])
    after = sweep(rng, lambda label: Sound(), labels=["A2 B2 CL"])
    after[1] = heard(MACHINE, "A2 B2 CL", Sound(clipped=True), rng, name="spoilt")
    position = compare(MACHINE, before, after).positions[0]
    assert position.outcome == "same"
    assert position.after_takes == 2
    assert "spoilt is clipped" in position.left_out[0]


def test_a_tone_of_the_room_is_not_compared():
    rng = np.random.default_rng(8)
    sides = []
    for _ in range(2):
        take = heard(MACHINE, "A2 B2 CL", Sound(), rng)
        room = take.take.recording
        quiet = replace(room, samples=room.samples * np.float32(0.9), name="background")
        background = replace(take.take, recording=quiet, position=None, kind="background")
        sides.append([take, TakeAtSpeed(take=background, speeds_hz={})])
    position = compare(MACHINE, *sides).positions[0]
    reasons = [line.reason for line in position.lines if line.sort == "mesh"]
    assert reasons
    assert all("background" in reason for reason in reasons)


def test_sweeps_without_a_common_position_are_an_error():
    rng = np.random.default_rng(8)
    one = [heard(MACHINE, "A2 B2 CL", Sound(), rng)]
    other = [heard(MACHINE, "A1 B1 CH", Sound(), rng)]
    with pytest.raises(JobError, match="no lever position in common"):
        compare(MACHINE, one, other)
