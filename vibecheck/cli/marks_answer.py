"""What `vibecheck marks` answers, as lines for people and values for programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vibecheck.errors import UsageError, VibecheckError
from vibecheck.finish.cuts import Common, Steady, common, steady
from vibecheck.finish.marks import Cut, Reading
from vibecheck.finish.naming import Candidate, Naming, name
from vibecheck.finish.prediction import predict
from vibecheck.report import finish_words as words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vibecheck.machine.parts import Machine


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Lines of at most 80 columns, and the same as plain values."""

    lines: list[str]
    values: dict[str, Any]


def foretell(tones: Sequence[tuple[str, float]], cut: Cut, inches: bool) -> Answer:
    """What tones would leave on the work."""
    lines, values = [], []
    for called, hz in tones:
        expected = predict(hz, cut)
        lines += [f"{called + ': ' if called else ''}{hz:g} Hz at {cut.rpm:g} rpm, "
                  f"feed {words.length(cut.feed_mm, inches)}"]  # fmt: skip
        lines += ["  " + line for line in words.prediction_lines(expected, cut, inches=inches)]
        values.append({"name": called, **asdict(expected)})
    return Answer(lines=lines, values={"cut": asdict(cut), "tones": values})


def answer(readings: Sequence[Reading], machine: Machine | None, inches: bool) -> Answer:
    """What marks say, one cut at a time and then all together."""
    lines: list[str] = []
    tables = [_candidates(reading, machine) for reading in readings]
    bare_bands = len(readings) == 1 and readings[0].marks.pattern == "bands"
    namings: list[Naming] = []
    for number, (reading, table) in enumerate(zip(readings, tables, strict=True), start=1):
        lines.append(_heading(number, reading, inches))
        lines += ["  " + line for line in words.reading_lines(reading, 76)]
        naming = name(reading, () if bare_bands else table)
        namings.append(naming)
        if table and len(readings) == 1 and not bare_bands and not reading.refusal:
            lines += ["", "What on this machine would fit:"]
            lines += ["  " + line for line in words.naming_lines(naming, width=76)]
    values: dict[str, Any] = {
        "cuts": [_reading_values(r, n) for r, n in zip(readings, namings, strict=True)]
    }
    values["frequencies"] = _frequencies(readings)
    if len(readings) > 1:
        _together(readings, tables, machine, lines, values, inches)
    _next(readings, tables, namings, machine, lines, values)
    return Answer(lines=lines, values=values)


def _candidates(reading: Reading, machine: Machine | None) -> tuple[Candidate, ...]:
    from vibecheck.diagnosis.verdicts.work_marks import candidates

    position = reading.cut.position
    if machine is None or position is None:
        return ()
    return candidates(machine, position, reading.cut.rpm)


def _heading(number: int, reading: Reading, inches: bool) -> str:
    cut, marks = reading.cut, reading.marks
    where = f", {cut.position}" if cut.position else ""
    what: list[str] = [marks.pattern] if marks.pattern != "unknown" else []
    what += [f"{marks.count:g} round"] if marks.count else []
    what += [words.length(marks.spacing_mm, inches) + " apart"] if marks.spacing_mm else []
    return (
        f"Cut {number}: {cut.rpm:g} rpm{where}, feed {words.length(cut.feed_mm, inches)}\n"
        f"  {', '.join(what)}"
    )


