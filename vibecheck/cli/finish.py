"""vibecheck finish: is a poor finish vibration at all, and if so chatter or forced?"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibecheck.cli.length_type import LENGTH, settle
from vibecheck.cli.strict_json import strict_json
from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.finish.judgement import FinishOpinion

EPILOG = """\b
Is it only feed marks?
  vibecheck finish --feed 0.2 --nose 0.8 --ra 1.8um
  vibecheck finish --inch --feed 0.014 --nose 1/32 --ra 250uin --sfm 120
Chatter, or driven by something that turns? Name the takes; after @ comes the
spindle speed, or the lever position when --table is given.
  vibecheck finish --cutting bore1.wav@1153 --cutting bore2.wav@925
      --idle air1.wav@1153 --tap tap.wav
"""


@click.command(epilog=EPILOG)
@click.option("--feed", type=LENGTH, help="Feed for one turn.")
@click.option("--nose", type=LENGTH, help="Nose radius of the tool.")
@click.option("--ra", help="Measured or judged Ra: 1.6um, 63uin, or a grade such as N7.")
@click.option("--edge", type=click.Choice(["round", "wiper", "chamfer"]), default="round",
              help="Kind of cutting edge.")  # fmt: skip
@click.option("--speed", type=float, metavar="M/MIN", help="Surface speed.")
@click.option("--sfm", type=float, metavar="FT/MIN", help="Surface speed in feet a minute.")
@click.option("--spacing", type=LENGTH, help="Distance between the marks along the feed.")
@click.option("--facing", is_flag=True, help="The surface is a face.")
@click.option("--wanted", metavar="RA", help="Ra wanted: gives the largest feed for it.")
@click.option("--cutting", multiple=True, metavar="FILE@RPM", help="Take made while cutting.")
@click.option("--idle", multiple=True, metavar="FILE@RPM", help="Same speed, in air.")
@click.option("--tap", "taps", multiple=True, metavar="FILE", help="Taps, machine locked out.")
@click.option("--hz", "near_hz", type=float, help="The tone in question, if known.")
@click.option("--table", metavar="TABLE", help="Gear table: shaft speeds and mains.")
@click.option("--job", metavar="FOLDER", help="Job folder: its indicator readings count.")
@click.option(
    "--inch", "inches", is_flag=True, help="Bare lengths are inches, bare Ra microinches."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(inches: bool, as_json: bool, **told: Any) -> None:
    """Say whether feed marks explain a finish, and whether a tone is chatter.

    First compares the finish with what feed and nose radius must leave. Then,
    given takes, tells chatter (the structure sings) from forced vibration
    (something that turns drives it), or says what is missing.
    """
    lengths = {k: settle(told[k], inches) for k in ("feed", "nose", "spacing")}
    if lengths["feed"] is None and not told["cutting"]:
        raise UsageError("nothing to judge", "Give --feed and --nose, or --cutting takes.")
    lines: list[str] = []
    values: dict[str, Any] = {}
    if lengths["feed"] is not None:
        _judge(lengths, told, inches, lines, values)
    if told["cutting"]:
        _chatter(told, lines, values)
    if as_json:
        made = {"schema": "vibecheck.finish/1", **values}
        click.echo(strict_json(made))
    else:
        click.echo("\n".join(lines))


def _judge(
    lengths: dict[str, float | None], told: dict[str, Any], inches: bool,
    lines: list[str], values: dict[str, Any],
) -> None:  # fmt: skip
    from vibecheck.finish import roughness
    from vibecheck.finish.judgement import Finish, judge
    from vibecheck.report.finish_words import roughness_lines

    feed, nose = lengths["feed"], lengths["nose"]
    if feed is None or nose is None:
        raise UsageError("the nose radius is not known", "Give --nose, the tool's nose radius.")
    speed = told["speed"] if told["speed"] is not None else _metres(told["sfm"])
    opinion: FinishOpinion = judge(
        Finish(
            feed_mm=feed, nose_mm=nose, measured_ra_mm=_ra(told["ra"], inches), edge=told["edge"],
            speed_m_min=speed, spacing_mm=lengths["spacing"], facing=told["facing"],
        )
    )  # fmt: skip
    lines += roughness_lines(opinion, feed, nose, inches)
    values["finish"] = asdict(opinion)
    wanted = _ra(told["wanted"], inches)
    if wanted is not None:
        largest = roughness.feed_for_average_mm(wanted, nose)
        values["finish"]["largest_feed_mm"] = largest
        lines.append(
            f"Largest feed for that Ra: {largest:.3f} mm ({largest / 25.4:.4f} in) a turn."
        )


def _metres(feet: float | None) -> float | None:
    from vibecheck.units import mm

    return None if feet is None else feet * mm(12.0) / 1000


def _ra(text: str | None, inches: bool) -> float | None:
    """Ra in mm from 1.6um, 63uin, N7, or a bare number (micrometres, or microinches)."""
    from vibecheck.finish.judgement import GRADES_UM
    from vibecheck.units import mm

    if text is None:
        return None
    plain = text.strip().replace("µ", "u").replace("μ", "u").replace(",", ".")
    if plain.upper() in GRADES_UM:
        return GRADES_UM[plain.upper()] / 1000
    small = plain.lower()
    for ending, scale in (("uin", mm(1e-6)), ("um", 1e-3), ("", mm(1e-6) if inches else 1e-3)):
        if small.endswith(ending):
            try:
                number = float(small.removesuffix(ending))
            except ValueError:
                break
            if number > 0:
                return number * scale
            break
    raise UsageError(f"Ra {text!r}", "Write 1.6um, 63uin or a grade such as N7.")


def _chatter(told: dict[str, Any], lines: list[str], values: dict[str, Any]) -> None:
    from vibecheck.cli.finish_takes import heard, mains, modes_of, readings_of
    from vibecheck.files.gear_table import read_machine
    from vibecheck.finish.chatter import decide
    from vibecheck.report.finish_words import chatter_lines

    machine = read_machine(told["table"]) if told["table"] else None
    verdict = decide(
        [heard(text, machine) for text in told["cutting"]],
        [heard(text, machine) for text in told["idle"]],
        modes_of(told["taps"]),
        mains_hz=mains(machine),
        near_hz=told["near_hz"],
        tapped=bool(told["taps"]),
        indicated=readings_of(Path(told["job"])) if told["job"] else (),
    )
    if lines:
        lines.append("")
    lines += chatter_lines(verdict)
    values["vibration"] = asdict(verdict)
