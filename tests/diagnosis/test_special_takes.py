"""What a take in neutral, in reverse or with the chuck off does to a finding."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from story_sounds import RATE_HZ, Strikes, Voice, sound

from vibecheck.diagnosis.findings import Diagnosis, Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.readings.listened import Listened, listen
from vibecheck.diagnosis.verdicts import special_takes
from vibecheck.diagnosis.verdicts.special_takes import with_specials
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.parts import Machine, Position
from vibecheck.pipeline import diagnose, positions_of
from vibecheck.recording import Recording, Take, TakeKind

HERE = "A1 B2 CH"
KNOCKS = Strikes(rotor="III", height=0.25, when={"B": "2"})
Swept = tuple[Machine, Listened, Diagnosis]


def take(samples: np.ndarray, label: str, kind: TakeKind = "idle") -> Take:
    made = Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, name=f"{label} {kind}")
    return Take(recording=made, position=label, kind=kind)


def swept(machine: Machine, takes: list[Take]) -> Swept:
    heard = listen(machine, positions_of(machine), takes, lambda what, share: None)
    return machine, heard, diagnose(machine, takes)


@pytest.fixture(scope="module")
def knocking() -> Swept:
    """The 50-tooth gear of shaft III knocks, at six positions."""
    machine = read_machine("lathe-8-speed")
    voice = Voice(seed=4, strikes=[KNOCKS])
    labels = [place.label for place in machine.positions][:6]
    takes = [
        take(sound(machine, label, voice, seconds=8.0, take=n)[0], label)
        for n, label in enumerate(labels)
    ]
    return swept(machine, takes)


def told(scene: Swept, special: Take) -> tuple[Finding, Finding | None]:
    """The likeliest finding before and after one special take."""
    _, heard, diagnosis = scene
    before = diagnosis.findings[0]
    after, _ = with_specials(heard, diagnosis.findings, [special])
    return before, next((f for f in after if f.part == before.part), None)


def in_neutral(machine: Machine, *strikes: Strikes) -> Take:
    place = Position(levers={**machine.position(HERE).levers, "C": "0"})
    standing = replace(machine, spindle="motor", positions=(place,))
    voice = Voice(seed=4, strikes=strikes)
    return take(sound(standing, place.label, voice, seconds=8.0, take=77)[0], HERE, "neutral")


def kinds(finding: Finding) -> set[str]:
    return {fact.kind for fact in (*finding.evidence, *finding.ruled_out)}


def test_a_knock_that_stays_in_neutral_lies_before_that_lever(knocking: Swept) -> None:
    before, after = told(knocking, in_neutral(knocking[0], replace(KNOCKS, when={})))
    assert after is not None
    assert before.part == "50T (B2, III)"
    assert "still_in_neutral" in kinds(after)
    assert after.probability >= min(before.probability, 0.99)


def test_a_knock_gone_in_reverse_was_one_flank(knocking: Swept) -> None:
    machine = knocking[0]
    quiet = sound(machine, HERE, Voice(seed=4), seconds=8.0, take=78)[0]
    _, after = told(knocking, take(quiet, HERE, "reverse"))
    assert after is not None
    assert "gone_in_reverse" in kinds(after)


def test_a_knock_that_is_the_same_in_reverse_is_said_to_be(knocking: Swept) -> None:
    machine = knocking[0]
    same = sound(machine, HERE, Voice(seed=4, strikes=[KNOCKS]), seconds=8.0, take=80)[0]
    _, after = told(knocking, take(same, HERE, "reverse"))
    assert after is not None
    assert "same_in_reverse" in kinds(after)


def with_push(machine: Machine, label: str, number: int, push: float) -> np.ndarray:
    """A push once a turn of the spindle that grows with the square of speed."""
    voice = Voice(seed=4, uneven=0.0, drift=0.0)
    samples, speeds = sound(machine, label, voice, seconds=8.0, take=number)
    hz = speeds["spindle"]
    time = np.arange(samples.size) / RATE_HZ
    return samples + push * (hz / 15) ** 2 * np.cos(2 * np.pi * hz * time)


@pytest.fixture(scope="module")
def pushing() -> Swept:
    machine = read_machine("lathe-8-speed")
    labels = [place.label for place in machine.positions]
    takes = [take(with_push(machine, label, n, 0.1), label) for n, label in enumerate(labels)]
    return swept(machine, takes)


@pytest.mark.parametrize(
    ("push", "kind"), [(0.0, "gone_with_chuck_off"), (0.1, "still_there_without")]
)
def test_what_is_gone_with_the_chuck_off_was_the_chucks(
    pushing: Swept, push: float, kind: str
) -> None:
    off = take(with_push(pushing[0], "A1 B1 CH", 90, push), "A1 B1 CH", "chuck off")
    before, after = told(pushing, off)
    assert (before.part, before.fault) == ("spindle", "imbalance")
    assert after is not None
    assert kind in kinds(after)


@pytest.mark.parametrize(
    ("held", "least", "most"),
    [
        (fact("bearing_shallow", depth=20.0), 0.5, 0.5),
        (fact("belt_may_be_sound"), 0.6, 0.84),
        (fact("belt_rate", low_hz=6.5, high_hz=None, belt="V-belt"), 0.85, 0.995),
    ],
    ids=["a bearing that may be sound", "a belt that may be sound", "neither"],
)
def test_a_take_that_says_whose_sound_it_is_makes_no_sound_part_a_bad_one(
    knocking: Swept, held: Fact, least: float, most: float
) -> None:
    _, _, diagnosis = knocking
    found = replace(
        diagnosis.findings[0], probability=0.5, verdict=verdict_for(0.5), evidence=(held,)
    )
    upheld = special_takes.told(found, special_takes.MUCH)
    assert least <= upheld.probability <= most
    assert special_takes.told(found, 1.0 / special_takes.MUCH).probability < 0.2
