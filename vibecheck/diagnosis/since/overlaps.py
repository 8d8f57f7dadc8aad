"""Which traces lie on lines that a fault makes anyway, at other places than its own.

A cage that rattles 20 dB over its floor fills the windows of every bearing that happens to lie on
one of its multiples. What a fault may raise so speaks neither for nor against it, and for no other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.since.levels import AT_WORK, STRANGE, Numbers, Trace
from vibecheck.diagnosis.since.places import belt_rate, places_of, windows_of
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature
from vibecheck.diagnosis.since.sizes import LOOSE

MULTIPLES: Numbers = np.arange(1.0, 17.0)
FLANKS: Numbers = np.arange(-3.0, 4.0)
OF_A_GEAR, OF_A_SHAFT, OF_A_BELT, OF_OTHERS = 40, 24, 10, 12
"""How many multiples of its rate a fault of each makes."""
CAGES: Numbers = np.arange(0.34, 0.48, 0.002)
"""Turns of any cage, in turns of its shaft."""
BELT_WIDE: Numbers = np.linspace(-0.008, 0.008, 5)
"""How a belt slips is known to a per cent only: its lines are as wide."""
TIMES = (0.5, 1.0, 2.0, 3.0)
"""Multiples of a bearing's rate at which one of unknown numbers is no other."""
SWELLING = 4
"""Multiples at which tooth tones swell with what pushes a shaft."""
HARDLY_DB = 0.01
"""What a take in which nothing has risen counts, so that where nothing has they count alike."""
LINES, RISEN = 0.19, 0.4
"""Share of a trace's lines that must coincide with a fault's in a take, and of what it has risen in
all takes that must have risen in such ones."""
BLOWS = ("broken or damaged tooth", LOOSE)
"""Faults that strike, besides those of bearings."""
TIED = ("once", "twice", "thrice", "halves", "many", "mesh", "sides", *AT_WORK)
SHARP, NEAR, EXACT = 2.5, 0.003, 1e-4
"""How near two lines must come to be one: bins of a take's spectrum, or, relative, what is read
with room for slip and what is read just where teeth put it."""


def overlapped(
    signatures: Sequence[Signature], found: Mapping[Trace, Rise], takes: Sequence[Heard]
) -> list[frozenset[Trace]]:
    """For every signature the traces that lie on its lines, its own left out."""
    counts = [dict.fromkeys(found, 0.0) for _ in signatures]
    heard = dict.fromkeys(found, 0.0)
    for take in takes:
        places = places_of(take, found)
        rose = {trace: _rose_here(found[trace], take) for trace in places}
        for trace, here in rose.items():
            heard[trace] += here
        for signature, count in zip(signatures, counts, strict=True):
            lines = _lines(signature, take, places, found)
            if lines.size:
                for trace, here in rose.items():
                    near = EXACT if trace[0] in TIED else NEAR
                    if _share_on(places[trace], lines, take, near) >= LINES:
                        count[trace] += here
    on_lines = (
        {trace for trace, risen in count.items() if risen and risen >= RISEN * heard[trace]}
        for count in counts
    )
    return [
        frozenset(
            trace
            for trace in each | _of_the_cut(found, signature) | _rung(found, signature)
            if not _of_itself(trace, signature, found)
        )
        for signature, each in zip(signatures, on_lines, strict=True)
    ]


def _rose_here(rise: Rise, take: Heard) -> float:
    """How far a trace has risen in a take (dB), and where it has not, hardly anything."""
    return max(HARDLY_DB, rise.by_place.get((take.label, take.ready.take.kind), 0.0))


def _of_the_cut(found: Mapping[Trace, Rise], signature: Signature) -> set[Trace]:
    """Chatter has tones besides its loudest; and no two cuts are quite alike."""
    if signature.part_kind != "tool":
        return set()
    return {trace for trace in found if trace[0] == "howl"}


def _rung(found: Mapping[Trace, Rise], signature: Signature) -> set[Trace]:
    """Blows ring the structure, whatever strikes."""
    if signature.part_kind != "bearing" and signature.fault not in BLOWS:
        return set()
    return {trace for trace in found if trace[0] == "tone"}


def _of_itself(trace: Trace, signature: Signature, found: Mapping[Trace, Rise]) -> bool:
    """Its own traces; a gear's tooth strikes nowhere but where it works, whatever works there."""
    if trace in signature.raises:
        return True
    resting = found.get(("rest", signature.parts[0])) if signature.part_kind == "gear" else None
    return resting is not None and found[trace].by_place == resting.by_place


