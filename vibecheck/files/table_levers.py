"""The levers: which pair each setting selects, between which shafts."""

from __future__ import annotations

from typing import Any, get_args

from vibecheck.files.table_draft import Draft
from vibecheck.files.table_numbers import LENGTH, RATIO, Rule, Unreadable, read_known
from vibecheck.files.table_pairs import LOOSE, Joint, add_train, is_pulleys, read_pulleys
from vibecheck.files.table_section import Notes, Section, nearest
from vibecheck.machine.parts import Belt, Coupling, Known, LeverGroup, MeshStyle, MotorSpeed, When

NOTHING_HERE = ("neutral", "elsewhere")
"""A setting that selects nothing at all, and one whose pairs are described under [[pairs]]."""
RESERVED = ("between", "style", "loose", "through", "belt", "length_mm", "slip", "count")
PLATE_RPM = Rule(what="motor rpm", low=100, high=40000, unit="rpm", how="plate")
ORDINARY_SLIP = Known.between(0.0, 0.03)
SLIP = Rule(what='belt slip (a part of one, "0.015" for 1.5 %)', low=0.0, high=0.2)


def roman(number: int) -> str:
    """Shaft numbers as they are stamped.

    >>> [roman(n) for n in (1, 4, 9, 14)]
    ['I', 'IV', 'IX', 'XIV']
    """
    text = ""
    for value, sign in ((10, "X"), (9, "IX"), (5, "V"), (4, "IV"), (1, "I")):
        text, number = text + sign * (number // value), number % value
    return text


def read_groups(draft: Draft, sections: list[tuple[str, Section]]) -> list[LeverGroup]:
    """Lever names and their settings, before any pair is read."""
    found = []
    for name, section in sections:
        settings = tuple(key for key in section.values if key not in RESERVED)
        for word in (name, *settings):
            if not word or any(c.isspace() or c in "/\\" for c in word):
                section.fault(
                    "" if word == name else word,
                    f'"{word}" cannot name a lever or its setting',
                    "Use letters and figures without blanks; they become file names.",
                )
        if not settings:
            section.fault("", "the lever has no settings", 'Add lines such as 1 = "36/36".')
        found.append(LeverGroup(name=name, settings=settings))
    _check_words(draft.notes, [*draft.levers, *found])
    return found


def _check_words(notes: Notes, levers: list[LeverGroup]) -> None:
    seen: dict[str, str] = {}
    for lever in levers:
        for setting in lever.settings:
            word = lever.name + setting
            if word in seen:
                notes.fault(
                    f"levers.{lever.name}",
                    f'its setting "{setting}" and one of lever {seen[word]} are both written '
                    f'"{word}"',
                    "Rename one of the two levers.",
                )
            seen.setdefault(word, lever.name)


def _empty(section: Section) -> bool:
    pairs = [value for key, value in section.values.items() if key not in RESERVED]
    return all(value in NOTHING_HERE or is_motor_speed(value) for value in pairs)


def default_between(sections: list[tuple[str, Section]], spindle: str) -> dict[str, list[str]]:
    """Shafts of levers that do not say: I to II, II to III, the last one to the spindle."""
    silent = [name for name, s in sections if "between" not in s.values and not _empty(s)]
    last = len(silent)
    return {
        name: [roman(k), spindle if k == last else roman(k + 1)]
        for k, name in enumerate(silent, start=1)
    }


def read_between(draft: Draft, section: Section, default: list[str] | None) -> tuple[str, str]:
    """The two shafts something ties, driver first."""
    words = section.words("between")
    if words is None and default:
        words = tuple(default)
    if words is None or len(words) != 2 or words[0] == words[1]:
        section.fault(
            "between",
            "the two shafts are not named" if not words else f"{list(words)} is not two shafts",
            'Write between = ["I", "II"], driver first.',
        )
        words = ("I", "II")
    return draft.shaft(words[0]), draft.shaft(words[1])


def is_motor_speed(raw: Any) -> bool:
    """Whether a setting is a speed of the motor: "1440 rpm"."""
    return isinstance(raw, str) and "rpm" in raw.split()[1:]


def read_lever(
    draft: Draft, group: LeverGroup, section: Section, default: list[str] | None
) -> None:
    """Everything one lever selects."""
    if _empty(section):
        section.asked += RESERVED
        start, end = "", ""
    else:
        start, end = read_between(draft, section, default)
    styles = get_args(MeshStyle)
    style: Any = section.text("style", "sliding", styles)
    loose = section.text("loose", "driven", LOOSE)
    through = section.text("through", f"{group.name} lay shaft")
    belt = section.text("belt", f"{group.name} belt")
    length, slip = section.known("length_mm", LENGTH), section.known("slip", SLIP, ORDINARY_SLIP)
    count = section.count("count", 1)
    for setting in group.settings:
        raw = section.raw(setting)
        when: When = {group.name: (setting,)}
        joint = Joint(
            start=start,
            end=end,
            where=group.name + setting,
            when=when,
            style=style,
            loose=loose,
        )
        try:
            if is_pulleys(raw):
                driver, driven = read_pulleys(raw)
                draft.belts.append(
                    Belt(
                        name=belt,
                        driver=start,
                        driven=end,
                        driver_mm=driver,
                        driven_mm=driven,
                        length_mm=length,
                        slip=slip,
                        count=count,
                        when=when,
                    )
                )
            else:
                read_setting(draft, raw, joint, through)
        except Unreadable as problem:
            section.fault(setting, problem.found, _meant_option(setting, problem.remedy))


def _meant_option(setting: str, remedy: str) -> str:
    close = nearest(setting, RESERVED)
    return f"{remedy} {close}" if close.startswith("Did") and len(setting) > 3 else remedy


def read_setting(draft: Draft, raw: Any, joint: Joint, through: str) -> None:
    """What one setting ties: a pair, a chain of pairs, the shafts themselves, or nothing."""
    if raw in NOTHING_HERE:
        return
    if is_motor_speed(raw):
        draft.motor_speeds.append(MotorSpeed(plate_rpm=read_known(raw, PLATE_RPM), when=joint.when))
        return
    if raw == "direct":
        draft.couplings.append(Coupling(driver=joint.start, driven=joint.end, when=joint.when))
        return
    if isinstance(raw, dict):
        _ratio_only(draft, raw, joint)
        return
    if isinstance(raw, list) and raw and all(isinstance(stage, str) for stage in raw):
        _stages(draft, raw, joint, through)
        return
    if isinstance(raw, str) and "/" not in raw:
        raise Unreadable(
            f'"{raw}" is not a pair of gears',
            'Write "22/62", "direct", "neutral", "60/150 mm" for belt steps, "1440 rpm" for a '
            "speed of the motor, or a list of pairs that work one after the other.",
        )
    add_train(draft, raw, joint)


def _ratio_only(draft: Draft, raw: dict[str, Any], joint: Joint) -> None:
    if set(raw) - {"ratio", "pair"} or "ratio" not in raw:
        raise Unreadable(f"{raw!r} is not a pair", "Without teeth, write { ratio = 0.355 }.")
    ratio = read_known(raw["ratio"], RATIO)
    made = Joint(
        start=joint.start,
        end=joint.end,
        where=joint.where,
        when=joint.when,
        style=joint.style,
        loose=joint.loose,
        ratio=ratio,
    )
    add_train(draft, raw.get("pair", "?/?"), made)


def _stages(draft: Draft, raw: list[str], joint: Joint, through: str) -> None:
    between = [f"{through} {k}" if len(raw) > 2 else through for k in range(1, len(raw))]
    shafts = [joint.start, *between, joint.end]
    for stage, start, end in zip(raw, shafts[:-1], shafts[1:], strict=True):
        add_train(
            draft,
            stage,
            Joint(
                start=start,
                end=end,
                where=joint.where,
                when=joint.when,
                style=joint.style,
                loose=joint.loose,
            ),
        )
