"""Driven over driver speed of a pair, a belt and a planetary stage."""

from __future__ import annotations

from math import sqrt

from vibecheck.machine.parts import Belt, Machine, Mesh, Planetary


def mesh_ratio(machine: Machine, mesh: Mesh) -> float | None:
    """Driven speed over driver speed; None unless both gears are counted.

    >>> from vibecheck.machine.parts import Gear, Known
    >>> m = Machine(name="m", gears=(Gear(name="a", shaft="I", teeth=Known.exactly(25)),
    ...     Gear(name="b", shaft="II", teeth=Known.exactly(50))))
    >>> mesh_ratio(m, Mesh(driver="a", driven="b"))
    0.5
    """
    driver, driven = machine.gear(mesh.driver).teeth.value, machine.gear(mesh.driven).teeth.value
    if driver and driven:
        return driver / driven
    return None


_RATIO_ERROR = 0.005


def mesh_span(machine: Machine, mesh: Mesh) -> tuple[float, float, float] | None:
    """Driven over driver speed (likely, lowest, highest) of a pair not counted exactly.

    From ranges of teeth, or from a ratio someone worked out: a decimal is no tooth count, so it
    is taken to be good to half a per cent.
    """
    driver, driven = machine.gear(mesh.driver).teeth, machine.gear(mesh.driven).teeth
    if driver.low and driver.high and driven.low and driven.high:
        low, high = driver.low / driven.high, driver.high / driven.low
    elif mesh.ratio.low and mesh.ratio.high:
        low = mesh.ratio.low * (1 - _RATIO_ERROR)
        high = mesh.ratio.high * (1 + _RATIO_ERROR)
    else:
        return None
    return sqrt(low * high), low, high


def belt_speed(belt: Belt) -> float | tuple[float, float, float] | None:
    """Driven over driver speed: exact for toothed belts, else (likely, lowest, highest)."""
    ratio = belt_ratio(belt)
    driver, driven = belt.driver_mm.middle, belt.driven_mm.middle
    if not isinstance(ratio, tuple) or not driver or not driven:
        return ratio if isinstance(ratio, float) else None
    low, high = belt.slip.low, belt.slip.high
    slip = 0.015 if low is None or high is None else (low + high) / 2.0
    return driver / driven * (1.0 - slip), ratio[0], ratio[1]


def belt_ratio(belt: Belt) -> float | tuple[float, float] | None:
    """Driven over driver speed: exact for toothed belts, a range for belts that slip."""
    if belt.toothed:
        driver, driven = belt.driver_teeth.value, belt.driven_teeth.value
        return driver / driven if driver and driven else None
    if None in (belt.driver_mm.low, belt.driven_mm.low):
        return None
    assert belt.driver_mm.low is not None
    assert belt.driver_mm.high is not None
    assert belt.driven_mm.low is not None
    assert belt.driven_mm.high is not None
    slip_low = belt.slip.low if belt.slip.low is not None else 0.0
    slip_high = belt.slip.high if belt.slip.high is not None else 0.03
    if slip_low == slip_high:
        slip_low, slip_high = slip_low - 0.015, slip_high + 0.015
    return (
        belt.driver_mm.low / belt.driven_mm.high * (1.0 - slip_high),
        belt.driver_mm.high / belt.driven_mm.low * (1.0 - slip_low),
    )


def planetary_ratio(stage: Planetary) -> float | None:
    """Output speed over input speed with one member held.

    Willis' equation, sun*ns + ring*nr = (sun + ring)*nc, any textbook of mechanisms.
    """
    sun, ring = stage.sun_teeth.value, stage.ring_teeth.value
    if not sun or not ring:
        return None
    both = sun + ring
    weight = {"sun": sun, "ring": ring, "carrier": -both}
    output_member = ({"sun", "ring", "carrier"} - {stage.held, stage.input_member}).pop()
    return abs(weight[stage.input_member] / weight[output_member])


def planetary_reverses(stage: Planetary) -> bool:
    """Whether the output turns against the input: only with the carrier held."""
    return stage.held == "carrier"


def planet_mesh_per_input(stage: Planetary, sun: float, ring: float) -> float:
    """Tooth-meeting rate over input speed: each member's teeth times its speed past the carrier."""
    speeds: dict[str, float] = {stage.held: 0.0, stage.input_member: 1.0}
    missing = next(m for m in ("sun", "ring", "carrier") if m not in speeds)
    weight: dict[str, float] = {"sun": sun, "ring": ring, "carrier": -(sun + ring)}
    speeds[missing] = -weight[stage.input_member] / weight[missing]
    return abs(ring * (speeds["ring"] - speeds["carrier"]))
