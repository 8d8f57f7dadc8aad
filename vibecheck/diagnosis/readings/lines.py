"""Lines of the sound itself against shaft angle: meshes with their sidebands, once-a-turn tones."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.speeds.track import by_angle
from vibecheck.machine.train import MeshAtWork
from vibecheck.spectra.envelope import EnvelopeSpectrum
from vibecheck.spectra.spectrum import Spectrum

Numbers = NDArray[np.float64]

FEWEST_LINES = 3
"""A row of lines says nothing when fewer of them are free of other parts' lines."""
MOST_MULTIPLES = 40
NEAR_HUM = 0.006
"""A tone this near a multiple of the mains cannot be told from hum: a drifting track smears it."""
BELT_SLIP = 0.03
"""A shaft behind a belt turns within this of its computed speed."""
BELT_RATE, BELT_TURNS, BELT_MULTIPLES = 0.01, 2, 8
"""How nearly a belt's own rate is known, and how many of its multiples may pass for a shaft's tone,
and for half turns of one."""
HEARD_FOR_SURE = 15.0
"""Power over floor that no noise reaches."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineSpectrum:
    """Power of the sound at every order of the track, and its local floor.

    ``power[i]`` is the mean square of a tone at ``i / turns`` orders; ``floor`` is what noise alone
    averages there.
    """

    power: Numbers
    floor: Numbers
    turns: float
    base_hz: float

    @property
    def top_order(self) -> float:
        """Highest order held."""
        return float((self.power.size - 2) / self.turns)

    def index(self, order: float) -> int:
        """Strongest of the three bins about an order."""
        middle = round(order * self.turns)
        if not 1 <= middle < self.power.size - 1:
            return 0
        return middle - 1 + int(np.argmax(self.power[middle - 1 : middle + 2]))

    def tone(self, order: float) -> tuple[float, float]:
        """(mean square above the floor, power over floor) of the line at an order; 0, 0 outside."""
        k = self.index(order)
        if k == 0:
            return 0.0, 0.0
        level = float(self.floor[k])
        return max(0.0, float(self.power[k]) - level), float(self.power[k] / max(level, 1e-30))


def line_spectrum(take: Heard) -> LineSpectrum:
    """Spectrum of a take on the angle of its track, one transform, Hann."""
    ready = take.ready
    top_order = ready.top_hz / take.base_hz
    per_turn = int(np.ceil(2.2 * top_order)) + 2
    oversampled = max(per_turn, int(ready.slow_hz / take.base_hz))
    angle = by_angle(ready.slow, ready.slow_hz, take.track, oversampled)
    taper = np.hanning(angle.size).astype(np.float32)
    size = scipy.fft.next_fast_len(angle.size, real=True)
    lines = scipy.fft.rfft(angle * taper, n=size)
    power = 2.0 * np.abs(lines).astype(np.float64) ** 2 / float(taper.sum(dtype=np.float64)) ** 2
    turns = size / oversampled
    power = power[: min(power.size, int(top_order * turns) + 2)]
    return LineSpectrum(power=power, floor=_floor(power), turns=turns, base_hz=take.base_hz)


def _floor(power: Numbers) -> Numbers:
    """Running median in blocks that widen with order, scaled to the mean of noise."""
    edges = [1]
    while edges[-1] < power.size:
        edges.append(int(edges[-1] + max(16, min(200, edges[-1] * 0.06))))
    edges[-1] = power.size
    centre, level = [], []
    for low, high in itertools.pairwise(edges):
        if high > low:
            centre.append((low + high) / 2)
            level.append(float(np.quantile(power[low:high], 0.4)) / 0.51)
    smooth = median_filter(np.array(level), size=5, mode="nearest")
    logged = np.interp(np.arange(power.size), centre, np.log(np.maximum(smooth, 1e-30)))
    return np.asarray(np.exp(logged))


@dataclass(frozen=True, slots=True, kw_only=True)
class MeshLines:
    """One working pair in one take.

    ``level_db`` is the mesh's power over its first harmonics, in decibels of the unit's square;
    ``swell`` maps rotor to the share of its sidebands: (sideband power / mesh power) ** 0.5, about
    half the depth of modulation on each side; ``clear`` says whether the mesh stands above the
    floor at all.
    """

    pair: str
    level_db: float
    swell: dict[str, float]
    clear: bool


def mesh_lines(
    take: Heard, spectrum: LineSpectrum, mesh: MeshAtWork, *, harmonics: int = 4
) -> MeshLines | None:
    """Level and sidebands of one pair; None when its rate is not known."""
    if mesh.order is None or mesh.group != take.group:
        return None
    rotors = {name: take.turning.rotors[name].ratio for name in (mesh.driver, mesh.driven)}
    elsewhere = [m.order for m in take.turning.meshes if m.order and m is not mesh]
    total, heard = 0.0, 0
    sides = dict.fromkeys(rotors, 0.0)
    for harmonic in range(1, harmonics + 1):
        centre = harmonic * mesh.order
        power, over = spectrum.tone(centre)
        if over < 10.0:
            continue
        heard += 1
        total += power
        for name, ratio in rotors.items():
            pair = [
                spectrum.tone(centre + way * ratio)[0]
                for way in (-1.0, 1.0)
                if not beside_another_mesh(centre + way * ratio, elsewhere, spectrum)
            ]
            if pair:
                sides[name] += float(np.mean(pair))
    if not heard:
        return MeshLines(pair=mesh.name, level_db=-200.0, swell={}, clear=False)
    return MeshLines(
        pair=mesh.name,
        level_db=float(10 * np.log10(total + 1e-30)),
        swell={name: float(np.sqrt(side / total)) for name, side in sides.items()},
        clear=True,
    )


def beside_another_mesh(order: float, others: Iterable[float], spectrum: LineSpectrum) -> bool:
    """Whether a harmonic of another mesh falls on this line."""
    reach = 2.5 / spectrum.turns
    return any(abs(order - max(1, round(order / other)) * other) < reach for other in others)


EVEN = 0.55
"""Mean log significance of half orders where nothing is: noise alone gives about 0.35."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnLines:
    """Once-a-turn tones of one rotor in one take.

    ``once_db`` and ``twice_db`` are levels of 1x and 2x; ``over_floor`` and ``twice_over_floor``
    their power over the floor; ``limit_db`` and ``twice_limit_db`` the levels below which they
    would not have been heard (nan where they could not have been); ``share`` the share of 1x in
    all power about it; ``halves`` the mean log significance of the half orders, in the sound or in
    its loudness; ``many`` that of whole orders 3 to 10; nan where other parts' lines cover them.
    """

    rotor: str
    hz: float
    once_db: float
    twice_db: float
    over_floor: float
    twice_over_floor: float
    share: float
    halves: float
    many: float
    limit_db: float = float("nan")
    twice_limit_db: float = float("nan")


