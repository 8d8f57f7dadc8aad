"""Which takes to make: every lever position, those asked for, or the fewest that part all."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vibecheck.capture.sweep import SPECIAL_S, Step, plan_steps, position_step, special_step
from vibecheck.errors import UsageError
from vibecheck.files.naming import words_of
from vibecheck.recording import TakeKind

if TYPE_CHECKING:
    from vibecheck.files.job import Job
    from vibecheck.machine.parts import Machine

Chart = list[tuple[str, float | None]]


def machine_of(job: Job, named: str | None) -> Machine | None:
    """The job's own table, else the one named, else none."""
    from vibecheck.files.gear_table import read_machine

    table = job.machine_path or named
    return None if table is None else read_machine(table)


def steps_of(machine: Machine | None, told: dict[str, Any]) -> tuple[Step, ...]:
    """The takes to make, from the machine and what was asked."""
    if told.get("planned"):
        return _planned(machine, told["seconds"], told["repeats"])
    chart = _chart(machine, told["positions"])
    specials = [_special(text, [label for label, _ in chart]) for text in told["specials"]]
    if not any(kind == "background" for kind, _ in specials):
        specials.insert(0, ("background", None))
    if not chart:
        raise UsageError(
            "no lever positions known", "Give the machine's table (--machine) or --position."
        )
    return plan_steps(chart, specials, told["seconds"], told["repeats"])


def _planned(machine: Machine | None, seconds: float | None, repeats: int) -> tuple[Step, ...]:
    """The fewest takes that part all suspects, as ``vibecheck plan`` lists them."""
    from vibecheck.machine.separate import plan

    if machine is None:
        raise UsageError("no machine to plan for", "Give its table (--machine).")
    made, rpm = plan(machine), dict(_chart(machine, ()))
    specials = [
        special_step(one.kind, one.position or None, rpm.get(one.position), seconds or one.seconds)
        for one in made.specials
    ]
    early = [step for step in specials if step.kind == "background"]
    late = [step for step in specials if step.kind != "background"]
    takes = [
        position_step(take.position, rpm.get(take.position), seconds or take.seconds)
        for take in made.takes
    ]
    return (*(early or [special_step("background")]), *(takes * repeats), *late)


def _chart(machine: Machine | None, wanted: tuple[str, ...]) -> Chart:
    if machine is None:
        return [(label, None) for label in wanted]
    chart: Chart = [(one.label, _expected_rpm(machine, one.label)) for one in machine.positions]
    if not wanted:
        return chart
    found: Chart = []
    for text in wanted:
        same = [one for one in chart if "".join(words_of(one[0])) == "".join(words_of(text))]
        if not same:
            raise UsageError(
                f"no lever position {text!r}", f"Use {', '.join(label for label, _ in chart)}."
            )
        found += same
    return found


def _expected_rpm(machine: Machine, label: str) -> float | None:
    """What the chart promises; without a chart, what the table gives."""
    from vibecheck.machine.turning import turning
    from vibecheck.units import rpm

    position = machine.position(label)
    if position.chart_rpm.middle is not None:
        return position.chart_rpm.middle
    turned = turning(machine, position)
    known = turned.nominal_hz(machine.spindle) if machine.spindle in turned.rotors else None
    return None if known is None else rpm(known)


def _special(text: str, labels: list[str]) -> tuple[TakeKind, str | None]:
    word, _, where = text.partition("@")
    kinds = [kind for kind in SPECIAL_S if words_of(kind) == words_of(word)]
    if not kinds:
        raise UsageError(f"no special take {word!r}", f"Use {', '.join(SPECIAL_S)}.")
    same = [label for label in labels if "".join(words_of(label)) == "".join(words_of(where))]
    if where and not same:
        raise UsageError(f"no lever position {where!r}", f"Use {', '.join(labels)}.")
    return kinds[0], same[0] if same else None