def one_line(found: Mapping[Trace, Rise], takes: Sequence[Heard]) -> dict[Trace, Trace]:
    """Traces that are read at the same place in every take, by the first of them."""
    rows: dict[Trace, list[Numbers]] = {}
    for take in takes:
        for trace, orders in places_of(take, found).items():
            rows.setdefault(trace, []).append(orders)
    first: dict[Trace, Trace] = {}
    for trace, mine in rows.items():
        same = (
            other
            for other in dict.fromkeys(first.values())
            if other[0] == trace[0] and _as_one(mine, rows[other])
        )
        first[trace] = next(same, trace)
    return first


def explained(found: Mapping[Trace, Rise], takes: Sequence[Heard]) -> dict[Trace, Trace]:
    """Traces of bearings of unknown numbers that lie where a known one may strike, and that one's:
    of several the one that has risen most.
    """
    count: dict[tuple[Trace, Trace], int] = {}
    for take in takes:
        places = places_of(take, found)
        windows = windows_of(take)
        for strange in (trace for trace in places if trace[0] == STRANGE):
            for known, (low, high) in windows.items():
                orders = [places[strange][0] / times for times in TIMES]
                near = any(low * (1 - NEAR) <= order <= high * (1 + NEAR) for order in orders)
                count[strange, known] = count.get((strange, known), 0) + near
    most: dict[Trace, Trace] = {}
    for (strange, known), number in count.items():
        risen = found[known].db if known in found else -np.inf
        best = found[most[strange]].db if strange in most else 0.0
        if number > 0.5 * len(takes) and risen > best:
            most[strange] = known
    return most


def _as_one(mine: Sequence[Numbers], others: Sequence[Numbers]) -> bool:
    return len(mine) == len(others) and all(
        a.size == b.size and bool(np.allclose(a, b, rtol=NEAR))
        for a, b in zip(mine, others, strict=True)
    )


def _share_on(orders: Numbers, lines: Numbers, take: Heard, near: float) -> float:
    reach = np.maximum(SHARP / take.turns, near * orders)
    apart = np.abs(orders[:, None] - lines[None, :]).min(axis=1)
    return float(np.mean(apart < reach))


def _lines(
    signature: Signature, take: Heard, places: Mapping[Trace, Numbers], found: Mapping[Trace, Rise]
) -> Numbers:
    """Orders at which a fault makes lines in one take; none where it does not work."""
    own = next((trace for trace in signature.raises if trace in places), None)
    if own is None:
        return np.zeros(0)
    if signature.part_kind == "bearing":
        return _of_bearing(signature, take.expected_ratios()[signature.rotor], own, places)
    if signature.part_kind == "gear":
        blows, sides = (places.get((what, signature.parts[0])) for what in ("blow", "sides"))
        if blows is None or sides is None:
            return np.zeros(0)
        comb = blows[0] * np.arange(1.0, OF_A_GEAR + 1)
        return np.concatenate([comb, sides, *_swollen(blows[:1], places)])
    wide: Numbers = np.zeros(1)
    if signature.part_kind == "shaft":
        half = 0.5 if ("halves", signature.rotor) in signature.raises else 1.0
        most = 1 if signature.fault == "imbalance" else OF_A_SHAFT
        lines = take.expected_ratios()[signature.rotor] * half * np.arange(1.0, most + 1)
    elif signature.part_kind == "belt":
        rate = belt_rate(take, signature.parts, found[own]) or 0.0
        lines, wide = rate * np.arange(1.0, OF_A_BELT + 1), 1.0 * BELT_WIDE
    else:
        lines = places[own][0] * np.arange(1.0, OF_OTHERS + 1)
    swells = _swollen(lines[:SWELLING], places)
    return np.concatenate([np.multiply.outer(lines, 1.0 + wide).ravel(), *swells])


def _swollen(pushes: Numbers, places: Mapping[Trace, Numbers]) -> list[Numbers]:
    """Side lines of all tooth tones, which swell with what pushes a shaft."""
    tones = [orders for (what, _), orders in places.items() if what == "mesh"]
    return [np.add.outer(each, way * pushes).ravel() for each in tones for way in (-1.0, 1.0)]


def _of_bearing(
    signature: Signature, turn: float, own: Trace, places: Mapping[Trace, Numbers]
) -> Numbers:
    """Its multiples with their flanks; for a ball or roller, and where nobody knows, the cage; and
    the tones of the teeth that swell with it."""
    order, cage = places[own][0], ("cage", signature.parts[0])
    lines = [turn * np.arange(1.0, 5.0), np.add.outer(order * MULTIPLES, turn * FLANKS).ravel()]
    if signature.element == "roller" and cage in places:
        lines.append(np.add.outer(order * MULTIPLES, places[cage][0] * FLANKS).ravel())
    if own[0] == STRANGE:
        lines.append(turn * CAGES)
    pushes = np.concatenate([turn * np.arange(1.0, 4.0), order * np.arange(1.0, 3.0)])
    lines += _swollen(pushes, places)
    return np.concatenate(lines)