def coupled_rotors(takes: Sequence[Heard]) -> dict[str, frozenset[str]]:
    """Rotors that turn just alike in every take, by the name of each: their tones are one."""
    speeds: dict[str, dict[int, float]] = {}
    for number, take in enumerate(takes):
        for name, ratio in take.turning_ratios().items():
            speeds.setdefault(name, {})[number] = round(ratio, 6)
    return {
        name: frozenset(other for other, theirs in speeds.items() if theirs == mine)
        for name, mine in speeds.items()
    }


def turn_lines(
    take: Heard,
    spectrum: LineSpectrum,
    rotor: str,
    *,
    rattle: float = float("nan"),
    coupled: Collection[str] = (),
) -> TurnLines:
    """Measure the whole and half multiples of one rotor.

    Parameters
    ----------
    take : Heard
    spectrum : LineSpectrum
    rotor : str
    rattle : float, optional
        How far half multiples stand out in the loudness of the take, natural logarithm.
    coupled : collection of str, optional
        Rotors that turn with it at every position; the tones of others that do so here are theirs
        as well as its own, and not read.
    """
    ratio = take.turning_ratios()[rotor]
    once, over = own_tone(take, spectrum, rotor, 1, coupled)
    twice, twice_over = own_tone(take, spectrum, rotor, 2, coupled)
    low = int(0.4 * ratio * spectrum.turns)
    high = min(spectrum.power.size, int(40.0 * ratio * spectrum.turns))
    band = float(spectrum.power[max(1, low) : max(high, low + 2)].sum()) / 1.5
    busy = _busy_orders(take, rotor)
    halves = [order for k in range(8) if not may_be_a_belt(take, order := (k + 0.5) * ratio)]

    def mean_log(orders: list[float]) -> float:
        free = [o for o in orders if not _near_any(o, busy, 2.0 / spectrum.turns)]
        values = [np.log1p(min(spectrum.tone(o)[1], 1e3)) for o in free if o < spectrum.top_order]
        return float(np.mean(values)) if len(values) >= FEWEST_LINES else float("nan")

    return TurnLines(
        rotor=rotor,
        hz=ratio * spectrum.base_hz,
        once_db=float(10 * np.log10(once + 1e-30)),
        twice_db=float(10 * np.log10(twice + 1e-30)),
        over_floor=over,
        twice_over_floor=twice_over,
        share=once / max(band, 1e-30),
        halves=float(np.fmax(mean_log(halves), EVEN + rattle)),
        many=mean_log([k * ratio for k in range(3, 11)]),
        limit_db=tone_limit_db(spectrum, ratio) if over > 0 else float("nan"),
        twice_limit_db=tone_limit_db(spectrum, 2 * ratio) if twice_over > 0 else float("nan"),
    )


