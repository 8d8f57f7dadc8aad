"""What a gear's swelling says: less where it swells now more, now less."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.chance.standing_out import Excess
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.suspects.swells import SAYS, swell_suspects


def said(*shares: float, log_odds: float = 4.0, over: float = 2.0) -> float:
    """Evidence against a gear whose side lines are these shares of its mesh in as many takes."""
    swell = Swell(
        gear="62T",
        rotor="III",
        shares=dict(enumerate(shares)),
        share=sorted(shares)[len(shares) // 2],
        excess=Excess(over=over, spread=0.6, readings=12),
        log_odds=log_odds,
    )
    (suspect,) = swell_suspects([swell])
    return suspect.evidence


def test_a_gear_that_swells_alike_in_all_takes_is_believed_more_than_one_that_does_not() -> None:
    even, lively = said(0.9, 0.95, 1.0, 1.05), said(0.7, 0.9, 1.1, 1.9)
    assert even > lively + 1.0
    assert said(0.85, 0.95, 1.0, 1.1) == even
    assert even > said(0.8, 0.95, 1.0, 1.25)
    assert said(1.0, 1.01) == said(0.9, 1.1)


def test_a_gear_that_swells_in_some_takes_only_is_hardly_believed() -> None:
    assert said(0.25, 0.9, 0.4, 1.8) < said(0.9, 1.0, 1.0, 1.0) - 2.0


@pytest.mark.parametrize(("shares", "most"), [((1.0,), 4.0), ((1.0,) * 5, SAYS)])
def test_a_lone_take_says_little_and_many_never_more_than_likely(
    shares: tuple[float, ...], most: float
) -> None:
    assert said(*shares, log_odds=9.0) == most
