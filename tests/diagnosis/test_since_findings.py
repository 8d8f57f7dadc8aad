"""What a sweep tells by itself, joined to what has risen since a baseline."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import pytest

from vibecheck.diagnosis.findings import Finding, fact
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.since.changes import Changes
from vibecheck.diagnosis.since.findings import with_changes
from vibecheck.diagnosis.since.groups import Group, Member
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature
from vibecheck.diagnosis.since.sizes import STRIKES, TOOTH_SIZES
from vibecheck.diagnosis.since.weighed import Weighed

HEARD = cast(
    Listened, SimpleNamespace(takes=(), machine=SimpleNamespace(spindle="spindle", positions=()))
)
TOOTH = Signature(
    parts=("40T",),
    part_kind="gear",
    fault="broken or damaged tooth",
    rotor="II",
    raises={(what, "40T"): size for what, size in TOOTH_SIZES.items()},
)
RACE = Signature(
    parts=("front",),
    part_kind="bearing",
    fault="outer race",
    rotor="spindle",
    element="outer",
    raises={("outer", "front"): STRIKES},
)


def told(part: str, kind: str, fault: str, probability: float) -> Finding:
    return Finding(
        part=part,
        parts=(part,),
        part_kind=kind,
        fault=fault,
        verdict="shown",
        probability=probability,
        evidence=(fact("one_take_only"),),
    )


def changes(blow: float, outer: float, *named: Signature, places: int = 6) -> Changes:
    """Rises of a tooth's blow and of an outer race, and which of them is named."""
    moved = {("blow", "40T"): blow, ("sides", "40T"): 0.0, ("outer", "front"): outer}
    found = {
        trace: Rise(db=db, scatter_db=1.0, now_db=12.0, by_place={("A1", "idle"): db})
        for trace, db in moved.items()
    }
    members = [
        Member(
            signature=each,
            probability=0.95,
            touches=frozenset(each.raises),
            places=places,
            of=places,
        )
        for each in named
    ]
    return Changes(
        found=found,
        moved=moved,
        weighed=tuple(Weighed(signature=s, probability=0.5, log_odds=0.0) for s in (TOOTH, RACE)),
        groups=tuple(Group(members=(member,)) for member in members),
        places=("A1",),
    )


def by_part(findings: list[Finding]) -> dict[str, Finding]:
    return {finding.part: finding for finding in findings}


def test_both_say_the_same_and_the_surer_counts() -> None:
    tooth = told("40T", "gear", "broken or damaged tooth", 0.99)
    [one] = with_changes([tooth], changes(12.0, 0.0, TOOTH), HEARD)
    assert one.probability == pytest.approx(0.99)
    assert {"risen", "one_take_only"} <= {each.kind for each in one.evidence}


@pytest.mark.parametrize(("places", "verdict"), [(2, "possible"), (3, "likely")])
def test_one_or_two_positions_make_nothing_likely(places: int, verdict: str) -> None:
    [one] = with_changes([], changes(12.0, 0.0, TOOTH, places=places), HEARD)
    assert one.verdict == verdict


def test_what_was_so_before_is_possible_and_said_to_have_been_so() -> None:
    tooth = told("40T", "gear", "broken or damaged tooth", 0.99)
    [one] = with_changes([tooth], changes(0.2, 0.0), HEARD)
    assert one.verdict == "possible"
    assert "as_when_sound" in [each.kind for each in one.evidence]


def test_what_was_no_more_than_possible_before_is_not_spoken_of() -> None:
    tooth = told("40T", "gear", "broken or damaged tooth", 0.5)
    assert with_changes([tooth], changes(0.2, 0.0), HEARD) == []


def test_what_has_risen_is_never_said_to_have_been_so_before() -> None:
    tooth = told("40T", "gear", "broken or damaged tooth", 0.99)
    kept = by_part(with_changes([tooth], changes(9.0, 14.0, RACE), HEARD))
    assert "as_when_sound" not in [each.kind for each in kept["40T"].evidence]
    assert kept["40T"].verdict == "possible"
    assert kept["front"].verdict == "likely"
    [alone] = with_changes([tooth], changes(9.0, 0.0), HEARD)
    assert alone.probability == pytest.approx(0.99)


def test_what_the_baseline_cannot_tell_of_stays_as_it_was() -> None:
    other = told("IV", "shaft", "imbalance", 0.9)
    assert with_changes([other], changes(0.0, 0.0), HEARD) == [other]


def test_what_has_risen_decides_which_of_several_parts_it_is() -> None:
    """A sweep cannot part a loose shaft from a tooth on it; the comparison can, and is believed."""
    loose = Signature(
        parts=("II",), part_kind="shaft", fault="loose on its shaft or in its seat", rotor="II"
    )
    open_ones = replace(told("II", "shaft", loose.fault, 0.99), parts=("II", "40T"))
    compared = changes(8.0, 0.0, TOOTH, loose)
    tooth, shaft = compared.groups
    compared = replace(
        compared,
        groups=(tooth, Group(members=(replace(shaft.lead, probability=0.35),))),
    )
    said = by_part(with_changes([open_ones], compared, HEARD))
    assert said["40T"].probability == pytest.approx(0.95)
    assert said["II"].probability == pytest.approx(0.35)


def test_where_sweep_and_comparison_name_one_gear_otherwise_that_is_open() -> None:
    """Both are likely to be right that it is the gear; one says a tooth, the other that it is
    loose."""
    loose = replace(TOOTH, fault="loose on its shaft or in its seat")
    tooth = told("40T", "gear", "broken or damaged tooth", 0.99)
    [one] = with_changes([tooth], changes(9.0, 0.0, loose), HEARD)
    assert (one.part, one.fault) == ("40T", "gear worn, damaged or loose")
    assert one.probability == pytest.approx(0.99)
    possible = told("40T", "gear", "broken or damaged tooth", 0.6)
    kept = with_changes([possible], changes(9.0, 0.0, loose), HEARD)
    assert {each.fault for each in kept} == {loose.fault, possible.fault}
