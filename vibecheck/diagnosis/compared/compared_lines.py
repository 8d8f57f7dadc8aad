"""Which lines of a lever position are compared before and after a repair.

Everything a part can be heard by: turning tones of every shaft, tooth tones and their first
sidebands by either shaft, the belt, mains, bearing lines and once-a-turn blows in the envelope.
Lines that fall on one another are one line; it carries all their names.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from vibecheck.machine.tones import Tone, tones
from vibecheck.machine.train import MeshAtWork, Turning

Domain = Literal["spectrum", "envelope", "shape"]
Sort = Literal[
    "turn", "mesh", "sidebands", "belt", "mains", "bearing", "blows", "peakiness", "tone"
]

MESH_HARMONICS = (1, 2, 3)
SIDEBAND_HARMONICS = (1, 2)
BLOW_HARMONICS = tuple(range(1, 9))
BEARING_HARMONICS = (1, 2, 3)
SAME_LINE = 1e-4
"""Orders closer than this share are one line at every speed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a component sits: ``order`` of a rigid group, or hertz with ``group`` None."""

    group: str | None
    order: float

    def hz(self, speeds_hz: Mapping[str, float]) -> float | None:
        """Frequency at these speeds; None when the group's speed is not known."""
        if self.group is None:
            return self.order
        speed = speeds_hz.get(self.group)
        return None if speed is None else speed * self.order


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing compared.

    Attributes
    ----------
    name : str
        What a person would call it: "25/50 sidebands of III".
    sort : str
        Kind of line.
    parts : tuple of str
        Names in the machine's table it would accuse or clear.
    places : tuple of Place
        Components whose mean squares are summed.
    domain : str
        "spectrum" of the samples, "envelope" spectrum of a band, or "shape" of the wave.
    slip : tuple of float
        Relative window the components may sit in (bearings roll and slip).
    same_as : tuple of str
        Names of other lines that fall on this one and cannot be told from it here.
    mixed : bool
        Whether sources of exactly one frequency add up in it: their sum depends on how the gears
        happen to be meshed, which is settled anew whenever the lever is moved. Hum of the mains
        comes from motor, lamps and transformers alike.
    """

    name: str
    sort: Sort
    parts: tuple[str, ...]
    places: tuple[Place, ...] = ()
    domain: Domain = "spectrum"
    slip: tuple[float, float] = (0.0, 0.0)
    same_as: tuple[str, ...] = ()
    mixed: bool = False


def lines_of(turning: Turning, extra_hz: Sequence[float] = ()) -> tuple[Line, ...]:
    """Every line compared at one lever position, in order of importance.

    Parameters
    ----------
    turning : Turning
    extra_hz : sequence of float
        Tones of fixed frequency to compare as well (a resonance, a drive's tone).
    """
    found: list[Line] = []
    for mesh in turning.meshes:
        found += _mesh_lines(turning, mesh)
    found += _turn_lines(turning)
    found += _blow_lines(turning)
    found += [line for tone in tones(turning) for line in _tone_lines(tone)]
    found += [
        Line(
            name=f"tone at {hz:g} Hz",
            sort="tone",
            parts=(f"{hz:g} Hz",),
            places=(Place(group=None, order=hz),),
        )
        for hz in extra_hz
    ]
    found.append(Line(name="peakiness", sort="peakiness", parts=(), domain="shape"))
    return _joined(found)


def _mesh_lines(turning: Turning, mesh: MeshAtWork) -> list[Line]:
    if mesh.order is None:
        return []
    found = [
        Line(
            name=f"{mesh.name} tooth tone" + ("" if harmonic == 1 else f", {harmonic}x"),
            sort="mesh",
            parts=(mesh.name,),
            places=(Place(group=mesh.group, order=harmonic * mesh.order),),
        )
        for harmonic in MESH_HARMONICS
    ]
    sides = ((mesh.mesh.driver, mesh.driver), (mesh.mesh.driven, mesh.driven))
    for gear, rotor in sides:
        turn = turning.rotors[rotor]
        if turn.group != mesh.group:
            continue
        for harmonic in SIDEBAND_HARMONICS:
            middle = harmonic * mesh.order
            at = "" if harmonic == 1 else f" at {harmonic}x"
            found.append(
                Line(
                    name=f"{mesh.name} sidebands of {rotor}{at}",
                    sort="sidebands",
                    parts=(gear, mesh.name),
                    places=tuple(
                        Place(group=mesh.group, order=middle + way * turn.ratio)
                        for way in (-1, 1)
                        if middle + way * turn.ratio > 0
                    ),
                )
            )
    return found


def _turn_lines(turning: Turning) -> list[Line]:
    return [
        Line(
            name=f"{rotor.name} {times}x",
            sort="turn",
            parts=(rotor.name,),
            places=(Place(group=rotor.group, order=times * rotor.ratio),),
        )
        for times in (1, 2)
        for rotor in turning.rotors.values()
    ]


def _blow_lines(turning: Turning) -> list[Line]:
    return [
        Line(
            name=f"blows once a turn of {rotor.name}",
            sort="blows",
            parts=(rotor.name,),
            places=tuple(
                Place(group=rotor.group, order=times * rotor.ratio) for times in BLOW_HARMONICS
            ),
            domain="envelope",
        )
        for rotor in turning.rotors.values()
    ]


def _tone_lines(tone: Tone) -> list[Line]:
    if tone.nature in ("outer", "inner", "roller", "cage"):
        return [
            Line(
                name=tone.name,
                sort="bearing",
                parts=(tone.part,),
                places=tuple(
                    Place(group=tone.group, order=times * tone.order) for times in BEARING_HARMONICS
                ),
                domain="envelope",
                slip=(tone.slip_low, tone.slip_high),
            )
        ]
    if tone.nature in ("turn", "mesh", "hunting tooth"):
        return []
    sort: Sort = "belt" if tone.nature == "belt" else "mains" if tone.group is None else "tone"
    count = 2 if tone.nature == "belt" else 1
    return [
        Line(
            name=tone.name + ("" if times == 1 else f", {times}x"),
            sort=sort,
            parts=(tone.part,),
            places=(Place(group=tone.group, order=times * tone.order),),
            slip=(tone.slip_low, tone.slip_high),
            mixed=sort == "mains",
        )
        for times in range(1, count + 1)
    ]


def _joined(lines: list[Line]) -> tuple[Line, ...]:
    """Lines whose components all coincide become one, under the first one's name."""
    kept: list[Line] = []
    for line in lines:
        for index, other in enumerate(kept):
            if _coincide(line, other):
                kept[index] = replace(
                    other,
                    parts=tuple(dict.fromkeys((*other.parts, *line.parts))),
                    same_as=(*other.same_as, line.name),
                    mixed=True,
                )
                break
        else:
            kept.append(line)
    return tuple(kept)


def _coincide(one: Line, other: Line) -> bool:
    return (
        one.domain == other.domain
        and one.domain != "shape"
        and len(one.places) == len(other.places)
        and all(
            a.group == b.group and abs(a.order - b.order) <= SAME_LINE * max(a.order, b.order)
            for a, b in zip(one.places, other.places, strict=True)
        )
    )
