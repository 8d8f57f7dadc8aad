"""vibecheck marks: from marks on the work to a frequency and a part, and back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibecheck.cli.length_type import LENGTH, Written, settle
from vibecheck.cli.marks_cut import TOWARD, Told, also, cut_of, marks_of
from vibecheck.cli.strict_json import strict_json
from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.finish.marks import Cut, Reading
    from vibecheck.machine.parts import Machine

EPILOG = """\b
Which way marks lean: stand the bar on end, whichever end up. Right-hand marks
rise to the right, like an ordinary screw. On a face, look from the tailstock
and follow a spoke from rim to centre: clockwise or anticlockwise. In a bore,
or in doubt, say whether they lean "with" or "against" the feed marks.

\b
Marks to frequency:
  vibecheck marks --rpm 637.2 --feed 0.1 --count 11 --spacing 0.33 --hand left
Two cuts together:
  ... --also "rpm=934.8 count=8 spacing=0.34 hand=right"
Frequency to marks, with a picture and a printable gauge:
  vibecheck marks --hz "belt=13.09" --rpm 180.9 --feed 0.1 --diameter 40
      --picture marks.svg --gauge gauge.pdf
"""


@click.command(epilog=EPILOG)
@click.option("--table", metavar="TABLE", help="Gear table, to name parts.")
@click.option("--position", help='Lever position, "A1 B2 CH".')
@click.option("--rpm", type=float, help="Measured spindle speed.")
@click.option(
    "--rpm-error", type=float, metavar="PERCENT",
    help="Its limit of error [0.2 measured, 3 from the table].",
)  # fmt: skip
@click.option("--feed", type=LENGTH, help="Feed for one turn of the spindle.")
@click.option("--diameter", type=LENGTH, help="Diameter of the work there.")
@click.option(
    "--toward", type=click.Choice(list(TOWARD)), default="headstock", show_default=True,
    help="Which way the tool went.",
)  # fmt: skip
@click.option("--reverse", is_flag=True, help="Spindle ran in reverse.")
@click.option("--pattern", help="slanted, straight, herringbone, bands or unknown.")
@click.option("--count", type=float, help="Crests (or spokes) once round.")
@click.option("--spacing", type=LENGTH, help="From crest to crest along the axis or radius.")
@click.option("--spacing-error", type=LENGTH, help="Its limit of error [5 %].")
@click.option("--bands", type=LENGTH, help="Spacing of plain rings: nothing to count round.")
@click.option(
    "--hand", default="unknown", help="right, left, clockwise, anticlockwise, with, against."
)
@click.option("--pitch", type=LENGTH, help="Crest to crest along the skin, instead of a count.")
@click.option("--length", type=LENGTH, help="Length over which marks were seen straight [10 mm].")
@click.option("--also", "more", multiple=True, metavar="CUT", help="A further cut; see below.")
@click.option("--hz", "tones", multiple=True, metavar="[NAME=]HZ", help="What would this leave?")
@click.option("--nose", type=LENGTH, help="Nose radius for the picture [0.8 mm].")
@click.option("--swing", type=LENGTH, help="Swing of the tool, in all, for the picture [2 um].")
@click.option("--picture", type=click.Path(path_type=Path), help="Draw the marks: SVG, PDF, PNG.")
@click.option("--gauge", type=click.Path(path_type=Path), help="Paper gauge 1:1: SVG or PDF.")
@click.option("--inch", "inches", is_flag=True, help="Bare numbers are inches.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    table: str | None, more: tuple[str, ...], tones: tuple[str, ...], picture: Path | None,
    gauge: Path | None, inches: bool, as_json: bool, bands: Written | None,
    nose: Written | None, swing: Written | None, **values: Any,
) -> None:  # fmt: skip
    """Turn marks on the work into a frequency and a part, or a frequency into marks.

    Count the marks round the work, measure their spacing along it, note which
    way they lean, and say the spindle speed and the feed of that cut.
    """
    first = _first(values, bands, inches)
    machine = _machine(table)
    if tones:
        told: dict[str, Any] = _foretell(first, machine, tones, inches, as_json)
    else:
        told = _read(first, machine, more, inches, as_json)
    told |= _draw(first, machine, told, picture, gauge, settle(nose, inches) or 0.8,
                  settle(swing, inches) or 0.002, as_json)  # fmt: skip
    if as_json:
        made = {"schema": "vibecheck.marks/1", **told}
        click.echo(strict_json(made))


def _first(values: dict[str, Any], bands: Written | None, inches: bool) -> Told:
    plain: dict[str, Any] = {
        key: settle(value, inches) if isinstance(value, Written) else value
        for key, value in values.items()
    }
    if plain["rpm_error"] is not None:
        plain["rpm_error"] /= 100
    first = Told(**plain)
    if bands is not None:
        if first.spacing is not None or first.count:
            raise UsageError("--bands together with --count or --spacing", "Give one or the other.")
        first = replace(first, pattern="bands", spacing=settle(bands, inches))
    return first


def _machine(table: str | None) -> Machine | None:
    from vibecheck.files.gear_table import read_machine

    return None if table is None else read_machine(table)


def _cut(told: Told, machine: Machine | None) -> Cut:
    from vibecheck.diagnosis.verdicts.work_marks import spindle_rpm

    rpm = spindle_rpm(machine, told.position) if machine and told.position else None
    return cut_of(told, rpm)


def _read(
    first: Told, machine: Machine | None, more: tuple[str, ...], inches: bool, as_json: bool
) -> dict[str, Any]:
    from vibecheck.cli.marks_answer import answer
    from vibecheck.finish.marks import read

    if not first.has_marks:
        raise UsageError(
            "nothing was said about the marks", "Give --count and --spacing, --bands, or --hz."
        )
    listed = [first, *(also(text, first, inches) for text in more)]
    readings: list[Reading] = [read(marks_of(t), _cut(t, machine)) for t in listed]
    found = answer(readings, machine, inches)
    if not as_json:
        click.echo("\n".join(found.lines))
    return found.values


def _foretell(
    first: Told, machine: Machine | None, tones: tuple[str, ...], inches: bool, as_json: bool
) -> dict[str, Any]:
    from vibecheck.cli.marks_answer import foretell

    found = foretell([_tone(text) for text in tones], _cut(first, machine), inches)
    if not as_json:
        click.echo("\n".join(found.lines))
    return found.values


def _tone(text: str) -> tuple[str, float]:
    name, _, number = text.rpartition("=")
    try:
        return name.strip(), float(number)
    except ValueError:
        raise UsageError(f"--hz {text!r}", 'Write --hz 120 or --hz "belt=13.09".') from None


def _draw(
    first: Told, machine: Machine | None, told: dict[str, Any], picture: Path | None,
    gauge: Path | None, nose_mm: float, swing_mm: float, as_json: bool,
) -> dict[str, Any]:  # fmt: skip
    if picture is None and gauge is None:
        return {}
    from vibecheck.cli.marks_answer import save
    from vibecheck.finish.prediction import predict

    cut = _cut(first, machine)
    if cut.diameter_mm is None:
        raise UsageError("a picture or gauge needs the diameter", "Give --diameter.")
    tones = [(t["name"], t["hz"]) for t in told.get("tones", told.get("frequencies", []))]
    if not tones:
        raise UsageError("the marks give no frequency to draw", "See what is asked for above.")
    name, hz = tones[0]
    expected = predict(hz, cut)
    made = {}
    if picture is not None:
        from vibecheck.report.finish_figures import marks_figure

        save(marks_figure(expected, cut, name=name, amplitude_mm=swing_mm / 2, nose_mm=nose_mm),
             picture)  # fmt: skip
        made["picture"] = str(picture)
    if gauge is not None:
        from vibecheck.report.gauge_strip import gauge_figure

        near = tuple(k for k in (expected.count - 1, expected.count, expected.count + 1) if k > 0)
        leans = expected.pattern in ("slanted", "bands", "herringbone")
        figure = gauge_figure(
            near, cut.diameter_mm, spacing_mm=expected.spacing_mm if leans else None,
            hand=expected.hand, facing=cut.facing,
        )  # fmt: skip
        save(figure, gauge)
        made["gauge"] = str(gauge)
    if not as_json:
        for kind, path in made.items():
            click.echo(f"{kind}: {path}")
    return made
