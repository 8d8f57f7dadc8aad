"""Knock readings of a whole sweep: every rate that turns, in every take."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from vibecheck.diagnosis.chance.scales import SizeLaw
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.diagnosis.readings.knocks import Knock, knock

KNOCK_LAW = SizeLaw(
    healthy=0.50,
    healthy_spread=0.35,
    faulty=3.5,
    faulty_spread=0.75,
    shape=3.0,
    lively_share=2e-2,
)
"""Lead of the loudest part of a turn over the runner-up, in standard deviations. Were parts and
turns Gaussian it would average about 0.4 for any healthy rotor; teeth are livelier than that. A
rotor twice as fast knocks twice in this one's turn, so that its runner-up is as loud. A few sound
gears have one tooth that stands proud and breaks nothing (judgement)."""
LOCKED = 0.3
"""Two rotors are in step when they slip less than this part of a turn during the take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnockReadings:
    """All knocks measured, and what they mean to each other.

    ``knocks`` maps key to the measurement; ``rows`` rotor to its keys; ``leaks`` key to the keys of
    rates in a simple ratio, which the same knock would raise a little.
    """

    knocks: Mapping[Key, Knock]
    rows: Mapping[str, tuple[Key, ...]]
    leaks: Mapping[Key, tuple[Key, ...]]

    def own(self, claims: Iterable[Key]) -> list[Knock]:
        """Knocks of those keys that no rate in step with theirs has more plainly: a blow every
        other turn of a shaft is another's that turns half as fast."""
        return [
            self.knocks[key]
            for key in claims
            if key in self.knocks and self.knocks[key].lead >= self._in_step_lead(key)
        ]

    def _in_step_lead(self, key: Key) -> float:
        others = [self.knocks[k].lead for k in self.leaks.get(key, ()) if k in self.knocks]
        return max(others, default=0.0)


def knock_readings(takes: Sequence[Heard]) -> KnockReadings:
    """Listen for once-a-turn knocks at every rotor's rate in every take."""
    knocks: dict[Key, Knock] = {}
    rows: dict[str, list[Key]] = {}
    leaks: dict[Key, tuple[Key, ...]] = {}
    for number, take in enumerate(takes):
        rates = _rates(take)
        for ratio, rotor in rates.items():
            key = rate_key("knock", number, ratio)
            found = knock(take, ratio)
            if found is None:
                continue
            knocks[key] = found
            rows.setdefault(rotor, []).append(key)
            leaks[key] = tuple(
                rate_key("knock", number, other)
                for other in rates
                if other != ratio and _in_step(other / ratio, ratio * take.turns)
            )
    return KnockReadings(
        knocks=knocks,
        rows={rotor: tuple(keys) for rotor, keys in rows.items()},
        leaks=leaks,
    )


def _rates(take: Heard) -> dict[float, str]:
    """Different rates in a take, with the first rotor that turns at each."""
    rates: dict[float, str] = {}
    for rotor in take.rotors():
        known = next((r for r in rates if abs(r / rotor.ratio - 1) * take.turns < LOCKED), None)
        if known is None:
            rates[rotor.ratio] = rotor.name
    return rates


def _in_step(ratio: float, turns: float) -> bool:
    """Whether two rates are in a ratio of small whole numbers for the length of the take."""
    return any(abs(ratio - p / q) * turns < LOCKED for p in (1, 2, 3, 4) for q in (1, 2, 3, 4))
