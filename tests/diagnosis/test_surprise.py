"""Decoys of bearing families: where nothing is due, nor a sideband of what is."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.chance.added_up import STEP
from vibecheck.diagnosis.chance.surprise import free_places

TRIAL = 5.97 * np.exp(np.arange(-0.3, 0.3, STEP))


def test_sidebands_of_what_may_be_found_are_no_decoys() -> None:
    """An inner race of order 5.97 has sidebands at 4.97 and 6.97, each with its own beside it."""
    flanks = (4.97, 6.97, 3.97, 7.97)
    free = free_places(TRIAL, [5.97], flanks=flanks)
    plain = free_places(TRIAL, [5.97])
    for flank in flanks[:2]:
        near = np.abs(TRIAL / flank - 1.0) < 0.01
        assert plain[near & (np.abs(TRIAL - np.rint(TRIAL)) > 0.02)].all()
        assert not free[near].any()
    assert free.sum() > 0.5 * plain.sum()


def test_decoys_are_never_lost_to_sidebands() -> None:
    """So many sidebands that nothing is left: they are decoys again rather than have none."""
    everywhere = tuple(np.linspace(4.0, 8.5, 200))
    assert np.array_equal(free_places(TRIAL, [5.97], flanks=everywhere), free_places(TRIAL, [5.97]))