def _frequencies(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """The first cut's possibilities, those the other cuts agree with in front."""
    if readings[0].refusal:
        return []
    agreed = [s.chosen[0] for s in steady(readings) if s.chosen]
    listed = dict.fromkeys([*agreed, *readings[0].possibilities])
    return [{"name": "", "hz": p.hz, "uncertainty_hz": p.hz_uncertainty} for p in listed]


def _together(
    readings: Sequence[Reading], tables: Sequence[Sequence[Candidate]], machine: Machine | None,
    lines: list[str], values: dict[str, Any], inches: bool,
) -> None:  # fmt: skip
    found = steady(readings)
    lines += ["", "All cuts together:"]
    told = [line for item in found for line in words.steady_lines(item, inches, 76)]
    if not found and not any(r.refusal for r in readings):
        told = words.wrap([words.NOTHING_STEADY], 76)
    lines += ["  " + line for line in told]
    values["together"] = [asdict(item) for item in found]
    if found and found[0].kind == "fixed millimetres":
        lines += ["  " + line for line in _carriage(found[0], machine, values)]
        return
    if all(tables):
        shared = common(readings, tables)
        lines += ["  " + line for line in words.common_lines(shared, 76)]
        values["fits_every_cut"] = [asdict(item) for item in shared]


def _carriage(item: Steady, machine: Machine | None, values: dict[str, Any]) -> list[str]:
    from vibecheck.diagnosis.verdicts.work_marks import carriage
    from vibecheck.finish.carriage import matching, repeats

    if machine is None:
        return words.wrap(["Give --table to name what repeats at that distance."], 76)
    rides_on = carriage(machine)
    found = matching(item.value, item.uncertainty, rides_on)
    values["carriage"] = [asdict(repeat) for repeat in found]
    return words.carriage_lines(found, repeats(rides_on), 76)


def _next(
    readings: Sequence[Reading], tables: Sequence[Sequence[Candidate]], namings: Sequence[Naming],
    machine: Machine | None, lines: list[str], values: dict[str, Any],
) -> None:  # fmt: skip
    together = values.get("together", [])
    if together and together[0]["kind"] == "fixed millimetres":
        return
    if len(readings) == 1 and readings[0].marks.pattern == "bands":
        told = words.second_feed_lines(readings[0], 76)
        values["second_cut"] = {"feed_mm": 2 * readings[0].cut.feed_mm, "rpm": readings[0].cut.rpm}
    else:
        told = _second_speed(readings, tables, namings, machine, values)
    if told:
        lines += ["", "Next:", *("  " + line for line in told)]


def _second_speed(
    readings: Sequence[Reading], tables: Sequence[Sequence[Candidate]], namings: Sequence[Naming],
    machine: Machine | None, values: dict[str, Any],
) -> list[str]:  # fmt: skip
    from vibecheck.diagnosis.verdicts.work_marks import next_cut

    if any(r.refusal for r in readings):
        return []
    shared: Sequence[Common] = common(readings, tables) if all(tables) else ()
    suspects = [c.name for c in shared] or [f.candidate.name for f in namings[0].fits]
    if len(readings) > 1 and not shared:
        suspects = []
    suspects = list(dict.fromkeys(suspects))
    if machine is None or not all(tables):
        return words.plain_second_cut_lines(readings, 76) if len(readings) == 1 else []
    if len(suspects) < 2:
        return words.confirm_lines(suspects, 76) if len(readings) == 1 else []
    best = next_cut(machine, suspects, [r.cut for r in readings], readings[0].cut.rpm_uncertainty)
    if best is None:
        return words.inseparable_lines(suspects, 76)
    values["second_cut"] = {
        "position": best.cut.position, "rpm": best.cut.rpm, "feed_mm": best.cut.feed_mm,
        "groups": best.groups,
    }  # fmt: skip
    return words.second_cut_lines(best, 76)


def _reading_values(reading: Reading, naming: Naming) -> dict[str, Any]:
    return {
        "cut": asdict(reading.cut),
        "marks": asdict(reading.marks),
        "lean": reading.lean,
        "possibilities": [
            {**asdict(p), "count": p.count, "fraction": p.fraction} for p in reading.possibilities
        ],
        "refusal": reading.refusal,
        "remedy": reading.remedy,
        "fits": [
            {"name": f.candidate.name, "hz": f.candidate.hz, "miss_hz": f.miss_hz,
             "limit_hz": f.limit_hz} for f in naming.fits
        ],
        "expected_by_chance": naming.by_chance,
        "tried": naming.tried,
    }  # fmt: skip


def save(figure: Figure, path: Path) -> None:
    """Write a picture; the kind follows from the name."""
    if path.suffix.lower() not in (".svg", ".pdf", ".png"):
        raise UsageError(f"picture {path.name!r}", "End its name in .svg, .pdf or .png.")
    try:
        figure.savefig(path, dpi=200)
    except OSError as error:
        raise VibecheckError(
            f"cannot write it ({error.strerror})", "Check the folder.", str(path)
        ) from None
