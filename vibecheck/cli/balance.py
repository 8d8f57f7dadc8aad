"""`vibecheck balance`: a correction weight from what a trial weight does."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

import click

from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.diagnosis.balance import Arrow, Correction

WIDTH = 80
CARE = (
    "Fix every weight so that it cannot come off (screwed, or pinned; never tape, glue or a "
    "magnet), at a radius where it clears everything, and turn by hand once round before "
    "starting.",
    "Start at the lowest speed and stand out of the rotor's plane. Never above the speed marked "
    "on the chuck or wheel.",
    "Balance chuck, jaws and work together only if they will run together. Never grind or drill "
    "a chuck body, a grinding wheel or a gear to balance it.",
)


@click.command()
@click.option("--before", required=True, help="Vibration as found, SIZE@ANGLE, or SIZE.")
@click.option(
    "--with-trial",
    "runs",
    multiple=True,
    help="With the trial weight: one SIZE@ANGLE, or three SIZEs with it at 0, 120 and 240 degrees.",
)
@click.option("--trial", required=True, help="Trial weight, GRAMS@ANGLE, or GRAMS.")
@click.option(
    "--scatter", type=float, default=0.0, help="Scatter of a reading (standard deviation)."
)
@click.option("--after", help="Vibration with the correction on, SIZE or SIZE@ANGLE.")
@click.option("--radius", type=float, help="Radius of the weights, mm.")
@click.option("--mass", type=float, help="Mass of the rotor, kg.")
@click.option("--rpm", type=float, help="Service speed, rpm.")
@click.option("--grade", type=float, help="Balance quality grade G asked for, mm/s.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def command(as_json: bool, **options: Any) -> None:
    """Say what weight to fix where, from the once-a-turn vibration before and with a known trial
    weight (one plane). Angles count from one mark, all the same way round.
    """
    from vibecheck.diagnosis.balance import correction, correction_without_phase

    before, trial = _arrow(options["before"]), _arrow(options["trial"])
    runs = [_arrow(text) for text in options["runs"]]
    if len(runs) == 1:
        if not all("@" in text for text in (options["before"], options["runs"][0])):
            raise UsageError(
                "one trial run without an angle",
                "Give SIZE@ANGLE, or three runs with the weight at 0, 120 and 240 degrees.",
            )
        found = correction(before, runs[0], trial, reading_error=options["scatter"])
    else:
        found = correction_without_phase(before.size, [run.size for run in runs], trial.size)
    left = _left(found, before, trial, options)
    if as_json:
        click.echo(json.dumps(_json(found, left), indent=1, allow_nan=False))
    else:
        click.echo(_text(found, left, options))


def _arrow(text: str) -> Arrow:
    from vibecheck.diagnosis.balance import Arrow

    size, _, angle = text.partition("@")
    try:
        made = Arrow(size=float(size), angle_deg=float(angle or 0.0))
    except ValueError:
        raise UsageError(f"{text!r}", "Write SIZE@ANGLE such as 4.2@135.") from None
    if not 0 < made.size < float("inf"):
        raise UsageError(f"{text!r}", "Sizes are above 0.")
    return made


def _left(
    found: Correction, before: Arrow, trial: Arrow, options: dict[str, Any]
) -> dict[str, float]:
    """Unbalance as found, left, and allowed, as far as the numbers given go."""
    from vibecheck.diagnosis.balance import grade_reached_mm_s, permissible_unbalance_g_mm

    radius, mass, rpm = options["radius"], options["mass"], options["rpm"]
    for name in ("radius", "mass", "rpm", "grade"):
        if options[name] is not None and not options[name] > 0:
            raise UsageError(f"--{name} {options[name]}", "Give a number above 0.")
    told: dict[str, float] = {}
    if radius is None:
        return told
    told["found_g_mm"] = found.weight.size * radius
    if options["after"]:
        told["left_g_mm"] = told["found_g_mm"] * _arrow(options["after"]).size / before.size
    if mass and rpm:
        if options["grade"]:
            told["allowed_g_mm"] = permissible_unbalance_g_mm(options["grade"], mass, rpm)
        last = told.get("left_g_mm", told["found_g_mm"])
        told["grade_mm_s"] = grade_reached_mm_s(last, mass, rpm)
    return told


def _json(found: Correction, left: dict[str, float]) -> dict[str, Any]:
    return {
        "schema": "vibecheck.balance/1",
        "weight_g": found.weight.size,
        "angle_deg": found.weight.angle_deg,
        "error": None
        if found.error is None
        else {"weight_g": found.error.size, "angle_deg": found.error.angle_deg},
        "trial_moved": found.change,
        "cautions": list(found.cautions),
        **left,
    }


def _text(found: Correction, left: dict[str, float], options: dict[str, Any]) -> str:
    from vibecheck.report.cautions import FIRST, cautions

    error = found.error
    give = "" if error is None else f" (give or take {error.size:.2g} g, {error.angle_deg:.0f} deg)"
    rows = [
        f"Take the trial weight off. Fix {found.weight.size:.3g} g at {found.weight.angle_deg:.0f} "
        f"degrees, at the trial weight's radius{give}.",
        f"The trial weight moved the vibration by {100 * found.change:.0f} % of what was found.",
        *(f"Mind: {text}." for text in found.cautions),
    ]
    if "found_g_mm" in left:
        rows.append(f"Unbalance found: {left['found_g_mm']:.3g} g mm.")
    if "left_g_mm" in left:
        rows.append(f"Left with the correction on: {left['left_g_mm']:.3g} g mm.")
    if "allowed_g_mm" in left:
        last = left.get("left_g_mm", left["found_g_mm"])
        verdict = "within" if last <= left["allowed_g_mm"] else "above"
        rows.append(
            f"Grade G {options['grade']:g} at {options['rpm']:g} rpm allows "
            f"{left['allowed_g_mm']:.3g} g mm (ISO 21940-11): {verdict} it."
        )
    if "grade_mm_s" in left:
        rows.append(f"That is G {left['grade_mm_s']:.2g}, by this one plane and this one place.")
    rows.append(
        "It holds for a stiff rotor out of balance in one plane. Looseness, a bent shaft, a "
        "resonance or run-out also shake once a turn, and no weight cures them."
    )
    care = [FIRST, *CARE, *cautions("before any recording")[1:]]
    said = [textwrap.fill(row, WIDTH) for row in rows]
    mind = [
        textwrap.fill(text, WIDTH, initial_indent="  - ", subsequent_indent="    ") for text in care
    ]
    return "\n".join([*said, "", "Before every run:", *mind])
