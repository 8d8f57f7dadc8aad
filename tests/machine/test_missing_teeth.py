"""Which counts of a gear nobody counted the speed chart allows."""

from __future__ import annotations

import pytest
from twelve_speeds import TABLE

from vibecheck.files.gear_table import parse_table
from vibecheck.machine.missing_teeth import possible_counts, with_counts
from vibecheck.machine.parts import Machine
from vibecheck.machine.turning import sweep, turning
from vibecheck.machine.wrong_numbers import chart_rounding, chart_speeds, explain_speeds
from vibecheck.units import rpm

DRIVEN_A2, DRIVING_B2 = "driven gear (A2, II)", "driving gear (B2, II)"


def possible_teeth(machine: Machine, gear: str) -> list[int]:
    mesh = next(m for m in machine.meshes if gear in (m.driver, m.driven))
    return [counts[gear] for counts in possible_counts(machine, mesh)]


def charted(slip: float = 0.0, fives: bool = False, **unknown: str) -> Machine:
    """The table with some counts unknown, and a chart made from the true ones."""
    table = TABLE
    for known, asked in unknown.items():
        table = table.replace(known[1:].replace("_", "/"), asked)
    speeds = {
        here.label: rpm(here.nominal_hz("spindle") or 0.0) * (1.0 - slip)
        for here in sweep(parse_table(TABLE).machine)
    }
    step = 5 if fives else 1
    lines = [f'"{label}" = {max(step, step * round(n / step))}' for label, n in speeds.items()]
    return parse_table(table + "[chart_rpm]\n" + "\n".join(lines)).machine


@pytest.mark.parametrize("slip", [0.0, 0.02])
def test_the_true_count_is_among_the_few_that_fit_the_chart(slip: float) -> None:
    machine = charted(slip, n32_44="32/?")
    allowed = possible_teeth(machine, DRIVEN_A2)
    assert 44 in allowed
    assert len(allowed) <= 3


def test_a_chart_in_fives_allows_more_counts_at_slow_speeds_only() -> None:
    exact = possible_teeth(charted(n22_62="?/62"), DRIVING_B2)
    rounded = possible_teeth(charted(fives=True, n22_62="?/62"), DRIVING_B2)
    assert 22 in rounded
    assert set(exact) <= set(rounded)


def test_a_count_behind_another_unknown_one_waits_for_it() -> None:
    both = charted(n38_38="38/?", n32_44="32/?", n25_51="25/?", n22_62="?/62")
    assert possible_teeth(both, DRIVING_B2) == []
    one = with_counts(both, {DRIVEN_A2: 44})
    assert 22 in possible_teeth(one, DRIVING_B2)


def test_two_counts_of_a_pair_are_told_by_the_sum_of_another_of_its_lever() -> None:
    machine = charted(n32_44="?/?")
    mesh = next(m for m in machine.meshes if DRIVEN_A2 in (m.driver, m.driven))
    allowed = [
        (counts[mesh.driver], counts[mesh.driven]) for counts in possible_counts(machine, mesh)
    ]
    assert (32, 44) in allowed
    assert all(abs(sum(pair) - 76) <= 1 for pair in allowed)
    assert len(allowed) <= 6


def test_two_counts_of_a_pair_that_stands_alone_are_not() -> None:
    machine = charted(n61_31="?/?", n18_74="?/?")
    mesh = machine.meshes[-1]
    assert possible_counts(machine, mesh) == []


def test_without_a_chart_nothing_is_allowed_or_ruled_out() -> None:
    assert possible_teeth(parse_table(TABLE.replace("32/44", "32/?")).machine, DRIVEN_A2) == []


def test_a_chart_that_slips_alike_accuses_no_pair_though_some_teeth_are_unknown() -> None:
    machine = charted(0.024, n43_41="43/?")
    told = explain_speeds(machine, chart_speeds(machine), 2e-3, chart_rounding(machine))
    assert (told.kind, told.pairs) == ("agree", ())


@pytest.mark.parametrize("slip", [0.0, 0.024, -0.02])
def test_what_a_chart_lends_stands_to_the_table_as_all_else_does(slip: float) -> None:
    """A chart of the loaded machine says less than the table everywhere: that is no speed lost."""
    whole, machine = charted(slip), charted(slip, n43_41="43/?")
    for place in machine.positions:
        lent = turning(machine, place).nominal_hz(machine.spindle)
        table = turning(whole, whole.position(place.label)).nominal_hz(whole.spindle)
        assert lent == pytest.approx(table, rel=8e-3), place.label
