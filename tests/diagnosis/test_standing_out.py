"""A part is held against its company, and only as far as that company is fair."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from vibecheck.diagnosis.chance.standing_out import alike, excesses
from vibecheck.diagnosis.readings.lines import TurnLines
from vibecheck.diagnosis.readings.turn_readings import RotorTones, rotor_tones
from vibecheck.diagnosis.suspects import turns

FLOOR_DB = -70.0


def line(rotor: str, hz: float, level_db: float) -> TurnLines:
    over = 10 ** ((level_db - FLOOR_DB) / 10)
    return TurnLines(
        rotor=rotor,
        hz=hz,
        once_db=level_db,
        twice_db=-300.0,
        over_floor=over,
        twice_over_floor=0.5,
        share=0.1,
        halves=0.3,
        many=0.3,
        limit_db=FLOOR_DB + 12.0,
        twice_limit_db=FLOOR_DB + 12.0,
    )


def sweep(
    push_db: dict[str, float], response=lambda hz: 0.0, seed: int = 1
) -> dict[str, RotorTones]:
    """Eight positions of a lathe: 'I' never changes speed, three others do."""
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(8):
        speeds = {
            "I": 15.0,
            "II": (10.0, 20.0)[number % 2],
            "III": (6.0, 9.0, 13.0, 19.0)[number % 4],
        }
        speeds["spindle"] = 2.0 * 1.35**number
        rows.append(
            {
                name: line(
                    name,
                    hz,
                    -90.0
                    + 40 * np.log10(hz)
                    + push_db.get(name, 0.0)
                    + response(hz)
                    + rng.normal(0, 2),
                )
                for name, hz in speeds.items()
            }
        )
    return {tones.rotor: tones for tones in rotor_tones(rows, ["I", "II", "III", "spindle"])}


def test_excess_and_its_spread_are_those_of_generalised_least_squares() -> None:
    rng = np.random.default_rng(3)
    owners = ["a", "a", "b", "c", "c", "c"]
    covariance = 9.0 + 4.0 * alike(owners) + np.eye(6)
    values = rng.normal(0, 3, 6)
    found, likelihood = excesses(values, covariance, owners)
    inverse = np.linalg.inv(covariance)
    for name in "abc":
        column = np.array([float(owner == name) for owner in owners])
        weight = column @ inverse @ column
        assert found[name].over == pytest.approx(column @ inverse @ values / weight)
        assert found[name].spread == pytest.approx(weight**-0.5)
    law = multivariate_normal(np.zeros(6), covariance)
    twice = multivariate_normal(np.zeros(6), 2 * covariance)
    _, other = excesses(values, 2 * covariance, owners)
    assert likelihood - other == pytest.approx(law.logpdf(values) - twice.logpdf(values))


def test_one_rotor_far_above_the_rest_at_the_same_frequencies_is_out_of_balance() -> None:
    tones = sweep({"spindle": 30.0})
    assert tones["spindle"].log_imbalance > 4.0
    assert max(tones[name].log_imbalance for name in ("I", "II", "III")) < 0.0


def test_a_sensor_deaf_at_the_slow_end_accuses_nobody() -> None:
    tones = sweep({}, response=lambda hz: -24.0 * np.log2(30.0 / hz))
    assert max(each.log_imbalance for each in tones.values()) < 2.0


def test_a_place_where_the_casing_sings_does_not_accuse_what_turns_there() -> None:
    tones = sweep({}, response=lambda hz: 20.0 * np.exp(-0.5 * (np.log2(hz / 15.0) / 0.2) ** 2))
    assert max(each.log_imbalance for each in tones.values()) < 2.0


def test_a_push_heard_only_in_slow_takes_is_no_imbalance() -> None:
    rows = [
        {
            "spindle": line("spindle", hz, -30.0 if hz < 10 else -75.0),
            "II": line("II", 10.0, -60.0),
            "III": line("III", 14.0, -58.0),
        }
        for hz in (4.0, 6.0, 8.0, 16.0, 20.0, 25.0)
    ]
    found = {each.rotor: each for each in rotor_tones(rows, ["spindle", "II", "III"])}
    heard = [dict(row) for row in rows[:3]]
    slow_only = {each.rotor: each for each in rotor_tones(heard, ["spindle", "II", "III"])}
    assert found["spindle"].log_imbalance < slow_only["spindle"].log_imbalance - 3.0


def test_a_second_turn_drowned_by_the_first_is_no_bend() -> None:
    """Both stand out as far from the other shafts'; only how they stand to each other differs."""

    def judged(below_db: float) -> RotorTones:
        rows = []
        for number in range(6):
            row = {}
            for name, hz, more in (("II", 11.0, 0.0), ("III", 7.0, 0.0), ("spindle", 5.0, 25.0)):
                speed = hz * 1.2**number
                made = line(name, speed, -90.0 + 40 * np.log10(speed) + more)
                second = made.once_db - below_db
                over = 10 ** ((second - FLOOR_DB) / 10)
                row[name] = replace(made, twice_db=second, twice_over_floor=over)
            rows.append(row)
        found = rotor_tones(rows, ["II", "III", "spindle"])
        return next(each for each in found if each.rotor == "spindle")

    level, drowned = judged(0.0), judged(16.0)
    assert level.log_bent > level.log_imbalance
    assert drowned.log_bent < level.log_bent


