"""Teeth counted again: which count near the table's fits the takes that use a pair best.

Everything ahead of a pair pins its driver's speed; the pair's own tooth tone over that speed is the
driver's count, and what turns behind the pair gives the ratio.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.found import SweepSpeeds
from vibecheck.diagnosis.speeds.track import SpeedTrack, order_significance
from vibecheck.diagnosis.speeds.trial_fits import TrialFits, some_of
from vibecheck.machine.missing_teeth import with_counts
from vibecheck.machine.parts import Machine, Mesh
from vibecheck.machine.train import Turning

Pair = tuple[int, int]
Numbers = NDArray[np.float64]

POOR = 0.70
"""Takes that use a pair are suspicious when their lines reach less than this of the others'."""
CLEAR_GAIN, GAIN_SHARE = 6.0, 0.5
"""Mean summed log power by which other counts must beat the table's, take by take; and the least of
it over what the table's have themselves, where those fit beyond doubt: counts of about the same
ratio share most of the lines."""
AS_GOOD = 0.80
SURE = 5.0
MOST_PAIRS = 3
CLEARLY_RIGHT = 8.0
"""Standard deviations at which the sound upholds the table against a speed somebody stated."""
REACH = 3
HARMONICS = np.arange(1, 5)
LEAD, LEAD_IN_TAKE = 2.0, 0.5
"""Log power, mean over harmonics, by which another count of the driver must lead the table's; a
sideband of the true tone lies at a neighbouring count too, but its double does not."""
SHARE = 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class Recount:
    """Other counts for one pair; ``weight`` is how much better they fit, over all takes."""

    pair: str
    counted: Pair
    candidates: tuple[Pair, ...]
    weight: float


class Recounting:
    """Holds takes against the table and against tables with one pair changed."""

    def __init__(
        self,
        machine: Machine,
        turnings: Mapping[str, Turning],
        takes: Sequence[Ready],
        speeds: SweepSpeeds,
    ) -> None:
        self.machine, self.takes, self.speeds = machine, takes, speeds
        self.trials = TrialFits(takes=takes, scale=speeds.scale)
        self.users: dict[str, list[int]] = {}
        for number, take in enumerate(takes):
            here = turnings.get(take.take.position or "")
            for work in here.meshes if here else ():
                if work.loaded and work.driver_teeth and work.driven_teeth:
                    self.users.setdefault(work.name, []).append(number)

    def upholds(self, pair: str) -> bool:
        """Whether most takes that use a pair fit the table as filed beyond doubt."""
        numbers = self.users.get(pair, [])
        usual = self._usual(numbers)
        fine = [
            n
            for n in numbers
            if self.speeds.takes[n].found
            and not self.speeds.takes[n].misfiled
            and self.speeds.takes[n].sureness >= CLEARLY_RIGHT
            and self.speeds.takes[n].support >= AS_GOOD * usual
        ]
        return bool(numbers) and usual > 0 and len(fine) > 0.6 * len(numbers)

    def best(self) -> tuple[Recount, ...]:
        """The pair whose neighbouring counts clearly fit better, if any.

        More than one where the sound leaves it open which of two pairs is wrong.
        """
        if self.speeds.scale_sureness <= 0.0:
            return ()
        scanned = self._scanned()
        pairs = list(dict.fromkeys([*scanned, *self._badly_fitting()]))[:MOST_PAIRS]
        found = [self.recount(pair, scanned.get(pair)) for pair in pairs]
        best = max((f for f in found if f), key=lambda f: f.weight, default=None)
        return () if best is None else (best, *self._instead(best))

    def _instead(self, recount: Recount) -> list[Recount]:
        """Pairs of the same lever that may be wrong instead, at another speed of their driver.

        A driver's count alone and the speed of its shaft stand for one another: with a belt ahead,
        two settings of one lever cannot outvote each other. A third that fits decides.
        """
        (one, other), (first, second) = recount.counted, recount.candidates[0]
        if other != second or one == first:
            return []
        mesh = self._mesh(recount.pair)
        siblings = [
            m
            for m in self.machine.meshes
            if m.name != recount.pair and m.name in self.users and m.when.keys() == mesh.when.keys()
        ]
        found = []
        for sibling in siblings:
            teeth = _teeth(self.machine, sibling)
            instead = round(teeth[0] * one / first)
            fits = abs(teeth[0] * one / first - instead) < 0.2 and instead != teeth[0]
            third = any(self._heard_as_filed(m.name) for m in siblings if m is not sibling)
            same_shaft = self._shaft(sibling) == self._shaft(mesh)
            if fits and same_shaft and not third:
                found.append(
                    Recount(
                        pair=sibling.name,
                        counted=teeth,
                        candidates=((instead, teeth[1]),),
                        weight=recount.weight,
                    )
                )
        return found

    def _heard_as_filed(self, pair: str) -> bool:
        speeds = [self.speeds.takes[n] for n in self.users[pair]]
        return any(speed.found and not speed.misfiled for speed in speeds)

    def _mesh(self, pair: str) -> Mesh:
        return next(m for m in self.machine.meshes if m.name == pair)

    def _shaft(self, mesh: Mesh) -> str:
        return self.machine.gear(mesh.driver).shaft

    def recount(self, pair: str, driver_teeth: int | None) -> Recount | None:
        """Other counts that fit a pair's takes clearly better than the table's.

        ``driver_teeth`` is the driver's count when its tooth tone already tells it.
        """
        mesh = self._mesh(pair)
        counted = _teeth(self.machine, mesh)
        numbers = some_of(self.users[pair])
        plain = self._fits(self.machine, numbers)
        needed = self._needed(plain) if driver_teeth is None else 0.0
        gains: dict[Pair, float] = {}
        for trial in neighbours(counted):
            if driver_teeth not in (None, trial[0]):
                continue
            counts = dict(zip((mesh.driver, mesh.driven), trial, strict=True))
            fits = self._fits(with_counts(self.machine, counts), numbers)
            better = np.array([f[1] - p[1] for f, p in zip(fits, plain, strict=True)])
            good = [f[0] >= SURE and f[1] >= AS_GOOD * self._usual(numbers) for f in fits]
            if np.mean(good) >= SHARE and np.mean(better > 0) >= SHARE:
                gains[trial] = float(np.mean(better))
        top = max(gains.values(), default=-1.0)
        if top < needed:
            return None
        near = [t for t, gain in gains.items() if gain > top - 0.25 * CLEAR_GAIN]
        near.sort(key=lambda t: (sum(t) != sum(counted), -gains[t]))
        return Recount(
            pair=pair,
            counted=counted,
            candidates=tuple(near),
            weight=top * len(self.users[pair]),
        )

    def _needed(self, plain: Sequence[tuple[float, float]]) -> float:
        """Gain that other counts must have, by the (sureness, support) of the table's."""
        if np.mean([sureness >= CLEARLY_RIGHT for sureness, _ in plain]) <= 0.6:
            return CLEAR_GAIN
        return max(CLEAR_GAIN, GAIN_SHARE * float(np.mean([support for _, support in plain])))

    def _usual(self, numbers: Sequence[int]) -> float:
        """Support of the takes that do not use a pair."""
        others = [
            speed.support
            for n, speed in enumerate(self.speeds.takes)
            if n not in numbers and speed.found
        ]
        return float(np.median(others)) if len(others) > 1 else 0.0

    def _badly_fitting(self) -> list[str]:
        """Pairs whose takes fit worse than the rest, the worst first."""
        found = []
        for pair, numbers in self.users.items():
            usual = self._usual(numbers)
            own = float(np.median([self.speeds.takes[n].support for n in numbers]))
            if len(numbers) > 1 and usual > 0 and own < POOR * usual:
                found.append((own / usual, pair))
        return [pair for _, pair in sorted(found)]

    def _scanned(self) -> dict[str, int]:
        """Pairs whose driver sounds like another count in nearly every take -> that count."""
        rows: dict[str, list[Numbers]] = {}
        for take, speed in zip(self.takes, self.speeds.takes, strict=True):
            if speed.found and speed.turning is not None and not speed.misfiled:
                for name, heights in _tooth_scan(take, speed.turning, speed.tracks).items():
                    rows.setdefault(name, []).append(heights)
        found = {}
        for name, each in rows.items():
            mean = np.mean(each, axis=0)
            best = int(mean.argmax())
            leads = np.array([row[best] - row[REACH] for row in each])
            rival = max(mean[REACH], mean[2 * REACH - best])
            sure = mean[best] - rival > LEAD and np.mean(leads > LEAD_IN_TAKE) >= SHARE
            if best != REACH and sure and len(each) > 1:
                mesh = self._mesh(name)
                found[name] = _teeth(self.machine, mesh)[0] + best - REACH
        return found

    def _fits(self, machine: Machine, numbers: Sequence[int]) -> list[tuple[float, float]]:
        return [self.trials.fit(machine, number) for number in numbers]


