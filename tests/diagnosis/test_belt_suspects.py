"""What a belt's evidence is worth: little below a third, much above a half."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.suspects.belts import EVEN_ODDS, THROB_SAYS, _borne_out


def test_what_speaks_for_a_belt_speaks_louder_and_what_hardly_does_hardly() -> None:
    told = [_borne_out(odds) for odds in (0.0, 4.0, EVEN_ODDS, 5.8, 6.4)]
    assert told == sorted(told)
    assert told[1] < 3.0
    assert told[2] == pytest.approx(EVEN_ODDS)
    assert told[4] > 7.5


def test_no_belt_is_surer_than_throbbing_makes_it() -> None:
    assert _borne_out(9.5) == THROB_SAYS
    assert _borne_out(-4.0) == -4.0
