"""Bearings as they are found in heads: every kind, with the geometry its size would have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecheck.machine.parts import UNKNOWN, Bearing, BearingKind, Known


@dataclass(frozen=True, slots=True, kw_only=True)
class _Build:
    """Proportions of one kind (common practice, from memory)."""

    outside: tuple[float, float]
    """Outside over bore."""
    element: tuple[float, float]
    """Element diameter over half the difference of outside and bore."""
    fill: tuple[float, float]
    """Share of the pitch circle taken up by elements."""
    angles: tuple[float, ...]


_BUILDS: dict[BearingKind, _Build] = {
    "ball": _Build(outside=(1.7, 2.3), element=(0.58, 0.66), fill=(0.60, 0.72), angles=(0.0,)),
    "cylindrical roller": _Build(
        outside=(1.6, 2.1), element=(0.44, 0.56), fill=(0.72, 0.86), angles=(0.0,)
    ),
    "tapered roller": _Build(
        outside=(1.55, 2.0),
        element=(0.36, 0.46),
        fill=(0.78, 0.90),
        angles=(11.0, 12.5, 14.0, 16.0),
    ),
    "angular contact": _Build(
        outside=(1.6, 2.0), element=(0.52, 0.62), fill=(0.68, 0.85), angles=(15.0, 25.0, 40.0)
    ),
    "double row": _Build(
        outside=(1.45, 1.6), element=(0.40, 0.48), fill=(0.72, 0.84), angles=(0.0,)
    ),
    "thrust": _Build(outside=(1.4, 1.7), element=(0.55, 0.68), fill=(0.70, 0.85), angles=(90.0,)),
}
_SPINDLE_FRONT: tuple[BearingKind, ...] = ("tapered roller", "double row", "angular contact")
_SHAFT: tuple[BearingKind, ...] = ("ball", "ball", "cylindrical roller", "tapered roller")


def inside(
    rng: np.random.Generator, kind: BearingKind, bore_mm: float, outside_mm: float
) -> tuple[int, float, float, float]:
    """Elements a bearing of a kind and size may have: count, diameter, pitch diameter, angle."""
    build = _BUILDS.get(kind, _BUILDS["ball"])
    pitch = (bore_mm + outside_mm) / 2
    size = float(np.round(rng.uniform(*build.element) * (outside_mm - bore_mm) / 2, 2))
    count = int(np.pi * pitch * rng.uniform(*build.fill) / size)
    return count, size, pitch, float(rng.choice(build.angles))


def random_bearing(
    rng: np.random.Generator, name: str, shaft: str, kind: BearingKind, bore_mm: float
) -> Bearing:
    """One bearing of a kind and bore with plausible elements."""
    build = _BUILDS[kind]
    bore = 5.0 * round(bore_mm / 5)
    outside = float(np.round(bore * rng.uniform(*build.outside) / 2) * 2)
    count, size, pitch, angle = inside(rng, kind, bore, outside)
    return Bearing(
        name=name,
        shaft=shaft,
        kind=kind,
        elements=Known.exactly(count, "plate"),
        element_mm=Known.exactly(size, "plate"),
        pitch_mm=Known.exactly(pitch, "plate"),
        angle_deg=Known.exactly(angle, "plate"),
        bore_mm=Known.exactly(bore, "plate"),
        outside_mm=Known.exactly(outside, "plate"),
    )


def as_its_owner_knows(rng: np.random.Generator, bearing: Bearing, share_known: float) -> Bearing:
    """The same bearing with its inside forgotten, mostly or altogether, by chance."""
    if rng.random() < share_known:
        return bearing
    if rng.random() < 0.5:
        return Bearing(
            name=bearing.name,
            shaft=bearing.shaft,
            kind=bearing.kind,
            bore_mm=bearing.bore_mm,
            outside_mm=bearing.outside_mm,
            elements=bearing.elements if rng.random() < 0.4 else UNKNOWN,
        )
    return Bearing(name=bearing.name, shaft=bearing.shaft)


def bearings_of(
    rng: np.random.Generator,
    shafts: tuple[str, ...],
    motor: str,
    spindle: str,
    share_known: float = 0.8,
) -> tuple[Bearing, ...]:
    """Two bearings or more on every shaft; front and rear are often the same number."""
    found: list[Bearing] = []
    for shaft in shafts:
        kinds: list[BearingKind]
        if shaft == spindle:
            bore = float(rng.uniform(55, 100))
            kinds = [_SPINDLE_FRONT[int(rng.integers(3))], _SHAFT[int(rng.integers(4))]]
            if rng.random() < 0.4:
                kinds.append("thrust")
        else:
            bore = float(rng.uniform(20, 45))
            pick: BearingKind = "ball" if shaft == motor else _SHAFT[int(rng.integers(4))]
            kinds = [pick, pick if rng.random() < 0.6 else _SHAFT[int(rng.integers(4))]]
        found.extend(_on_one_shaft(rng, shaft, kinds, bore))
    return tuple(as_its_owner_knows(rng, bearing, share_known) for bearing in found)


def _on_one_shaft(
    rng: np.random.Generator, shaft: str, kinds: list[BearingKind], bore_mm: float
) -> list[Bearing]:
    places = ("front", "rear", "thrust")
    made: list[Bearing] = []
    for place, kind in zip(places, kinds, strict=False):
        name = f"{shaft} {place}"
        twin = made and made[0].kind == kind and rng.random() < 0.6
        if twin:
            first = made[0]
            made.append(
                Bearing(
                    name=name,
                    shaft=shaft,
                    kind=kind,
                    elements=first.elements,
                    element_mm=first.element_mm,
                    pitch_mm=first.pitch_mm,
                    angle_deg=first.angle_deg,
                    bore_mm=first.bore_mm,
                    outside_mm=first.outside_mm,
                )
            )
        else:
            size = bore_mm * (0.85 if place == "rear" else 1.0)
            made.append(random_bearing(rng, name, shaft, kind, size))
    return made
