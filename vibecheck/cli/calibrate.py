"""``vibecheck calibrate``: a sensor's sensitivity from a recording of something known."""

from __future__ import annotations

from pathlib import Path

import click

FILE = click.Path(path_type=Path)


@click.command("calibrate")
@click.argument("recording", type=FILE)
@click.option("--level", type=float, help="R.m.s. level of the calibrator, in the unit.")
@click.option("--hz", type=float, help="Frequency written on the calibrator.")
@click.option("--turned", type=FILE, help="The same sensor turned over, at rest.")
@click.option("--unit", default="m/s^2", show_default=True, help="m/s^2, g, mm/s or Pa.")
@click.option("--channel", type=click.IntRange(1), default=1, show_default=True)
@click.option("--column", help="Column of a log.")
@click.option("--rate", "rate_hz", type=float, help="Samples a second of a log without times.")
def command(
    recording: Path, level: float | None, hz: float | None, turned: Path | None,
    unit: str, channel: int, column: str | None, rate_hz: float | None,
) -> None:  # fmt: skip
    """Find the sensitivity from RECORDING: a calibrator's tone, or a turn-over in gravity."""
    from vibecheck.errors import UsageError
    from vibecheck.files.audio import read_recording
    from vibecheck.files.calibration import by_tone, by_turn_over
    from vibecheck.units import STANDARD_GRAVITY

    known = read_recording(recording, column=column, rate_hz=rate_hz)
    if turned is not None:
        if unit not in ("g", "m/s^2"):
            raise UsageError(f"gravity says nothing in {unit}", "Use --unit g or m/s^2.")
        one_g = STANDARD_GRAVITY if unit == "m/s^2" else 1.0
        other = read_recording(turned, column=column, rate_hz=rate_hz)
        found = by_turn_over(known, other, one_g, channel - 1)
        click.echo(f"Reading without acceleration: {found.offset:.5g}")
        how = "turn-over in gravity"
    elif level is not None and hz is not None:
        found = by_tone(known, level, hz, channel - 1)
        click.echo(f"Tone at {found.found_hz:.2f} Hz, steady within {found.spread_db:.2f} dB.")
        how = f"calibrator {hz:g} Hz {level:g} {unit}"
    else:
        raise UsageError("nothing known to compare with", "Give --level and --hz, or --turned.")
    click.echo(f"{found.per_full_scale:.6g} {unit} per full scale. Use it as:")
    click.echo(f"  --per-full-scale {found.per_full_scale:.6g} --unit {unit}")
    click.echo(f"  --calibrated '{how}'")
