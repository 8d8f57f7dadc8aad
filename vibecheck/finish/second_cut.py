"""Which cut to take next so that the marks tell the remaining causes apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vibecheck.finish.cuts import apart
from vibecheck.finish.marks import USEFUL_FRACTION, Cut
from vibecheck.finish.prediction import Prediction, predict

READING_ERROR = 0.04
"""Error in waves a turn that a careful count and measurement leaves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondCut:
    """A cut worth taking.

    Attributes
    ----------
    cut : Cut
        Speed, feed and lever position.
    groups : tuple of tuple of str
        Suspects that would still look alike after it; one group each is best.
    expected : mapping of str to Prediction
        What each suspect would leave.
    """

    cut: Cut
    groups: tuple[tuple[str, ...], ...]
    expected: Mapping[str, Prediction]


def second_cut(
    options: Sequence[tuple[Cut, Mapping[str, float]]], taken: Sequence[Cut] = ()
) -> SecondCut | None:
    """The option that splits the suspects into most groups.

    Parameters
    ----------
    options : sequence of (Cut, mapping of str to float)
        Cuts that could be taken, each with the tone in hertz every suspect would make there.
    taken : sequence of Cut
        Cuts already taken; they are not offered again.

    Returns
    -------
    SecondCut or None
        None when no option tells any two suspects apart. Cuts so slow that the fraction would
        mean nothing, and suspects too high for a cut, count as not told apart. Among equals the
        one with the fewest crests to count.
    """
    best: SecondCut | None = None
    for cut, tones in options:
        if any(_same(cut, done) for done in taken) or len(tones) < 2:
            continue
        found = _try(cut, tones)
        if len(found.groups) < 2:
            continue
        if best is None or _merit(found) > _merit(best):
            best = found
    return best


def _try(cut: Cut, tones: Mapping[str, float]) -> SecondCut:
    expected = {name: predict(hz, cut) for name, hz in tones.items()}
    blurred = tuple(n for n, p in expected.items() if p.waves_uncertainty > USEFUL_FRACTION)
    clear = {
        name: (p.waves, max(READING_ERROR, p.waves_uncertainty))
        for name, p in expected.items()
        if name not in blurred
    }
    groups = apart(clear)
    if blurred:  # they might look like anything
        groups = (tuple(name for group in groups[:1] for name in group) + blurred, *groups[1:])
    return SecondCut(cut=cut, groups=groups, expected=expected)


def _merit(found: SecondCut) -> tuple[int, float]:
    return len(found.groups), -max(p.waves for p in found.expected.values())


def _same(one: Cut, other: Cut) -> bool:
    return abs(one.rpm / other.rpm - 1) < 0.02 and abs(one.feed_mm / other.feed_mm - 1) < 0.02
