"""What turns and what is heard at each lever position, as tables 80 columns wide."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from vibecheck.machine.coincidences import Coincidence
from vibecheck.machine.motor import pole_pass_hz
from vibecheck.machine.parts import Known, Machine
from vibecheck.machine.tones import Tone, hunting_divisor, tones
from vibecheck.machine.train import MeshAtWork, Turning
from vibecheck.machine.turning import sweep
from vibecheck.report.coincidence_words import coincidence_text, same_teeth_text
from vibecheck.report.speed_columns import cells, table, wrap
from vibecheck.units import rpm

MOST = 12
"""Coincidences printed unless all are asked for."""


def speed_text(
    machine: Machine, alike: Sequence[Coincidence], remarks: Sequence[str] = (), most: int = MOST
) -> str:
    """All tables of a machine and what sounds alike in it."""
    turnings = sweep(machine)
    parts = [
        *wrap(_heading(machine)),
        *(line for remark in remarks for line in wrap(f"Remark: {remark}", "  ")),
        "",
        "Turns a minute by the table; the chart's promise beside the spindle",
        *_shaft_table(machine, turnings),
        "",
        *_mesh_tables(machine, turnings),
        *_other_lines(machine, turnings),
        *alike_text(machine, alike, most),
    ]
    return "\n".join(parts) + "\n"


def position_text(machine: Machine, here: Turning, alike: Sequence[Coincidence] = ()) -> str:
    """Every line of one lever position, from low to high, and what falls together there."""
    chart = here.position.chart_rpm
    head = f"{here.label or machine.name}: spindle {_rpm(here, machine.spindle)} rpm"
    if chart.low is not None:
        head += f", chart {_known(chart)}"
    rows = sorted(
        ((tone.hz(here), line_name(tone, here), _per_turn(tone, here)) for tone in tones(here)),
        key=lambda row: (row[0] is None, row[0] or 0.0),
    )
    body = [f"{figure(hz):>10}  {times:>9}  {name}" for hz, name, times in rows]
    table = [head, "", f"{'Hz':>10}  {'per turn':>9}  line", *body]
    together = ["", *alike_text(machine, alike, len(alike))] if alike else []
    return "\n".join([*table, *together]) + "\n"


def alike_text(machine: Machine, alike: Sequence[Coincidence], most: int) -> list[str]:
    """What sounds alike, most important first, as a numbered list."""
    worth = [case for case in alike if case.kind != "same teeth"]
    lines = ["What sounds alike: know this before measuring"]
    if not worth:
        lines.append("  Nothing: no two low lines of this machine fall together.")
    for number, case in enumerate(worth[:most], start=1):
        lines += wrap(f"{number:>2}. {coincidence_text(machine, case)}", "    ")
    if len(worth) > most:
        lines += wrap(f"    {len(worth) - most} more; --all prints them.", "    ")
    teeth = [case for case in alike if case.kind == "same teeth"]
    if teeth:
        lines += ["", *wrap(same_teeth_text(teeth))]
    return lines


def _heading(machine: Machine) -> str:
    supply, motor = machine.supply, machine.motor
    count = len(machine.positions)
    words = [f"{machine.name}: {count} lever position{'s' if count != 1 else ''}"]
    words.append(f"{supply.mains_hz:g} Hz mains, {supply.kind} supply")
    if supply.kind == "inverter":
        words.append(f"motor fed at {_known(supply.hz)} Hz")
    if motor is not None:
        plates = [speed.plate_rpm for speed in motor.speeds] or [motor.plate_rpm]
        told = "/".join(_known(plate) for plate in plates)
        words.append(f"motor {told} rpm" if told != "?" else "motor speed not known")
    return ", ".join(words) + "."


def _shaft_table(machine: Machine, turnings: Sequence[Turning]) -> list[str]:
    rotors = list(dict.fromkeys(name for here in turnings for name in here.rotors))
    own = {gear.name for gear in machine.gears}
    motor = machine.motor
    steady = motor.shaft if motor and not motor.speeds else ""
    shafts = [n for n in rotors if n not in own and n not in (machine.spindle, steady)]
    columns: list[tuple[str, Callable[[Turning], str]]] = [
        ("chart", lambda here: _known(here.position.chart_rpm)),
        (machine.spindle, lambda here: _rpm(here, machine.spindle)),
        *((name, _rpm_of(name)) for name in shafts),
    ]
    if own & set(rotors):
        columns.append(("loose gear", lambda here: _loose(here, own)))
    return table(turnings, columns)


def _loose(here: Turning, own: set[str]) -> str:
    """Gears that turn free on their shaft, "38T 371.8"."""
    free = [f"{name.split(' (')[0]} {_rpm(here, name)}" for name in here.rotors if name in own]
    return ", ".join(free) or "-"


def _rpm_of(rotor: str) -> Callable[[Turning], str]:
    return lambda here: _rpm(here, rotor)


def _rpm(here: Turning, rotor: str) -> str:
    if rotor not in here.rotors:
        return "-"
    hz = here.nominal_hz(rotor)
    return "?" if hz is None else f"{rpm(hz):.1f}"


def _mesh_tables(machine: Machine, turnings: Sequence[Turning]) -> list[str]:
    if not any(here.meshes for here in turnings):
        return []
    rates = [[_pair(work, _mesh_hz(work, here)) for work in _ranked(here)] for here in turnings]
    again = [[_pair(work, _again_s(work, here)) for work in _ranked(here)] for here in turnings]
    idle = any(not work.loaded for here in turnings for work in here.meshes)
    note = " (in brackets: unloaded)" if idle else ""
    return [
        f"Pairs in mesh and their tooth-meeting rates, Hz{note}",
        *cells([here.label for here in turnings], rates),
        "",
        "Hunting tooth: seconds until the same two teeth meet again",
        *cells([here.label for here in turnings], again),
        "",
    ]


def _ranked(here: Turning) -> list[MeshAtWork]:
    """The driving pairs in the order of the power flow, then those that only turn along."""
    return sorted(here.meshes, key=lambda work: not work.loaded)


def _pair(work: MeshAtWork, value: str) -> str:
    text = f"{work.name.split(' (')[0]} {value}"
    return text if work.loaded else f"({text})"


def _mesh_hz(work: MeshAtWork, here: Turning) -> str:
    base = here.groups[work.group].nominal_hz
    return "?" if base is None or work.order is None else f"{base * work.order:.1f}"


def _again_s(work: MeshAtWork, here: Turning) -> str:
    base, divisor = here.groups[work.group].nominal_hz, hunting_divisor(work)
    if base is None or work.order is None or divisor is None:
        return "?"
    return f"{divisor / (base * work.order):.2f}"


def _other_lines(machine: Machine, turnings: Sequence[Turning]) -> list[str]:
    """Belts, bearings, pumps, mains: steady ones in one sentence, the others in a table."""
    plain = ("turn", "mesh", "hunting tooth")
    found: dict[str, dict[str, float | None]] = {}
    for here in turnings:
        rubs = [t for t in tones(here) if t.nature == "rub" and t.part not in machine.rides_on]
        for tone in tones(here):
            if tone.nature not in plain:
                # Where one gear at a time turns loose, one column will do for all of them.
                name = "loose gear rubbing" if rubs == [tone] else line_name(tone, here)
                found.setdefault(name, {})[here.label] = tone.hz(here)
    motor = machine.motor
    if motor:
        found[f"{motor.shaft} turning"] = {t.label: t.nominal_hz(motor.shaft) for t in turnings}
        found |= _pole_pass(machine, turnings)
    steady: dict[str, dict[str, float | None]] = {}
    moving: dict[str, dict[str, float | None]] = {}
    for name, by_label in found.items():
        texts = {figure(hz) for hz in by_label.values()}
        alone = len(texts) == 1 and len(by_label) == len(turnings)
        (steady if alone else moving)[name] = by_label
    lines: list[str] = []
    if steady:
        told = [f"{name} {figure(next(iter(row.values())))}" for name, row in steady.items()]
        lines += [*wrap("The same at every lever position, Hz: " + ", ".join(told) + "."), ""]
    if moving:
        columns = [(name, _hz_of(row)) for name, row in moving.items()]
        lines += ["Belt, bearing and other lines, Hz", *table(turnings, columns), ""]
    if len(machine.bearings) > len({t.part for t in tones(turnings[0]) if t.nature == "cage"}):
        lines += _unknown_bearings(machine, turnings)
    return lines


def _pole_pass(machine: Machine, turnings: Sequence[Turning]) -> dict[str, dict[str, float | None]]:
    """Poles times slip, which needs the plate's speed and holds for full load."""
    motor, fed = machine.motor, machine.supply.hz.value
    poles = motor.poles.value if motor else None
    if motor is None or not poles or not fed or motor.speeds or not motor.plate_rpm.value:
        return {}
    row: dict[str, float | None] = {}
    for here in turnings:
        turn = here.nominal_hz(motor.shaft)
        if turn is not None and 0 < turn < 2.0 * fed / poles:
            row[here.label] = pole_pass_hz(poles, fed, turn)
    return {"pole pass at full load": row} if row else {}


