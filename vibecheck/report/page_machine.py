"""The machine as it was described, with how each number is known."""

from __future__ import annotations

from vibecheck.machine.parts import Bearing, Belt, Machine
from vibecheck.report.page_tables import Table, pairs, table
from vibecheck.report.pictures import known_by


def machine_section(machine: Machine | None) -> str:
    """Supply, motor, belts, bearings and chart as HTML; gears are beside the drawing."""
    if machine is None:
        return ""
    parts = [
        "<h2>The machine as described</h2>",
        pairs(_plain_facts(machine)),
        _belts(machine),
        _bearings(machine),
        _chart(machine),
    ]
    return "".join(parts)


def _plain_facts(machine: Machine) -> dict[str, str]:
    motor = machine.motor
    return {
        "Name": machine.name,
        "Description": machine.description,
        "Supply": f"{machine.supply.kind}, mains {machine.supply.mains_hz:g} Hz",
        "Motor": (
            f"poles {known_by(motor.poles)}, plate rpm {known_by(motor.plate_rpm)}" if motor else ""
        ),
    }


def _belts(machine: Machine) -> str:
    if not machine.belts:
        return ""
    rows = tuple(
        (belt.name, f"{belt.driver} to {belt.driven}", *_pulleys(belt)) for belt in machine.belts
    )
    return table(
        Table(caption="Belts", heads=("belt", "from, to", "driver", "driven", "length"), rows=rows)
    )


def _pulleys(belt: Belt) -> tuple[str, str, str]:
    if belt.toothed:
        return (
            f"{known_by(belt.driver_teeth)} teeth",
            f"{known_by(belt.driven_teeth)} teeth",
            f"{known_by(belt.belt_teeth)} teeth",
        )
    return tuple(  # type: ignore[return-value]
        f"{known_by(number)} mm" if number.low is not None else "not known"
        for number in (belt.driver_mm, belt.driven_mm, belt.length_mm)
    )


def _bearings(machine: Machine) -> str:
    if not machine.bearings:
        return ""
    rows = tuple((b.name, b.shaft, b.kind, _numbers(b)) for b in machine.bearings)
    return table(
        Table(
            caption="Bearings",
            heads=("bearing", "shaft", "kind", "numbers"),
            rows=rows,
            said=frozenset({3}),
        )
    )


def _numbers(bearing: Bearing) -> str:
    if bearing.multipliers:
        return ", ".join(f"{name} {value:g}" for name, value in bearing.multipliers.items())
    known = {
        "elements": bearing.elements,
        "element mm": bearing.element_mm,
        "pitch mm": bearing.pitch_mm,
        "angle deg": bearing.angle_deg,
        "bore mm": bearing.bore_mm,
        "outside mm": bearing.outside_mm,
    }
    said = [f"{name} {known_by(value)}" for name, value in known.items() if value.low is not None]
    return ", ".join(said) or "not known"


def _chart(machine: Machine) -> str:
    if len(machine.positions) < 2:
        return ""
    rows = tuple((p.label, known_by(p.chart_rpm)) for p in machine.positions)
    return table(Table(caption="Speed chart", heads=("position", "rpm (how known)"), rows=rows))
