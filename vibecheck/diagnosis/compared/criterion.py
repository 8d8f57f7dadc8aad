"""What was agreed before the repair, judged afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vibecheck.diagnosis.compared.change import Comparison, LineChange, PositionChange
from vibecheck.diagnosis.compared.compared_lines import Sort

Met = Literal["met", "not met", "cannot tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """One thing agreed: which lines, where, and what must have become of them.

    Attributes
    ----------
    text : str
        As it was agreed, in words.
    line : str
        Words that must all stand in the line's name, or a part's name; "" for every line.
    sort : str or None
        Kind of line ("sidebands", "blows" ...), None for any.
    positions : tuple of str
        Lever positions; empty for all compared.
    gone : bool
        The line must not be heard any more, or be down by ``gone_db`` at the least.
    down_db : float or None
        It must be down by this much ...
    spreads : float or None
        ... or by this many repeatability standard deviations, whichever is more.
    no_worse : bool
        Nothing named may have become worse.
    """

    text: str
    line: str = ""
    sort: Sort | None = None
    positions: tuple[str, ...] = ()
    gone: bool = False
    down_db: float | None = None
    spreads: float | None = None
    no_worse: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """How one demand came out, with the positions that decided it and why."""

    demand: Demand
    met: Met
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """Everything agreed, and when."""

    demands: tuple[Demand, ...]
    agreed: str = ""

    def judged(self, comparison: Comparison) -> tuple[Judgement, ...]:
        """Each demand against a comparison; what cannot be compared is never met."""
        return tuple(judge(demand, comparison) for demand in self.demands)


GONE_DB = 20.0
"""A line that can still be heard counts as gone when it is surely down by this much: a tenth of
its amplitude (judgement)."""


def judge(demand: Demand, comparison: Comparison) -> Judgement:
    """One demand: met only where every line it names meets it at every position it names."""
    there = {position.position: position for position in comparison.positions}
    wanted = demand.positions or tuple(there)
    found: list[tuple[Met, str]] = []
    for label in wanted:
        if label not in there:
            found.append(("cannot tell", f"{label} was not recorded on both sides"))
            continue
        found += _at(demand, there[label], comparison)
    if not found:
        found = [("cannot tell", "no line of that name was heard")]
    worst: Met = "met"
    for outcome in ("cannot tell", "not met"):
        if any(met == outcome for met, _ in found):
            worst = outcome
    reasons = [text for met, text in found if met == worst]
    return Judgement(demand=demand, met=worst, reasons=tuple(reasons))


def _at(demand: Demand, position: PositionChange, comparison: Comparison) -> list[tuple[Met, str]]:
    if position.obstacles:
        return [("cannot tell", f"{position.position}: {position.obstacles[0].what}")]
    lines = [line for line in position.lines if fits(demand, line)]
    heard = [line for line in lines if line.outcome not in ("not heard", "not comparable")]
    if not heard:
        why = "not heard on either side" if lines else "no such line here"
        return [("cannot tell", f"{position.position}: {why}")]
    return [_line(demand, line, position.position, comparison) for line in heard]


def fits(demand: Demand, line: LineChange) -> bool:
    """Whether a line is one the demand names."""
    if demand.sort is not None and line.sort != demand.sort:
        return False
    names = " ".join((line.name, *line.parts, *line.same_as)).casefold()
    return all(word in names for word in demand.line.casefold().split())


def _line(demand: Demand, line: LineChange, label: str, comparison: Comparison) -> tuple[Met, str]:
    where = f"{label}, {line.name}"
    change = f"{line.change_db:+.1f} dB ({line.low_db:+.1f} to {line.high_db:+.1f})"
    if demand.no_worse:
        return ("not met" if line.outcome == "worse" else "met"), f"{where}: {change}"
    if demand.gone:
        if line.bound == "gone" and line.outcome == "better":
            return "met", f"{where}: not heard any more"
        return _against(GONE_DB, line, where)
    need = demand.down_db or 0.0
    if demand.spreads is not None:
        need = max(need, demand.spreads * comparison.repeatability.standard_deviation_db)
    return _against(need, line, where)


def _against(need_db: float, line: LineChange, where: str) -> tuple[Met, str]:
    """Down by ``need_db``: the estimate must be, and the change must be called better.

    A line gone into the noise is down by at least what is seen.
    """
    said = f"{where}: {line.change_db:+.1f} dB of the {-need_db:.1f} dB agreed"
    if line.outcome == "better" and -line.change_db >= need_db:
        return "met", said
    if line.bound == "gone" and line.outcome == "better":
        return "cannot tell", f"{said}; the rest is hidden in the noise"
    return "not met", said
