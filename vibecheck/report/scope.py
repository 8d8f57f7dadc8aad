"""What was examined and what was not: said of a healthy machine as of a faulty one."""

from __future__ import annotations

from vibecheck.diagnosis.findings import Diagnosis, TakeReport
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Machine
from vibecheck.report.at_work import AtWork, at_work
from vibecheck.report.writers import Names, listed, positions
from vibecheck.units import SECONDS_PER_MINUTE

PLURALS = {
    "gear": "gears",
    "shaft": "shafts",
    "bearing": "bearings",
    "belt": "belts",
}
SPECIAL = {
    "cutting": "under cut",
    "reverse": "in reverse",
    "coast-down": "coasting down",
}


def recorded(diagnosis: Diagnosis) -> tuple[str, ...]:
    """Lever positions with an ordinary take, each once, in the order of the takes."""
    labels = [take.heard_position or take.position for take in diagnosis.takes if _ordinary(take)]
    return tuple(dict.fromkeys(label for label in labels if label))


def _ordinary(take: TakeReport) -> bool:
    return take.kind in ("idle", "cutting")


def examined(diagnosis: Diagnosis, machine: Machine | None = None) -> tuple[str, ...]:
    """What these takes did look at, in sentences."""
    said = [_takes_said(diagnosis, machine)]
    said += _speeds_said(diagnosis, machine)
    parts = _parts_said(diagnosis, machine)
    return (*said, parts) if parts else tuple(said)


def _speeds_said(diagnosis: Diagnosis, machine: Machine | None) -> list[str]:
    """In how many takes the spindle was heard, and in how many only something else that turns."""
    takes = diagnosis.takes
    if not takes:
        return []
    some = [take for take in takes if take.spindle_rpm or take.speeds_hz]
    other = sum(take.spindle_rpm is None for take in some) if machine else 0
    said = f"The running speed was found from the sound in {len(some) - other} of {len(takes)} "
    said += _s(len(takes), "take")
    if other:
        said += f"; in {other} more, that of the motor or another shaft but not the spindle's"
    return [f"{said}."]


def _takes_said(diagnosis: Diagnosis, machine: Machine | None) -> str:
    seconds = sum(take.seconds for take in diagnosis.takes)
    count = len(diagnosis.takes)
    long = f"{seconds:.0f} s" if seconds < 600 else f"{seconds / SECONDS_PER_MINUTE:.0f} min"
    said = f"{count} {_s(count, 'take')}, {long} in all"
    here = recorded(diagnosis)
    if machine and len(machine.positions) > 1:
        return f"{said}, at {len(here)} of the machine's {len(machine.positions)} lever positions."
    return f"{said}, at {len(here)} lever positions." if len(here) > 1 else f"{said}."


def _parts_said(diagnosis: Diagnosis, machine: Machine | None) -> str:
    """How many parts of each kind had a say; only where the whole sweep was weighed."""
    if diagnosis.table is None or machine is None:
        return ""
    here = _worked(diagnosis, machine)
    counts = {
        "gear": len(here.gears),
        "shaft": len(here.rotors - {gear.name for gear in machine.gears}),
        "bearing": sum(orders_of(b) is not None for b in machine.bearings),
        "belt": len({belt.name for belt in machine.belts}),
    }
    said = [
        f"{count} {PLURALS[kind] if count > 1 else kind}" for kind, count in counts.items() if count
    ]
    return f"Judged one by one: {listed(said)}." if said else ""


def _worked(diagnosis: Diagnosis, machine: Machine) -> AtWork:
    """What turned or met at the positions whose speed was found."""
    known = [t for t in diagnosis.takes if t.speeds_hz or t.spindle_rpm]
    return at_work(machine, {take.heard_position or take.position for take in known})


def not_examined(
    diagnosis: Diagnosis, machine: Machine | None = None, names: Names | None = None
) -> tuple[str, ...]:
    """What these takes could not look at, in sentences."""
    return (
        *_positions_missing(diagnosis, machine),
        *_parts_missing(diagnosis, machine, names),
        *_kinds_missing(diagnosis, machine),
    )


def _positions_missing(diagnosis: Diagnosis, machine: Machine | None) -> tuple[str, ...]:
    if machine is None or len(machine.positions) < 2:
        return ()
    here = recorded(diagnosis)
    missing = [p.label for p in machine.positions if p.label not in here]
    return (f"Not recorded: {positions(missing)}.",) if missing else ()


def _parts_missing(
    diagnosis: Diagnosis, machine: Machine | None, names: Names | None
) -> tuple[str, ...]:
    if diagnosis.table is None or machine is None:
        return ()
    here, anywhere = _worked(diagnosis, machine), at_work(machine)
    called = names or {}
    met = at_work(machine, recorded(diagnosis))
    idle = [g.name for g in machine.gears if g.name in anywhere.gears - met.gears - here.gears]
    unheard = [g.name for g in machine.gears if g.name in met.gears - here.gears]
    blank = [b.name for b in machine.bearings if orders_of(b) is None]
    said = []
    if idle:
        said.append(f"Never in mesh here: {listed([called.get(name, name) for name in idle])}.")
    if unheard:
        named = listed([called.get(name, name) for name in unheard])
        said.append(f"In mesh only where no speed was used: {named}.")
    if blank:
        said.append(f"Without numbers: {listed([called.get(name, name) for name in blank])}.")
    if any(gear.name not in anywhere.gears for gear in machine.gears):
        said.append("The feed train: nothing says that it turned.")
    if not machine.bearings:
        said.append("Bearings: none are in the table.")
    return tuple(said)


def _kinds_missing(diagnosis: Diagnosis, machine: Machine | None) -> tuple[str, ...]:
    if machine is None or len(machine.positions) < 2:
        return ()
    made = {take.kind for take in diagnosis.takes}
    missing = [said for kind, said in SPECIAL.items() if kind not in made]
    return (f"No take {listed(missing, 'or')}.",) if missing else ()


def _s(count: int, word: str) -> str:
    return word if count == 1 else f"{word}s"
