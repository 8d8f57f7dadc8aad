"""Laws that hold for every machine and every bearing."""

from dataclasses import replace
from itertools import product
from math import isclose

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecheck.machine.bearings import BearingOrders
from vibecheck.machine.coincidences import coincidences
from vibecheck.machine.parts import (
    Belt,
    Coupling,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Motor,
    Position,
)
from vibecheck.machine.signature import indistinguishable
from vibecheck.machine.tones import tones
from vibecheck.machine.turning import sweep, turning

teeth = st.integers(16, 90)
angles = st.floats(0, 80)


@given(st.integers(5, 40), st.floats(1, 30), st.floats(2.5, 20), angles)
def test_outer_and_inner_add_to_the_number_of_elements(count, size, times, angle):
    orders = BearingOrders.of_geometry(count, size, size * times, angle)
    assert isclose(orders.outer + orders.inner, count)
    assert isclose(orders.outer, count * orders.cage)
    assert isclose(orders.inner, count * (1 - orders.cage))
    assert orders.outer <= orders.inner


@st.composite
def machines(draw):
    """Heads of two or three levers with two pairs each, sliding or clutched."""
    names = "ABC"[: draw(st.integers(2, 3))]
    gears, meshes, groups = [], [], []
    for number, lever in enumerate(names):
        start, end = f"S{number}", "spindle" if lever == names[-1] else f"S{number + 1}"
        style = draw(st.sampled_from(["sliding", "dog clutch"]))
        for setting in ("1", "2"):
            pair = [
                Gear(name=f"{lever}{setting} {side}", shaft=shaft, teeth=Known.exactly(draw(teeth)))
                for side, shaft in (("driver", start), ("driven", end))
            ]
            gears += pair
            meshes.append(
                Mesh(
                    driver=pair[0].name,
                    driven=pair[1].name,
                    when={lever: (setting,)},
                    style=style,
                    loose=pair[1].name if style == "dog clutch" else "",
                )
            )
        groups.append(LeverGroup(name=lever, settings=("1", "2")))
    belt = Belt(
        name="belt",
        driver="motor",
        driven="S0",
        driver_mm=Known.exactly(draw(st.integers(60, 200))),
        driven_mm=Known.exactly(draw(st.integers(60, 200))),
        length_mm=Known.exactly(1400),
    )
    positions = [dict(zip(names, s, strict=True)) for s in _settings(len(names))]
    return Machine(
        name="random head",
        motor=Motor(plate_rpm=Known.exactly(1440)),
        shafts=("motor", *(f"S{i}" for i in range(len(names))), "spindle"),
        gears=tuple(gears),
        meshes=tuple(meshes),
        belts=(belt,),
        groups=tuple(groups),
        positions=tuple(Position(levers=levers) for levers in positions),
    )


def _settings(count):
    return list(product("12", repeat=count))


@settings(max_examples=40, deadline=None)
@given(machines())
def test_a_mesh_rate_is_the_same_from_either_gear(machine):
    for here in sweep(machine):
        for work in here.meshes:
            driver, driven = here.rotors[work.driver], here.rotors[work.driven]
            assert isclose(work.driver_teeth * driver.ratio, work.driven_teeth * driven.ratio)
            assert driver.reverse != driven.reverse


@settings(max_examples=40, deadline=None)
@given(machines())
def test_the_ratio_round_a_closed_train_is_one(machine):
    """Back from the spindle to the first shaft through a copy of every pair: nothing may turn."""
    here = sweep(machine)[0]
    ratio = here.rotors["spindle"].ratio / here.rotors["S0"].ratio
    back = (
        Gear(name="back driver", shaft="spindle", teeth=Known.exactly(1e6)),
        Gear(name="back driven", shaft="extra", teeth=Known.exactly(1e6 * ratio)),
    )
    closed = replace(
        machine,
        gears=(*machine.gears, *back),
        meshes=(*machine.meshes, Mesh(driver="back driver", driven="back driven")),
    )
    extra = turning(closed, machine.positions[0]).rotors["extra"]
    assert isclose(extra.ratio, here.rotors["S0"].ratio)


@settings(max_examples=25, deadline=None)
@given(machines())
def test_a_train_closed_on_itself_at_another_ratio_is_refused_as_locked(machine):
    from vibecheck.errors import GearTableError

    here = sweep(machine)[0]
    ratio = here.rotors["spindle"].ratio / here.rotors["S0"].ratio
    if isclose(ratio, 1.0):
        return
    closed = replace(machine, couplings=(Coupling(driver="S0", driven="spindle"),))
    with pytest.raises(GearTableError, match="the train is locked"):
        turning(closed, machine.positions[0])


def renamed(machine, new):
    """The machine with every gear's and belt's name changed."""
    return replace(
        machine,
        gears=tuple(replace(gear, name=new(gear.name)) for gear in machine.gears),
        meshes=tuple(
            replace(
                mesh,
                driver=new(mesh.driver),
                driven=new(mesh.driven),
                loose=new(mesh.loose) if mesh.loose else "",
            )
            for mesh in machine.meshes
        ),
        belts=tuple(replace(belt, name=new(belt.name)) for belt in machine.belts),
    )


@settings(max_examples=25, deadline=None)
@given(machines())
def test_renaming_parts_renames_only_names(machine):
    other = renamed(machine, lambda name: name[::-1] + "'")
    for here, there in zip(sweep(machine), sweep(other), strict=True):
        ours = sorted((t.nature, t.order, t.loaded) for t in tones(here))
        theirs = sorted((t.nature, t.order, t.loaded) for t in tones(there))
        assert ours == theirs
    kinds = [
        sorted((c.kind, c.where, c.apart, c.exact) for c in coincidences(m))
        for m in (machine, other)
    ]
    assert kinds[0] == kinds[1]
    groups = [sorted(len(g) for g in indistinguishable(m)) for m in (machine, other)]
    assert groups[0] == groups[1]


@settings(max_examples=25, deadline=None)
@given(machines(), st.floats(0.5, 2.0))
def test_a_faster_motor_moves_every_line_but_the_mains_by_one_factor(machine, factor):
    faster = replace(machine, motor=Motor(plate_rpm=Known.exactly(1440 * factor)))
    for here, there in zip(sweep(machine), sweep(faster), strict=True):
        for tone, other in zip(tones(here), tones(there), strict=True):
            times = 1.0 if tone.nature == "mains" else factor
            assert isclose(tone.hz(here) * times, other.hz(there))
