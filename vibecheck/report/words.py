"""From values to sentences: the same words for terminal, page and JSON."""

from __future__ import annotations

import re
import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor

from vibecheck.diagnosis.findings import Diagnosis, Fact, Finding, Verdict
from vibecheck.machine.parts import Machine, Mesh, When
from vibecheck.report.phrases import EFFORT, FAULT_SAID, GEARS_SAID, OTHER_KIND, PHRASES
from vibecheck.report.writers import Names, WrongFact, listed, written

_BRACKETS = re.compile(r"(\[[^\]]*\])")
_FORMATTER = string.Formatter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What a kind of fact carries: value name -> its sort, and which may be left out."""

    required: Mapping[str, str]
    optional: Mapping[str, str]


def needs(kind: str) -> Needs:
    """The values a fact of this kind must and may carry.

    >>> needs("clipped").required, needs("clipped").optional
    ({'take': 'take'}, {'percent': 'percent'})

    Raises
    ------
    WrongFact
        When there is no phrase for the kind.
    """
    required: dict[str, str] = {}
    optional: dict[str, str] = {}
    for piece in _pieces(kind):
        fields = {name: spec or "" for _, name, spec, _ in _FORMATTER.parse(piece) if name}
        (optional if piece.startswith("[") else required).update(fields)
    return Needs(
        required=required,
        optional={name: sort for name, sort in optional.items() if name not in required},
    )


def sentence(fact: Fact, names: Names | None = None) -> str:
    """The one phrase for a fact, filled in.

    Parameters
    ----------
    fact : Fact
    names : mapping, optional
        What to call the parts, see :func:`part_names`.

    Raises
    ------
    WrongFact
        Unknown kind; a value missing, of the wrong sort, or not asked for.
    """
    wanted = needs(fact.kind)
    given = {name: value for name, value in fact.values.items() if value is not None}
    missing = wanted.required.keys() - given.keys()
    strange = given.keys() - wanted.required.keys() - wanted.optional.keys()
    if missing or strange:
        raise WrongFact(
            f"fact {fact.kind!r}: missing {sorted(missing)}, not asked for {sorted(strange)}"
        )
    try:
        text = "".join(_filled(piece, given, names) for piece in _pieces(fact.kind))
    except WrongFact as wrong:
        raise WrongFact(f"fact {fact.kind!r}: {wrong}") from None
    starts_with_a_name = PHRASES[fact.kind].startswith(("{take:", "{first:take"))
    return _one_or_many(text if starts_with_a_name else capital(text))


def _pieces(kind: str) -> list[str]:
    if kind not in PHRASES:
        raise WrongFact(f"no phrase for facts of kind {kind!r}")
    return [piece for piece in _BRACKETS.split(PHRASES[kind]) if piece]


def _filled(piece: str, given: Mapping[str, object], names: Names | None) -> str:
    out = []
    aside = piece.startswith("[")
    for before, name, sort, _ in _FORMATTER.parse(piece[1:-1] if aside else piece):
        out.append(before)
        if name is None:
            continue
        if aside and name not in given:
            return ""
        out.append(written(sort or "", given[name], names))
    return "".join(out)


def _one_or_many(text: str) -> str:
    """ "1 tone(s)" and "3 tone(s)" as they are said."""
    text = re.sub(r"(?<![\d.])1 (\w+)\(s\)", r"1 \1", text)
    return text.replace("(s)", "s")


def sentences(facts: Sequence[Fact], names: Names | None = None) -> tuple[str, ...]:
    """Each fact as its sentence."""
    return tuple(sentence(fact, names) for fact in facts)


def effort(fact: Fact) -> str:
    """How long a next test takes, and whether a cover comes off; "" for anything else."""
    return "; ".join(EFFORT[fact.kind]) if fact.kind in EFFORT else ""


def part_names(machine: Machine | None) -> dict[str, str]:
    """What to call each part of a machine: gears by their teeth and shaft, shafts as shafts."""
    if machine is None:
        return {}
    names = {shaft: shaft_name(shaft) for shaft in machine.shafts}
    if machine.motor:
        names[machine.motor.shaft] = shaft_name(machine.motor.shaft)
    names[machine.spindle] = shaft_name(machine.spindle)
    for gear in machine.gears:
        names[gear.name] = gear_name(machine, gear.name)
    for mesh in machine.meshes:
        names[mesh.name] = pair_name(machine, mesh)
    others = [belt.name for belt in machine.belts]
    others += [bearing.name for bearing in machine.bearings]
    others += [pump.name for pump in machine.pumps]
    return OUTSIDE | names | {name: f"the {name}" for name in others}


def shaft_name(shaft: str) -> str:
    """ "shaft III", "the spindle"."""
    return f"shaft {shaft}" if re.fullmatch(r"[IVX]+|[0-9]+|[A-Z]", shaft) else f"the {shaft}"


def gear_name(machine: Machine, name: str) -> str:
    """ "the 62-tooth gear on shaft III"; its lever setting too where another has as many teeth."""
    gear = machine.gear(name)
    teeth = gear.teeth.value
    if not teeth:
        return (
            f"the {name}"
            if name.startswith(("driving gear", "driven gear"))
            else f"the gear {name}"
        )
    said = f"the {teeth:.0f}-tooth gear on {shaft_name(gear.shaft)}"
    twins = [g for g in machine.gears if (g.shaft, g.teeth.value) == (gear.shaft, teeth)]
    if len(twins) < 2:
        return said
    settings = [setting_said(m.when) for m in machine.meshes if name in (m.driver, m.driven)]
    return f"{said} ({settings[0] if any(settings) else name})"


def pair_name(machine: Machine, mesh: Mesh) -> str:
    """ "the pair 22/62"; its lever setting too where another pair has the same teeth."""
    said = _teeth(machine, mesh)
    twins = [m for m in machine.meshes if _teeth(machine, m) == said]
    setting = setting_said(mesh.when)
    return f"the pair {said} ({setting})" if len(twins) > 1 and setting else f"the pair {said}"


def _teeth(machine: Machine, mesh: Mesh) -> str:
    known = [machine.gear(name).teeth.value for name in (mesh.driver, mesh.driven)]
    return "/".join(
        f"{teeth:.0f}" if teeth else name
        for teeth, name in zip(known, (mesh.driver, mesh.driven), strict=True)
    )


def setting_said(when: When) -> str:
    """ "B2", or "A1/A3" when several settings engage the same pair."""
    return " ".join("/".join(f"{group}{s}" for s in allowed) for group, allowed in when.items())


OUTSIDE = {"tool": "the tool", "structure": "the structure or the room"}
"""What is no part of the gear table, and sounds."""

SURE: Mapping[Verdict, str] = {
    "shown": "shown by these takes",
    "likely": "likely",
    "possible": "possible, no more",
    "not shown": "not shown",
    "cannot tell": "cannot be told from these takes",
}


def percent(probability: float) -> str:
    """A probability as it is said: rounded down, never 0 % or 100 %.

    >>> percent(0.979), percent(0.9999), percent(0.002)
    ('97 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    if probability < 0.01:
        return "under 1 %"
    return f"{floor(100 * probability + 1e-9)} %"


def how_sure(finding: Finding) -> str:
    """ "likely (93 %)"; a "cannot tell" carries no number."""
    said = SURE[finding.verdict]
    return said if finding.verdict == "cannot tell" else f"{said} ({percent(finding.probability)})"


def who(finding: Finding, names: Names | None = None) -> str:
    """The part, or every part that cannot be told from it."""
    parts = finding.parts or (finding.part,)
    called = [(names or {}).get(part, part) for part in parts]
    return listed(list(dict.fromkeys(called)), "or")


def what(finding: Finding, names: Names | None = None) -> str:
    """The fault; and what it would be in parts of another kind that knock alike."""
    other = _of_two_kinds(finding, names)[1]
    return f"{finding.fault}, or {OTHER_KIND[finding.fault][0]}" if other else finding.fault


def _of_two_kinds(finding: Finding, names: Names | None) -> tuple[str, str]:
    """Parts of the finding's own kind, and those of another: a gear's tooth may knock as what is
    loose on its shaft does, and neither has the other's fault."""
    if finding.fault not in OTHER_KIND or names is None:
        return who(finding, names), ""
    kinds: dict[bool, list[str]] = {True: [], False: []}
    for part in finding.parts or (finding.part,):
        name = names.get(part, part)
        kinds[name == shaft_name(part)].append(name)
    of_shaft = finding.part_kind == "shaft"
    own, other = (listed(list(dict.fromkeys(kinds[k])), "or") for k in (of_shaft, not of_shaft))
    return (own, other) if own else (other, "")


def capital(text: str) -> str:
    """The text with a capital to start."""
    return text[:1].upper() + text[1:]


SEVERAL = {"is": "are", "has": "have", "makes": "make"}
"""Verbs of a part that the table gives in the plural: belts that run side by side."""


def accusation(finding: Finding, names: Names | None = None) -> str:
    """One sentence that says who, what and how sure.

    >>> accusation(Finding(part="62", fault="broken or damaged tooth", verdict="likely",
    ...     probability=0.93), {"62": "the 62-tooth gear on shaft III"})
    'The 62-tooth gear on shaft III likely has a broken or damaged tooth (93 %).'
    >>> accusation(Finding(part="V-belts", part_kind="belt", fault="lumpy or set belt",
    ...     verdict="likely", probability=0.9))
    'V-belts are likely lumpy or have taken a set (90 %).'
    >>> accusation(Finding(part="51T", part_kind="gear", verdict="likely", probability=0.9,
    ...     fault="loose on its shaft or in its seat"))
    '51T is likely loose on its shaft (90 %).'
    """
    own, other = _of_two_kinds(finding, names)
    said_of = GEARS_SAID if finding.part_kind == "gear" and not other else FAULT_SAID
    verb, rest = said_of.get(finding.fault) or FAULT_SAID.get(
        finding.fault, ("has", f"this fault: {finding.fault}")
    )
    if other:
        rest += f", or {OTHER_KIND[finding.fault][1].format(other)}"
    if own.endswith("belts"):
        verb, rest = SEVERAL.get(verb, verb), rest.replace(" has ", " have ")
    doubt = {"shown": "", "likely": "likely ", "possible": "possibly "}.get(finding.verdict, "")
    sure = percent(finding.probability)
    if finding.verdict == "shown":
        return capital(f"{own} {verb} {rest}: these takes show it ({sure}).")
    said = f"{verb} {doubt}" if verb in ("is", "are") else f"{doubt}{verb} "
    return capital(f"{own} {said}{rest} ({sure}).")


def headline(diagnosis: Diagnosis, names: Names | None = None) -> str:
    """The verdict of the whole in one plain sentence."""
    named = diagnosis.faults_named
    if named:
        return " ".join(accusation(finding, names) for finding in named)
    doubtful = [f for f in diagnosis.findings if f.verdict == "possible"]
    if doubtful:
        said = [f"{who(f, names)} ({f.fault}, {percent(f.probability)})" for f in doubtful[:3]]
        return f"Nothing is certain yet. Possible, no more: {listed(said, 'or')}."
    if diagnosis.findings and any(f.verdict == "cannot tell" for f in diagnosis.findings):
        return "These takes cannot tell whether anything is wrong."
    unable = _why_unable(diagnosis)
    if unable:
        return f"These takes cannot tell: {unable}."
    closest = max(diagnosis.findings, key=lambda f: f.probability, default=None)
    if closest is None:
        return "No fault is shown by these takes."
    return (
        f"No fault is shown by these takes. Closest to one, and not shown: "
        f"{who(closest, names)} ({closest.fault}, {percent(closest.probability)})."
    )


STILL = ("background", "tap", "coast-down", "motor alone")
"""Kinds of takes in which no spindle speed is looked for."""


def _why_unable(diagnosis: Diagnosis) -> str:
    """Why no fault shown does not mean no fault; "" when it may."""
    running = [take for take in diagnosis.takes if take.kind not in STILL]
    if not running:
        return "there is none of the running machine"
    known = [take for take in running if take.speeds_hz or take.spindle_rpm]
    if 2 * len(known) >= len(running):
        return ""
    if not known:
        return "the running speed was found in none of them"
    return f"the running speed was found in only {len(known)} of {len(running)}"
