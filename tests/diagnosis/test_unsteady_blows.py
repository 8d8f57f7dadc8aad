"""A broken tooth strikes at one angle, and alike, at every turn; what is loose does neither.

The takes are our own sums of tooth tones, noise and blows; nothing of the package's synthesis.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from tests.diagnosis.invented_sweeps import (
    eight_speed_lathe,
    ringing,
    swaying_turns,
    take_of,
    tooth_tones,
)
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.diagnosis.readings.keys import rate_key
from vibecheck.diagnosis.readings.listened import Listened, listen
from vibecheck.machine.turning import turning
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take

MACHINE = eight_speed_lathe()
RATE_HZ, SECONDS, FIRST_HZ = 12000.0, 10.0, 14.4
LOOSE, TOOTH = "loose on its shaft or in its seat", "broken or damaged tooth"


def struck(turns: np.ndarray, rng: np.random.Generator, *, wanders: float, uneven: float):
    """A blow once a turn, a part of a turn early or late, and harder or softer by some."""
    whole = np.arange(int(turns[-1]) - 1) + 0.3
    places = np.interp(whole + wanders * rng.normal(size=whole.size), turns, np.arange(turns.size))
    blows = np.zeros(turns.size)
    np.add.at(blows, places.astype(int), np.abs(1 + uneven * rng.normal(size=whole.size)))
    return ringing(blows, rate_hz=RATE_HZ, fades=18.0)


def takes_of(
    wanders: float, uneven: float, levers: str, grows: bool = False, shaft: str = "spindle"
) -> list[Take]:
    """A sweep with blows once a turn of a shaft where the positions name those levers; their force
    growing with the square of its speed, or the same at all."""
    takes = []
    for number, position in enumerate(MACHINE.positions):
        rng = np.random.default_rng(900 + number)
        where = turning(MACHINE, position)
        first, own = where.nominal_hz("I"), where.nominal_hz(shaft)
        assert first
        assert own
        turns = swaying_turns(FIRST_HZ, rng, rate_hz=RATE_HZ, seconds=SECONDS)
        sound = 0.5 * rng.normal(size=turns.size) + tooth_tones(where, "I", turns)
        force = 5.0 * (own / 10.0) ** 2 if grows else 5.0
        if levers in position.label:
            sound += force * struck(turns * own / first, rng, wanders=wanders, uneven=uneven)
        takes.append(take_of(position.label, sound, rate_hz=RATE_HZ))
    return takes


@cache
def told(wanders: float, uneven: float, levers: str, grows: bool = False) -> Diagnosis:
    return diagnose(MACHINE, takes_of(wanders, uneven, levers, grows))


def heard(wanders: float, uneven: float, levers: str, shaft: str) -> Listened:
    where = {each.label: turning(MACHINE, each) for each in MACHINE.positions}
    takes = takes_of(wanders, uneven, levers, shaft=shaft)
    return listen(MACHINE, where, takes, lambda *_: None)


def test_a_steady_blow_where_one_gear_works_is_its_tooth() -> None:
    first = told(0.0, 0.1, "CH").findings[0]
    assert (first.part, first.fault, first.verdict) == ("40T on spindle (CH)", TOOTH, "shown")


def test_blows_that_wander_are_no_tooths() -> None:
    found = told(0.03, 0.6, "")
    assert [(each.part, each.fault) for each in found.findings if each.probability > 0.85] == [
        ("spindle", LOOSE)
    ]
    assert not [each for each in found.findings if each.fault == TOOTH and each.probability > 0.3]


def test_slow_positions_at_which_nothing_is_heard_do_not_make_a_tooth_of_it() -> None:
    """Blows that only fast turns make loud: by levers alone, a tooth of what works there only."""
    found = told(0.03, 0.6, "", grows=True)
    assert (found.findings[0].part, found.findings[0].fault) == ("spindle", LOOSE)
    assert not [each for each in found.findings if each.fault == TOOTH and each.probability > 0.3]


def test_their_silence_is_said_to_clear_nothing() -> None:
    first = told(0.03, 0.6, "", grows=True).findings[0]
    slow = [each for each in first.evidence if each.kind == "slow_blows_faint"]
    assert [each.values["rotor"] for each in slow] == ["spindle"]
    assert set(slow[0].values["positions"]) == set(first.expected) - set(first.heard)
    throughout = told(0.0, 0.1, "CH").findings[0]
    assert set(throughout.expected) == set(throughout.heard)
    assert "slow_blows_faint" not in [each.kind for each in throughout.evidence]


def test_steady_ones_leave_it_open() -> None:
    first = told(0.0, 0.1, "", grows=True).findings[0]
    assert set(first.parts) == {"spindle", "40T on spindle (CH)"}


def test_a_blow_every_other_turn_of_a_shaft_is_anothers_that_turns_half_as_fast() -> None:
    """The pair 25/50 drives shaft III; its broken tooth passes at every second turn of shaft II."""
    listened, passing = heard(0.0, 0.1, "B2", shaft="III"), {"II": 0, "III": 0}
    for number, take in enumerate(listened.takes):
        for name in passing if "B2" in take.label else ():
            key = rate_key("knock", number, take.turning_ratios()[name])
            passing[name] += len(listened.knocks.own([key]))
            assert listened.knocks.knocks[key].lead > 2.0
    assert passing == {"II": 0, "III": 4}
