"""`vibecheck listen`: hear the suspect: its knock slowed down, its tooth tone, a click a turn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibecheck.errors import DeviceError, RecordingError, UsageError

if TYPE_CHECKING:
    from vibecheck.recording import Recording

LENGTH_S = 8.0
SLOW_S = 3.0


@click.command()
@click.argument("takes", type=click.Path())
@click.option("-t", "--table", help="Gear table: a file, or the name of a shipped one.")
@click.option("--sweep", help="Which sweep of a job folder.")
@click.option("--turn", "turn_hz", type=float, help="Turns a second to click at; no diagnosis.")
@click.option("--band", nargs=2, type=float, metavar="LOW HIGH", help="Keep this band, Hz.")
@click.option("--slow", default=4.0, show_default=True, help="How many times slower.")
@click.option("--from", "start_s", default=0.0, show_default=True, help="Where to begin, s.")
@click.option(
    "--save",
    default="vibecheck-listen",
    show_default=True,
    type=click.Path(),
    help="Folder for the WAV files.",
)
@click.option("--play", is_flag=True, help="Also play them.")
def command(takes: str, **options: Any) -> None:
    """Hear the suspect of TAKES: WAV files to play, slowed, filtered and with a click a turn.

    With a gear table the suspect is found first. With --turn or --band one file is enough.
    """
    if options["slow"] < 1:
        raise UsageError(f"--slow {options['slow']:g}", "Give 1 or more.")
    if options["turn_hz"] is not None or options["band"]:
        made = _asked(takes, options)
    else:
        made = _suspect(takes, options)
    folder = Path(options["save"])
    for name, said, sound in made:
        path = _saved(folder, name, sound)
        click.echo(f"{path}: {said}")
        if options["play"]:
            _played(sound)


Sounds = list[tuple[str, str, "Recording"]]


def _asked(takes: str, options: dict[str, Any]) -> Sounds:
    from vibecheck.files.audio import read_recording
    from vibecheck.report.sound import band_passed, stretch_of

    if Path(takes).is_dir():
        raise UsageError(f"{takes} is a folder", "Name one recording with --turn or --band.")
    whole = read_recording(takes, channel=0)
    part = stretch_of(whole, options["start_s"], LENGTH_S)
    made: Sounds = []
    if options["band"]:
        low, high = options["band"]
        sound = band_passed(part, low, high)
        made.append((f"{whole.name} {low:g}-{high:g} Hz", f"only {low:g} to {high:g} Hz", sound))
    if options["turn_hz"] is not None:
        made += _turning(part, options["turn_hz"], options["slow"])
    return made


def _turning(part: Recording, turn_hz: float, slow: float) -> Sounds:
    from vibecheck.report.sound import slowed, stretch_of, with_clicks

    if not 0 < turn_hz < part.rate_hz / 8 or part.seconds * turn_hz < 2:
        raise RecordingError(
            f"{part.seconds:.1f} s hold no two turns at {turn_hz:g} a second",
            "Record longer, or give another rate.",
            part.name,
        )
    return [
        (
            f"{part.name} clicks",
            f"left the sound, right a click at every turn ({turn_hz:.3f} a second)",
            with_clicks(part, turn_hz),
        ),
        (
            f"{part.name} slowed",
            f"{slow:g} times slower at its own pitch, steady hum taken away",
            slowed(stretch_of(part, 0.0, SLOW_S), slow),
        ),
    ]


def _suspect(takes: str, options: dict[str, Any]) -> Sounds:
    from vibecheck.cli.diagnose import diagnosed
    from vibecheck.cli.gathering import gather
    from vibecheck.report.drawn import paired
    from vibecheck.report.figures import named_findings
    from vibecheck.report.sound import stretch_of
    from vibecheck.report.words import accusation, headline, part_names

    found = gather(takes, table=options["table"], sweep=options["sweep"])
    for warning in found.warnings:
        click.echo(f"Note: {warning}.", err=True)
    diagnosis = diagnosed(found)
    names = part_names(found.machine)
    suspects = [finding for finding in named_findings(diagnosis) if finding.rates_hz]
    if not suspects:
        click.echo(headline(diagnosis, names))
        raise UsageError("there is no suspect to listen to", "Give --turn or --band.")
    finding = suspects[0]
    click.echo(accusation(finding, names))
    heard = [pair for pair in paired(found.takes, diagnosis) if pair.rate_hz(finding)]
    if not heard:
        raise UsageError("no take of the suspect's positions", "Give --turn or --band.")
    pair = heard[len(heard) // 2]
    part = stretch_of(pair.take.recording, options["start_s"], LENGTH_S)
    return _turning(part, pair.rate_hz(finding) or 0.0, options["slow"])


def _saved(folder: Path, name: str, sound: Recording) -> Path:
    from vibecheck.cli.written import free_path, make_folder, write_whole
    from vibecheck.report.sound import wav

    make_folder(folder)
    path = free_path(folder / f"{name.replace(' ', '_')}.wav")
    write_whole(path, wav(sound))
    return path


def _played(sound: Recording) -> None:
    try:
        import sounddevice

        sounddevice.play(sound.samples.T, samplerate=round(sound.rate_hz), blocking=True)
    except Exception as error:
        raise DeviceError(
            f"it cannot be played here ({error})", "Play the saved files with any player."
        ) from None