def test_a_shaft_nearer_the_sensor_is_louder_in_all_it_does_and_not_therefore_bent() -> None:
    rows = []
    for number in range(6):
        row = {}
        for name, hz, nearer_db in (("II", 11.0, 0.0), ("III", 7.0, 0.0), ("spindle", 5.0, 12.0)):
            speed = hz * 1.2**number
            made = line(name, speed, -90.0 + 40 * np.log10(speed) + nearer_db)
            second = made.once_db - 6.0
            over = 10 ** ((second - FLOOR_DB) / 10)
            row[name] = replace(made, twice_db=second, twice_over_floor=over)
        rows.append(row)
    found = {each.rotor: each for each in rotor_tones(rows, ["II", "III", "spindle"])}
    assert max(found["spindle"].log_bent, found["spindle"].log_imbalance) < 2.0


def silent(rotor: str, hz: float, *, twice_db: float = -300.0) -> TurnLines:
    """A rotor whose first turn is under the floor, and maybe its second."""
    made = line(rotor, hz, -300.0)
    over = 10 ** ((twice_db - FLOOR_DB) / 10)
    return replace(made, over_floor=0.5, twice_db=twice_db, twice_over_floor=over)


def test_one_tone_far_above_where_silent_neighbours_would_be_heard_stands_out() -> None:
    """A phone hears nothing of any shaft but the second turn of one, 25 dB over the floor."""

    def rows(twice_db: float) -> list[dict[str, TurnLines]]:
        return [
            {
                "I": silent("I", 9.3, twice_db=twice_db),
                "II": silent("II", (10.2, 12.7, 8.0)[number % 3]),
                "III": silent("III", (14.0, 17.0, 20.0, 16.2)[number % 4]),
                "spindle": silent("spindle", (20.0, 10.0, 5.0)[number % 3]),
            }
            for number in range(6)
        ]

    names = ["I", "II", "III", "spindle"]
    loud = {each.rotor: each for each in rotor_tones(rows(FLOOR_DB + 25.0), names)}
    faint = {each.rotor: each for each in rotor_tones(rows(FLOOR_DB + 13.0), names)}
    assert loud["I"].log_bent > 3.0
    assert faint["I"].log_bent < loud["I"].log_bent - 2.0
    assert max(loud[name].log_bent for name in names[1:]) < 0.5


def test_silence_of_a_slow_shaft_where_none_would_be_heard_says_nothing() -> None:
    """Unbalance pushes with the square of speed: a slow neighbour is silent anyway."""

    def judged(neighbour_hz: float) -> float:
        rows = [
            {"I": line("I", 20.0 + number, FLOOR_DB + 25.0), "II": silent("II", neighbour_hz)}
            for number in range(6)
        ]
        return {each.rotor: each for each in rotor_tones(rows, ["I", "II"])}["I"].log_imbalance

    assert judged(19.0) > judged(1.5) + 1.0


def test_one_take_alone_never_says_much() -> None:
    rows = [{"I": line("I", 24.0, FLOOR_DB + 50.0), "II": silent("II", 22.0)}]
    rows += [{"II": silent("II", 20.0 + number)} for number in range(5)]
    found = {each.rotor: each for each in rotor_tones(rows, ["I", "II"])}
    assert found["I"].log_imbalance <= 2.5


def test_a_shaft_heard_at_twice_a_turn_alone_is_heard_and_other_takes_are_not_called_silent() -> (
    None
):
    """What is told of each take is of the multiple that tells: 2x of a bend, though 1x is lost."""
    rows = [
        {
            "I": silent("I", 9.3, twice_db=FLOOR_DB + (25.0 if number else -20.0)),
            "II": silent("II", 12.0 + number),
        }
        for number in range(4)
    ]
    rows.append({"II": silent("II", 18.0)})
    tones = {each.rotor: each for each in rotor_tones(rows, ["I", "II"])}["I"]
    bend = tones.telling("bent or misaligned")
    assert set(bend.above_db) == {1, 2, 3}
    assert set(bend.at_most_db) == {0}
    assert bend.excess(1).over > 15.0
    assert bend.excess(4) is None
    assert not tones.telling("imbalance").above_db


def imbalance_odds(deaf: bool) -> float:
    """Evidence that a spindle is out of balance, heard through a sensor deaf at the slow end."""
    rows = []
    for number in range(6):
        row = {}
        for name, hz, more in (("II", 11.0, 0.0), ("III", 7.0, 0.0), ("spindle", 5.0, 25.0)):
            speed = hz * 1.3**number
            lost = 40.0 * np.log10(speed / 60.0) if deaf or name == "spindle" else 0.0
            row[name] = line(name, speed, -90.0 + 40 * np.log10(speed) + more + lost)
        rows.append(row)
    found = rotor_tones(rows, ["II", "III", "spindle"])
    suspects = turns._turn_suspects(found, ())
    mine = (s for s in suspects if s.rotor == "spindle" and s.fault == "imbalance")
    return next(mine).evidence


def test_a_push_that_grows_as_steeply_as_every_other_shafts_is_not_the_structure_singing() -> None:
    assert imbalance_odds(deaf=True) > imbalance_odds(deaf=False) + 2.0


def test_at_its_slow_speeds_a_deaf_sensor_lets_the_second_turn_stand_over_the_first() -> None:
    """Where it is heard as it is, the first turn drowns the second: no bend."""
    rows = []
    for number in range(6):
        speed = 5.0 * 1.4**number
        made = line("spindle", speed, -60.0 + 60 * np.log10(speed / 5.0))
        second = max(-70.0 + 40 * np.log10(speed / 5.0), made.once_db - 30.0)
        rows.append({"spindle": replace(made, twice_db=second + 8.0, twice_over_floor=100.0)})
    (found,) = rotor_tones(rows, ["spindle"])
    all_over = np.median([row["spindle"].twice_db - row["spindle"].once_db for row in rows])
    assert found.twice_db < all_over - 2.0
