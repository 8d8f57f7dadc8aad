"""What gears say of the shaft that carries them, and a shaft of its gears."""

from __future__ import annotations

from dataclasses import replace

import pytest

from vibecheck.diagnosis.chance.standing_out import Excess
from vibecheck.diagnosis.readings.lines import TurnLines
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones, ToneTakes, rotor_tones
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.suspects.swells import SHAKES, swell_suspects
from vibecheck.diagnosis.suspects.turns import THROWS, _throws
from vibecheck.diagnosis.verdicts.finding_evidence import _thrown_facts

SILENT = ToneTakes(above_db={}, at_most_db={})


def swell(gear: str, rotor: str, over: float, takes: tuple[int, ...] = (0, 1, 2)) -> Swell:
    return Swell(
        gear=gear,
        rotor=rotor,
        shares=dict.fromkeys(takes, 0.6),
        share=0.6,
        excess=Excess(over=over, spread=0.6, readings=9),
        log_odds=2.0,
    )


def tones(once: ToneTakes) -> RotorTones:
    return RotorTones(
        rotor="II",
        together=("II",),
        above_db=3.0,
        above_spread_db=6.0,
        growth=2.0,
        twice_db=-12.0,
        heard=len(once.above_db),
        takes=6,
        log_imbalance=-1.0,
        log_bent=-1.0,
        once=once,
        twice=SILENT,
    )


def test_a_shaft_all_of_whose_gears_swell_is_thrown() -> None:
    both = [swell("30T", "II", 0.8), swell("47T", "II", 1.0)]
    assert _throws(["II"], both) > 0.9 * THROWS
    assert _throws(["III"], both) == 0.0


@pytest.mark.parametrize(
    "swells",
    [
        [swell("30T", "II", 1.5)],
        [swell("30T", "II", 1.5), swell("47T", "II", -0.2)],
        [swell("30T", "II", 1.5), swell("47T", "III", 1.5)],
    ],
    ids=["it has one gear", "one of them does not", "the other is another shaft's"],
)
def test_one_gear_alone_says_nothing_of_its_shaft(swells: list[Swell]) -> None:
    assert _throws(["II"], swells) < 0.05 * THROWS


@pytest.mark.parametrize(("thrown", "told"), [(0.8, 1), (0.1, 0), (float("nan"), 0)])
def test_that_a_shaft_throws_its_gears_is_said_where_it_counted(thrown: float, told: int) -> None:
    shaft = Suspect(
        parts=("II",), part_kind="shaft", fault="any", rotor="II", detail={"thrown": thrown}
    )
    facts = _thrown_facts(shaft)
    assert [each.kind for each in facts] == ["gears_thrown"] * told


def said(above: dict[int, float], at_most: dict[int, float]) -> float:
    once = ToneTakes(above_db=above, at_most_db=at_most)
    mine = swell("30T", "II", 1.2)
    (plain,) = swell_suspects([mine])
    (shaken,) = swell_suspects([mine], [tones(once)])
    return shaken.evidence - plain.evidence


def test_a_shaft_that_shakes_where_a_gear_works_speaks_against_the_gear() -> None:
    assert said({0: 14.0, 1: 12.0, 2: 15.0, 3: 1.0}, {4: 2.0}) > 0.8 * SHAKES


@pytest.mark.parametrize(
    ("above", "at_most"),
    [
        ({0: 14.0, 1: 12.0, 2: 15.0, 3: 13.0, 4: 14.0}, {}),
        ({0: 14.0, 3: 1.0}, {1: 3.0, 2: 3.0}),
        ({0: 14.0, 1: 12.0, 2: 15.0}, {}),
    ],
    ids=["it shakes everywhere", "in one take only", "the gear always works"],
)
def test_otherwise_it_says_nothing_of_the_gear(
    above: dict[int, float], at_most: dict[int, float]
) -> None:
    assert said(above, at_most) < 0.05 * SHAKES


ROW = TurnLines(
    rotor="II",
    hz=10.0,
    once_db=-20.0,
    twice_db=-22.0,
    over_floor=100.0,
    twice_over_floor=100.0,
    share=0.5,
    halves=0.4,
    many=0.4,
)


def test_a_second_turn_under_another_line_is_not_missing() -> None:
    """Of four takes the second turn is heard in one, and hidden in three."""
    hidden = replace(ROW, twice_db=-80.0, twice_over_floor=0.0)
    rows = [{"II": each} for each in (ROW, hidden, hidden, hidden)]
    (found,) = rotor_tones(rows, ["II"])
    assert found.twice_db == pytest.approx(-2.0)


def test_a_second_turn_that_would_have_been_heard_is_at_most_so_loud() -> None:
    quiet = replace(ROW, twice_db=-80.0, twice_over_floor=0.0, twice_limit_db=-45.0)
    (found,) = rotor_tones([{"II": quiet}] * 3, ["II"])
    assert found.twice_db == pytest.approx(-25.0)
