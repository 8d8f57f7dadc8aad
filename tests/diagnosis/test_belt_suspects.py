"""What a belt's evidence is worth: little below a third, much above a half."""

from __future__ import annotations

import numpy as np
import pytest

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.belts import BeltScore
from vibecheck.diagnosis.suspects.belts import EVEN_ODDS, THROB_SAYS, _borne_out, _rumbles

PRIOR = fault("lumpy or set belt").prior


def test_what_speaks_for_a_belt_speaks_louder_and_what_hardly_does_hardly() -> None:
    told = [_borne_out(odds) for odds in (0.0, 4.0, EVEN_ODDS, 5.8, 6.4)]
    assert told == sorted(told)
    assert told[1] < 3.0
    assert told[2] == pytest.approx(EVEN_ODDS)
    assert told[4] > 7.5


def test_no_belt_is_surer_than_throbbing_makes_it() -> None:
    assert _borne_out(9.5) == THROB_SAYS
    assert _borne_out(-4.0) == -4.0


def belt(
    level_db: float, *, higher: float, log10_chance: float = -11.0, of_all_db: float = -30.0
) -> BeltScore:
    """A belt heard in six takes beyond all chance."""
    return BeltScore(
        belt="V-belt",
        log10_chance=log10_chance,
        hz=np.full(6, 6.5),
        surprise=np.full(6, 6.0),
        clear=1.0,
        level_db=level_db,
        higher=higher,
        of_all_db=of_all_db,
        resolution_hz=0.1,
    )


def test_a_belt_loud_beside_pulleys_that_run_true_is_not_lumpy_for_that() -> None:
    assert _rumbles(belt(20.0, higher=0.0)) < EVEN_ODDS < _rumbles(belt(20.0, higher=1.0))


def test_a_blunt_belt_that_is_much_of_all_that_is_heard_is_spoken_of() -> None:
    assert _rumbles(belt(20.0, higher=0.0, of_all_db=-7.0)) > EVEN_ODDS


def test_a_short_lump_is_told_by_its_many_multiples_though_it_is_not_loud() -> None:
    assert _rumbles(belt(-15.0, higher=0.2)) < 0.0
    assert _rumbles(belt(8.0, higher=1.0)) > EVEN_ODDS + 0.3


@pytest.mark.parametrize(("level_db", "most"), [(-15.0, 0.25), (20.0, 0.84)])
def test_many_multiples_alone_never_make_a_belt_likely(level_db: float, most: float) -> None:
    log_odds = _borne_out(_rumbles(belt(level_db, higher=1.0))) + np.log(PRIOR)
    assert 1.0 / (1.0 + np.exp(-log_odds)) < most


def test_what_chance_makes_now_and_then_is_no_lump() -> None:
    assert _rumbles(belt(-15.0, higher=1.0, log10_chance=-4.0)) < EVEN_ODDS - 2.0
