"""What is told of a belt's own tone: its rate, and on several steps from which to which."""

from __future__ import annotations

import numpy as np
import pytest

from vibecheck.diagnosis.readings.belts import BeltScore
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.verdicts.finding_case import Case
from vibecheck.diagnosis.verdicts.finding_evidence import _belt_facts
from vibecheck.report.words import sentence


@pytest.mark.parametrize(
    ("hz", "told"),
    [
        ((6.98, 6.97, 6.99, np.nan), "A bump at 6.98 Hz, the rate at which V-belt goes round."),
        (
            (6.48, 8.91, 10.81, 13.02),
            "A bump at 6.48 Hz to 13.02 Hz, the rate at which V-belt goes round.",
        ),
    ],
    ids=["one step", "four steps"],
)
def test_the_rate_of_a_belt_is_told_of_every_step(hz: tuple[float, ...], told: str) -> None:
    score = BeltScore(
        belt="V-belt",
        steps=("V-belt",),
        log10_chance=-9.0,
        hz=np.array(hz),
        surprise=np.full(len(hz), 5.0),
        clear=1.0,
        level_db=6.0,
        resolution_hz=0.1,
    )
    suspect = Suspect(
        parts=("V-belt",),
        part_kind="belt",
        fault="lumpy or set belt",
        prior=5e-3,
        detail={"score": score},
    )
    case = Case.__new__(Case)
    facts = _belt_facts(case, suspect, [], [])
    assert sentence(facts[0]) == told
