"""Where the shafts, pairs and belts of a head go when it is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from vibecheck.machine.parts import Machine, Mesh
from vibecheck.report.at_work import at_work
from vibecheck.report.words import setting_said


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """A gear or pulley as it is drawn; rows count downwards from the motor."""

    name: str
    shaft: str
    row: float
    half_high: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two wheels in one column: a mesh, a belt or a coupling."""

    name: str
    column: int
    driver: Wheel
    driven: Wheel
    style: str
    setting: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Rows of shafts, columns of pairs, and from where to where each shaft is drawn."""

    rows: Mapping[str, float]
    spans: Mapping[str, tuple[float, float]]
    pairs: tuple[Pair, ...]


def laid_out(machine: Machine) -> Layout:
    """Place shafts in the order of the drive and pairs from left to right.

    A feed train that no position of the chart drives is left out.
    """
    machine = _driven(machine)
    rows = {shaft: float(row) for row, shaft in enumerate(shafts_in_order(machine))}
    joined = [*_belts(machine, rows), *_couplings(machine, rows), *_meshes(machine, rows)]
    pairs = tuple(
        Pair(name=name, column=column, driver=a, driven=b, style=style, setting=setting)
        for column, (name, a, b, style, setting) in enumerate(joined)
    )
    spans = {shaft: _span(shaft, pairs) for shaft in rows}
    return Layout(rows=rows, spans=spans, pairs=pairs)


def _driven(machine: Machine) -> Machine:
    here = at_work(machine)
    return replace(
        machine,
        shafts=tuple(shaft for shaft in machine.shafts if shaft in here.rotors),
        gears=tuple(gear for gear in machine.gears if gear.name in here.gears),
        meshes=tuple(mesh for mesh in machine.meshes if mesh.name in here.pairs),
    )


def shafts_in_order(machine: Machine) -> list[str]:
    """Shafts that carry something, motor first, spindle last."""
    named = [machine.motor.shaft] if machine.motor else []
    named += [*machine.shafts, *(gear.shaft for gear in machine.gears)]
    used = {gear.shaft for gear in machine.gears} | {machine.spindle}
    used |= {shaft for belt in machine.belts for shaft in (belt.driver, belt.driven)}
    used |= {shaft for link in machine.couplings for shaft in (link.driver, link.driven)}
    inner = [shaft for shaft in dict.fromkeys(named) if shaft in used - {machine.spindle}]
    return [*inner, machine.spindle]


Joined = tuple[str, Wheel, Wheel, str, str]


def _belts(machine: Machine, rows: Mapping[str, float]) -> list[Joined]:
    found = []
    for belt in machine.belts:
        if not {belt.driver, belt.driven} <= rows.keys():
            continue
        sizes = [
            (teeth if belt.toothed else across).middle
            for teeth, across in (
                (belt.driver_teeth, belt.driver_mm),
                (belt.driven_teeth, belt.driven_mm),
            )
        ]
        first, second = _wheels(
            (belt.name, belt.name), (belt.driver, belt.driven), sizes, rows, touching=False
        )
        found.append((belt.name, first, second, "belt", setting_said(belt.when)))
    return found


def _couplings(machine: Machine, rows: Mapping[str, float]) -> list[Joined]:
    found = []
    for link in machine.couplings:
        if {link.driver, link.driven} <= rows.keys():
            name = f"{link.driver}-{link.driven}"
            first, second = _wheels(
                ("", ""), (link.driver, link.driven), [None, None], rows, touching=False
            )
            found.append((name, first, second, "coupling", setting_said(link.when)))
    return found


def _meshes(machine: Machine, rows: Mapping[str, float]) -> list[Joined]:
    return [_mesh(machine, mesh, rows) for mesh in machine.meshes]


def _mesh(machine: Machine, mesh: Mesh, rows: Mapping[str, float]) -> Joined:
    gears = [machine.gear(name) for name in (mesh.driver, mesh.driven)]
    shafts = (gears[0].shaft, gears[1].shaft)
    first, second = _wheels(
        (mesh.driver, mesh.driven),
        shafts,
        [gear.teeth.middle for gear in gears],
        rows,
        touching=abs(rows[shafts[0]] - rows[shafts[1]]) == 1,
        counted=True,
    )
    return mesh.name, first, second, mesh.style, setting_said(mesh.when)


def _wheels(
    names: tuple[str, str],
    shafts: tuple[str, str],
    sizes: list[float | None],
    rows: Mapping[str, float],
    *,
    touching: bool,
    counted: bool = False,
) -> tuple[Wheel, Wheel]:
    known = [size or 1.0 for size in sizes] if all(sizes) else [1.0, 1.0]
    scale = sum(known) if touching else max(known) / 0.34
    made = [
        Wheel(
            name=name,
            shaft=shaft,
            row=rows[shaft],
            half_high=size / scale,
            words=f"{given:.0f}" if given and counted else ("?" if counted else ""),
        )
        for name, shaft, size, given in zip(names, shafts, known, sizes, strict=True)
    ]
    return made[0], made[1]


def _span(shaft: str, pairs: tuple[Pair, ...]) -> tuple[float, float]:
    columns = [p.column for p in pairs if shaft in (p.driver.shaft, p.driven.shaft)]
    return (min(columns) - 0.55, max(columns) + 0.55) if columns else (-0.55, 0.55)
