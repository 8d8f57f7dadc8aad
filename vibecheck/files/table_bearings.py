"""Bearings by place: full geometry, a maker's multipliers, bore and outside, or nothing known."""

from __future__ import annotations

from typing import Any, get_args

from vibecheck.files.table_numbers import LENGTH, Rule
from vibecheck.files.table_section import Section
from vibecheck.machine.parts import Bearing, BearingKind


def read_bearings(sections: list[tuple[str, Section]], spindle: str) -> list[Bearing]:
    """Bearings by place, known by geometry, multipliers, size, or not at all."""
    found = []
    for name, section in sections:
        kind: Any = section.text("kind", "unknown", get_args(BearingKind))
        bearing = Bearing(
            name=name,
            shaft=section.text("shaft", spindle),
            kind=kind,
            elements=section.known("elements", ELEMENTS),
            element_mm=section.known("element_mm", LENGTH),
            pitch_mm=section.known("pitch_mm", LENGTH),
            angle_deg=section.known("angle_deg", ANGLE),
            bore_mm=section.known("bore_mm", LENGTH),
            outside_mm=section.known("outside_mm", LENGTH),
            multipliers=_orders(section.section("orders")),
        )
        section.close()
        _check_bearing(section, bearing)
        found.append(bearing)
    return found


def _orders(section: Section) -> dict[str, float]:
    rule = Rule(what="a multiple of the shaft's speed", low=0.01, high=200, how="plate")
    found = {}
    for key in ORDERS:
        value = section.known(key, rule).value if key in section.values else None
        section.asked.append(key)
        if value is not None:
            found[key] = value
    section.close()
    races = found.get("outer", 0.0) + found.get("inner", 0.0)
    if found and not {"outer", "inner"} <= set(found):
        section.fault("", "gives some multiples but not both races", "Give outer and inner.")
    elif found and abs(races - round(races)) > 0.06:
        section.fault(
            "",
            f"outer + inner is {races:.3f}; it must be the whole number of rolling elements",
            "Check both against the maker's list.",
        )
    elif found and found["outer"] > found["inner"] + 0.01:
        section.fault("", "outer is larger than inner", "Exchange the two.")
    return found


def _check_bearing(section: Section, bearing: Bearing) -> None:
    size, pitch = bearing.element_mm.middle, bearing.pitch_mm.middle
    bore, outside = bearing.bore_mm.middle, bearing.outside_mm.middle
    count = bearing.elements.value
    if size and pitch and size >= pitch / 2:
        section.fault(
            "element_mm",
            f"a rolling element of {size:g} mm does not fit a pitch circle of {pitch:g} mm",
            "Check both, in mm.",
        )
    elif size and pitch and count and count * size > 3.15 * pitch * 2:
        section.fault("elements", f"{count:g} of {size:g} mm do not fit", "Count again.")
    if bore and outside and bore >= outside:
        section.fault("bore_mm", "not smaller than outside_mm", "Exchange the two.")
    elif bore and outside and pitch and not bore < pitch < outside:
        section.fault("pitch_mm", "not between bore and outside", "Check it, in mm.")


ELEMENTS = Rule(what="balls or rollers", low=3, high=200, whole=True, how="counted")


ANGLE = Rule(what="a contact angle", low=0, high=90, unit="deg", how="plate")


ORDERS = ("outer", "inner", "spin", "roller", "cage")
