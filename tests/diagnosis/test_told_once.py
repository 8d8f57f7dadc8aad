"""A part is told once of one fault, however many ways led to it."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.findings import Finding, verdict_for
from vibecheck.diagnosis.sweep import _told

WORN = "bearing worn, race not known"


def found(*parts: str, fault: str = WORN) -> Finding:
    return Finding(
        part=parts[0], parts=parts, fault=fault, verdict=verdict_for(0.88), probability=0.88
    )


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (found("spindle rear"), True),
        (found("spindle rear", "spindle front"), True),
        (found("spindle rear", "II rear"), False),
        (found("spindle rear", fault="outer race"), False),
    ],
    ids=["one of them", "the same two", "another beside", "another fault"],
)
def test_what_another_finding_says_is_not_said_again(more: Finding, told: bool) -> None:
    assert _told(more, [found("I rear"), found("spindle front", "spindle rear")]) is told