def _tooth_scan(take: Ready, here: Turning, tracks: Mapping[str, SpeedTrack]) -> dict[str, Numbers]:
    """Mean log power of the first harmonics at each count of the driver near the table's."""
    found = {}
    for group, track in tracks.items():
        heard = order_significance(take.slow, take.slow_hz, track, take.top_hz / track.mean_hz)
        for work in here.meshes:
            if not work.loaded or work.group != group or not work.driver_teeth:
                continue
            ratio = here.rotors[work.driver].ratio
            counts = work.driver_teeth + np.arange(-REACH, REACH + 1)
            places = (HARMONICS[:, np.newaxis] * counts * ratio).ravel().astype(np.float64)
            heights = np.minimum(np.log1p(heard.peaks_at(places)), 6.0)
            found[work.name] = heights.reshape(HARMONICS.size, -1).mean(axis=0).astype(float)
    return found


def neighbours(counted: Pair) -> list[Pair]:
    """Counts a slip of the pen or of a finger would make: same sum first, then one tooth more.

    >>> neighbours((44, 40))[:3], (44, 41) in neighbours((44, 40))
    ([(43, 41), (45, 39), (42, 42)], True)
    """
    one, other = counted
    same = [(one + k, other - k) for k in (-1, 1, -2, 2, -3, 3)]
    apart = [(one + a, other + b) for a in (-2, -1, 0, 1, 2) for b in (-1, 0, 1) if a + b]
    return [trial for trial in same + apart if min(trial) > 5]


def _teeth(machine: Machine, mesh: Mesh) -> Pair:
    values = [machine.gear(name).teeth.value or 0.0 for name in (mesh.driver, mesh.driven)]
    return round(values[0]), round(values[1])
