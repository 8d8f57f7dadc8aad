"""The speed chart: every lever position, and the rpm the plate promises."""

from __future__ import annotations

from itertools import product

from vibecheck.files.table_draft import lever_setting
from vibecheck.files.table_numbers import Rule, Unreadable
from vibecheck.files.table_section import Section
from vibecheck.machine.parts import LeverGroup, Position

CHART_RPM = Rule(what="spindle rpm", low=0.5, high=40000, unit="rpm", how="plate")


def every_position(groups: list[LeverGroup]) -> list[dict[str, str]]:
    """All lever positions: the product of the settings, first lever fastest."""
    turned = product(*(group.settings for group in reversed(groups)))
    return [
        {group.name: setting for group, setting in zip(groups, reversed(settings), strict=True)}
        for settings in turned
    ]


def read_chart(
    section: Section, groups: list[LeverGroup], neutral: set[tuple[str, str]]
) -> list[Position]:
    """The chart's lines in their order; without a chart every position that drives."""
    if not section.values:
        return [
            Position(levers=levers)
            for levers in every_position(groups)
            if not neutral & set(levers.items())
        ]
    found: list[Position] = []
    for key in section.values:
        levers = _levers(section, key, groups)
        rpm = section.known(key, CHART_RPM)
        if levers is None:
            continue
        if any(dict(p.levers) == levers for p in found):
            section.fault(key, "this lever position has a line already", "Remove one of the two.")
            continue
        found.append(Position(levers=levers, chart_rpm=rpm))
    _remark_missing(section, groups, neutral, found)
    return found


def _levers(section: Section, key: str, groups: list[LeverGroup]) -> dict[str, str] | None:
    found: dict[str, str] = {}
    for word in key.split():
        try:
            group, setting = lever_setting(word, tuple(groups))
        except Unreadable as problem:
            section.fault(key, problem.found, problem.remedy)
            return None
        if group in found:
            section.fault(key, f"lever {group} stands in two places", "Name each lever once.")
            return None
        found[group] = setting
    missing = [group.name for group in groups if group.name not in found]
    if missing:
        section.fault(
            key, f"does not say where lever {', '.join(missing)} stands", "Name every lever."
        )
        return None
    return {group.name: found[group.name] for group in groups}


def _remark_missing(
    section: Section,
    groups: list[LeverGroup],
    neutral: set[tuple[str, str]],
    found: list[Position],
) -> None:
    known = [dict(p.levers) for p in found]
    left = [
        " ".join(g + s for g, s in levers.items())
        for levers in every_position(groups)
        if levers not in known and not neutral & set(levers.items())
    ]
    if left and found:
        names = ", ".join(left[:4]) + (" ..." if len(left) > 4 else "")
        section.notes.remark(
            f"{section.path} lists {len(found)} lever positions; {len(left)} more are possible and "
            f'left out: {names}. Add them with "?" if the machine has them.'
        )