def tone_limit_db(spectrum: LineSpectrum, order: float) -> float:
    """Level at which a tone is heard for sure."""
    level = HEARD_FOR_SURE * float(spectrum.floor[spectrum.index(order)])
    return float(10 * np.log10(max(level, 1e-30)))


def own_tone(
    take: Heard, spectrum: LineSpectrum, rotor: str, multiple: int, coupled: Collection[str]
) -> tuple[float, float]:
    """A multiple of one rotor, as (mean square above the floor, power over floor).

    0, 0 where another has the same line or the sensor is deaf. Rotors ``coupled`` to it are no
    others.
    """
    known = take.turning_ratios()
    order = multiple * known[rotor]
    hum = take.turning.machine.supply.mains_hz / take.base_hz
    strangers = [ratio for name, ratio in known.items() if name not in (rotor, *coupled)]
    others = [k * ratio for ratio in strangers for k in (1, 2, 3)]
    hummed = min(abs(order / (k * hum) - 1.0) for k in (1, 2, 3, 4)) < NEAR_HUM
    deaf = order * take.base_hz < take.ready.take.recording.support.low_hz
    shared = min((abs(order - other) for other in others), default=1.0) < 2.5 / spectrum.turns
    if (
        deaf
        or hummed
        or shared
        or may_be_a_belt(take, order, BELT_TURNS)
        or _may_be_unheard(take, order)
    ):
        return 0.0, 0.0
    return spectrum.tone(order)


def may_be_a_belt(take: Heard, order: float, multiples: int = BELT_MULTIPLES) -> bool:
    """Whether a tone may as well be a low multiple of a belt's own turning, as far as it slips."""
    known = take.turning_ratios()
    rates = [w.order * known[w.driver] for w in take.turning.belts if w.order and w.driver in known]
    nearest = [min(max(1, round(order / rate)), multiples) * rate for rate in rates]
    return any(abs(order / place - 1.0) < BELT_RATE for place in nearest)


def _may_be_unheard(take: Heard, order: float) -> bool:
    """Whether a tone may as well be once or twice a turn of a shaft whose speed was not found."""
    known = take.turning_ratios()
    for name in take.turning.machine.shafts:
        if name in known or name not in take.turning.rotors:
            continue
        nominal = take.turning.nominal_hz(name)
        expected = (nominal or 0.0) * take.speed.scale / take.base_hz
        if expected and any(abs(order / (k * expected) - 1.0) < BELT_SLIP for k in (1, 2)):
            return True
    return False


def _busy_orders(take: Heard, rotor: str) -> Numbers:
    """Orders where something else than this rotor has lines."""
    known = take.turning_ratios()
    own = known[rotor]
    orders: list[float] = []
    for ratio in known.values():
        if abs(ratio / own - 1) > 1e-6:
            many = min(MOST_MULTIPLES, int(10.5 * own / ratio) + 1)
            orders += [k * ratio for k in range(1, max(many, 8) + 1)]
    for mesh in take.turning.meshes:
        if mesh.order is not None and mesh.group == take.group:
            orders += [k * mesh.order for k in (1, 2)]
    hum = take.turning.machine.supply.mains_hz / take.base_hz
    return np.array(orders + [k * hum for k in range(1, 9)])


def _near_any(order: float, busy: Numbers, reach: float) -> bool:
    return bool(busy.size and np.min(np.abs(busy - order)) < reach)


def line_field(take: Heard, spectrum: LineSpectrum, order: float, *, multiples: int) -> Field:
    """The sound's own lines up to ``multiples`` of an order, ready to be searched for a family.

    Multiples of what is tied to the track and of the mains are masked.
    """
    top = min(spectrum.power.size, int((multiples + 0.5) * order * spectrum.turns) + 64)
    ratio = (spectrum.power[:top] / np.maximum(spectrum.floor[:top], 1e-30)).astype(np.float32)
    axis = Spectrum(values=ratio, step=1.0 / spectrum.turns, axis="order", scaling="significance")
    level = EnvelopeSpectrum(significance=axis, depth=axis, low=0.0, high=0.0, form="squared")
    mask = np.zeros(top, dtype=bool)
    hum = take.turning.machine.supply.mains_hz / take.base_hz
    places = [k * r.ratio for r in take.rotors() for k in range(1, 9)]
    places += [k * hum for k in range(1, 9)]
    for place in places:
        middle = round(place * spectrum.turns)
        mask[max(0, middle - 2) : middle + 3] = True
    return Field([level], take.base_hz, 0.0, [mask])
