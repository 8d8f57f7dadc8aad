"""What to record and why, in sentences and as JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from vibecheck.machine.planned import Inseparable, Plan, PlannedTake, SpecialTake
from vibecheck.report.cautions import Moment, cautions
from vibecheck.units import SECONDS_PER_MINUTE

WIDTH = 80

_SPECIALS = {
    "background": "Machine off, everything around it as it was",
    "motor alone": "Motor running with the belt off or the clutch out",
    "neutral": "Running with a lever in neutral",
    "chuck off": "The slowest and the fastest of the positions again with the chuck off",
    "reverse": "The same position with the spindle in reverse",
    "coast-down": "Start recording at speed, then switch the power off and let it run down",
    "cutting": "A light cut, at a position recorded idle as well",
    "tap": "Machine off: tap tool, work and headstock with a soft hammer",
}
_DECIDES = {
    "background": "what is there without the machine is not the machine",
    "motor alone": "what stays is the motor's, what goes is the belt's or beyond",
    "neutral": "what stops lies beyond that lever",
    "chuck off": "what goes with the chuck is out of balance in the chuck or the work",
    "reverse": "a damaged flank quietens when the other flank carries; a shaft does not",
    "coast-down": "mains stops at once, whatever turns glides down in pitch",
    "cutting": "chatter is there only while cutting and keeps its hertz",
    "tap": "a structure that rings at the same hertz when tapped",
}
_TESTS = {
    "inspect": "No recording parts them: look at both.",
    "reverse and inspect": "A recording in reverse may tell a flank from a shaft; else look at "
    "the gear.",
    "find the numbers": "Numbers are missing: count the teeth, or read the bearing's number, and "
    "plan again.",
    "power off": "Power off parts them: mains stops at once, the rest runs down.",
}
_MOMENTS: dict[str, tuple[Moment, ...]] = {
    "motor alone": ("belt off",),
    "coast-down": ("coast-down",),
    "cutting": ("cutting",),
}


def plan_text(plan: Plan) -> str:
    """The plan for the screen: what to set, how long and why, and what sound will not decide."""
    minutes = plan.seconds / SECONDS_PER_MINUTE
    blocks = [
        _filled(
            f"{plan.machine}: {_how_many(plan)} part all that can be parted of "
            f"{len(plan.suspects)} suspects; {minutes:.0f} min of recording."
        ),
        "Warm, idle, tumbler or feed in neutral, sensor left in place throughout.",
        _takes(plan.takes),
        *([_specials(plan.specials)] if plan.specials else []),
        *([_never(plan.inseparable)] if plan.inseparable else []),
        *([_idle(plan.never_work)] if plan.never_work else []),
        *([_more()] if plan.positions > len(plan.takes) else []),
        "\n".join(["Before you start", *(_bullet(line) for line in _cautions(plan))]),
    ]
    return "\n\n".join(blocks) + "\n"


def _how_many(plan: Plan) -> str:
    if plan.positions == 1:
        return "one take must"
    return f"{len(plan.takes)} of {plan.positions} lever positions"


def _more() -> str:
    return _filled(
        "Recording every position of the chart is better still: each take more is one more "
        "chance for a wrong suspect to fall."
    )


def _takes(takes: Sequence[PlannedTake]) -> str:
    wide = max((len("levers"), *(len(take.position) for take in takes)))
    lines = ["Record", f"  {'levers':<{wide}}  seconds  why so long"]
    for take in takes:
        head = f"  {take.position or '-':<{wide}}  {take.seconds:7.0f}  "
        lines.append(_filled(head + _reason(take), " " * len(head)))
    return "\n".join(lines)


def _reason(take: PlannedTake) -> str:
    if take.reason == "part two lines":
        return f"to part {take.hardest[0]} from {take.hardest[1]}"
    return {
        "shortest": "the shortest take worth having",
        "spindle turns": "twenty turns of the spindle",
        "hunting teeth": "the same two teeth of a pair meet three times",
    }[take.reason]


def special_text(special: SpecialTake) -> str:
    """One special take: what to do, what it decides, about which suspects."""
    about = ", ".join(special.about)
    place = f" ({special.position})" if special.position else ""
    return (
        f"{_SPECIALS[special.kind]}{place}, {special.seconds:.0f} s: "
        f"{_DECIDES[special.kind]}. About: {about}."
    )


def inseparable_text(group: Inseparable) -> str:
    """Suspects that no lever position parts, and what would."""
    return f"{' / '.join(group.suspects)}. {_TESTS[group.test]}"


def _specials(specials: Sequence[SpecialTake]) -> str:
    return "\n".join(["Also record", *(_bullet(special_text(s)) for s in specials)])


def _never(groups: Sequence[Inseparable]) -> str:
    head = "Never told apart at any lever position"
    return "\n".join([head, *(_bullet(inseparable_text(group)) for group in groups)])


def _idle(names: Sequence[str]) -> str:
    return _filled(f"At no position of the chart heard, so not judged: {', '.join(names)}.")


def _cautions(plan: Plan) -> tuple[str, ...]:
    moments: list[Moment] = ["before any recording", "fixing a sensor"]
    for special in plan.specials:
        moments += _MOMENTS.get(special.kind, ())
    if any("inspect" in group.test for group in plan.inseparable):
        moments.append("opening the head")
    return cautions(*moments)


def _bullet(text: str) -> str:
    return _filled(f"  - {text}", "    ")


def _filled(text: str, indent: str = "") -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=indent)


def plan_json(plan: Plan) -> dict[str, Any]:
    """The plan for other programs, schema ``vibecheck.plan/1``."""
    return {
        "schema": "vibecheck.plan/1",
        "machine": plan.machine,
        "suspects": list(plan.suspects),
        "seconds": plan.seconds,
        "takes": [
            {
                "levers": take.position,
                "seconds": take.seconds,
                "reason": take.reason,
                "hardest": list(take.hardest),
            }
            for take in plan.takes
        ],
        "specials": [
            {
                "kind": special.kind,
                "seconds": special.seconds,
                "levers": special.position,
                "about": list(special.about),
                "text": special_text(special),
            }
            for special in plan.specials
        ],
        "inseparable": [
            {"suspects": list(group.suspects), "why": group.why, "test": group.test}
            for group in plan.inseparable
        ],
        "never_heard": list(plan.never_work),
        "cautions": list(_cautions(plan)),
    }