def _unknown_bearings(machine: Machine, turnings: Sequence[Turning]) -> list[str]:
    told = {tone.part for here in turnings for tone in tones(here)}
    unknown = [bearing.name for bearing in machine.bearings if bearing.name not in told]
    if not unknown:
        return []
    text = f"No lines for {', '.join(unknown)}: the numbers are not known (or it is plain)."
    return [*wrap(text), ""]


def _hz_of(by_label: dict[str, float | None]) -> Callable[[Turning], str]:
    return lambda here: figure(by_label[here.label]) if here.label in by_label else "-"


_NATURES = {
    "turn": "{} turning",
    "mesh": "{} mesh",
    "hunting tooth": "{} same teeth",
    "belt": "{} going round",
    "belt tooth": "{} teeth",
    "roller": "{} roller (2 x spin)",
    "mains": "twice mains",
    "motor torque": "twice the drive's frequency",
}


def line_name(tone: Tone, here: Turning) -> str:
    """What one line is called in the tables."""
    if tone.nature == "rub":
        name = here.machine.rides_on.get(tone.part)
        return f"{tone.part} rubbing on {name or 'its shaft'}"
    named = _NATURES.get(tone.nature, "{} " + tone.nature).format(tone.part)
    return named if tone.loaded else f"{named} (unloaded)"


def _per_turn(tone: Tone, here: Turning) -> str:
    """Cycles for each turn of the spindle."""
    hz, spindle = tone.hz(here), None
    if here.machine.spindle in here.rotors:
        spindle = here.nominal_hz(here.machine.spindle)
    return f"{hz / spindle:.3f}" if hz is not None and spindle else "-"


def figure(hz: float | None) -> str:
    """A frequency to a sensible last place."""
    if hz is None:
        return "?"
    return f"{hz:.1f}" if hz >= 100 else f"{hz:.2f}" if hz >= 1 else f"{hz:.3f}"


def _known(known: Known) -> str:
    if known.low is None or known.high is None:
        return "?"
    return f"{known.low:g}" if known.low == known.high else f"{known.low:g}-{known.high:g}"
