"""``vibecheck record``: the guided sweep at the machine, or one take to a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibecheck.cli.sensor_options import sensor_options, sensor_told

if TYPE_CHECKING:
    from vibecheck.capture.devices import Device
    from vibecheck.capture.wave_stream import SampleFormat
    from vibecheck.cli.record_setup import Setup

PATH = click.Path(path_type=Path)


@click.command("record")
@click.argument("job_folder", required=False, type=PATH)
@click.option("--sweep", default="before", show_default=True, help="Name of the sweep.")
@click.option("--to", "to_file", type=PATH, help="Record one take into this WAV, without a job.")
@click.option("--devices", "list_devices", is_flag=True, help="List the sound inputs and stop.")
@click.option("--device", help="Input by name, or part of it; remembered.")
@click.option("--channels", type=click.IntRange(1, 64), help="How many; remembered.")
@click.option("--rate", type=click.IntRange(8000, 192_000), help="Samples a second; remembered.")
@click.option("--format", "sample_format", type=click.Choice(["int16", "int24", "float32"]),
              help="Of the samples; remembered.")  # fmt: skip
@click.option("--machine", help="Machine table, for a job that has none.")
@click.option("--position", "positions", multiple=True, help="Only this one; may be repeated.")
@click.option("--planned", is_flag=True, help="Only the fewest takes that part all suspects.")
@click.option("--special", "specials", multiple=True, metavar="KIND[@POSITION]",
              help="Special take (motor-alone, reverse@A1 ...); may be repeated.")  # fmt: skip
@click.option("--seconds", type=click.FloatRange(1, 3600), help="Length of every take.")
@click.option("--repeats", type=click.IntRange(1, 20), default=1, help="Times round the sweep.")
@click.option("--countdown", type=click.IntRange(0, 60), default=5, show_default=True,
              help="Seconds to step back.")  # fmt: skip
@sensor_options
@click.option("--unit", help="Unit of --per-full-scale: m/s^2, g, mm/s or Pa.")
def command(job_folder: Path | None, list_devices: bool, to_file: Path | None, **told: Any) -> None:
    """Record a sweep of lever positions into the job in JOB_FOLDER, guided step by step.

    Keys only, on any terminal. What was recorded stays, whatever happens; begin again with the
    same command and it goes on where it stopped.
    """
    from vibecheck.errors import UsageError

    if list_devices:
        _list_devices()
    elif to_file is not None:
        from vibecheck.cli.record_setup import one_take

        one_take(_device_setup(told), to_file, told["seconds"] or 20.0, told["countdown"])
    elif job_folder is None:
        raise UsageError("no job named", "Name a job's folder, or a file with --to.")
    else:
        _sweep(job_folder, told)


def _sweep(job_folder: Path, told: dict[str, Any]) -> None:
    from vibecheck.cli.heard_speed import speed_check
    from vibecheck.cli.record_session import Session
    from vibecheck.cli.record_steps import machine_of, steps_of
    from vibecheck.files.job import load_job
    from vibecheck.files.sweep import open_sweep

    job = load_job(job_folder)
    machine = machine_of(job, told["machine"])
    steps = steps_of(machine, told)
    setup = _device_setup(told)
    sweep = open_sweep(job, told["sweep"], sensor_told(told))
    session = Session(
        job=job,
        sweep_name=sweep.name,
        steps=steps,
        labels=[] if machine is None else [position.label for position in machine.positions],
        setup=setup,
        countdown=told["countdown"],
        speed=None if machine is None else speed_check(machine),
    )
    session.run()


def _device_setup(told: dict[str, Any]) -> Setup:
    from vibecheck.capture.devices import device_named
    from vibecheck.cli.record_setup import Setup
    from vibecheck.cli.remembered import remember, remembered

    last = remembered()
    device = device_named(told["device"] or last.get("device"))
    rate = told["rate"] or last.get("rate") or round(device.rate_hz) or 48_000
    channels = told["channels"] or min(last.get("channels") or 1, device.channels)
    sample_format: SampleFormat = told["sample_format"] or last.get("format") or "int24"
    remember(device=device.name, rate=rate, channels=channels, format=sample_format)
    return Setup(device=device, rate_hz=rate, channels=channels, sample_format=sample_format)


def _list_devices() -> None:
    from vibecheck.capture.devices import input_devices

    devices: list[Device] = input_devices()
    for device in devices:
        usual = "  (usual)" if device.usual else ""
        click.echo(
            f"{device.name[:46]:<46} {device.channels:>3} ch {device.rate_hz:>7.0f} Hz{usual}"
        )
    if not devices:
        click.echo("No sound inputs. Plug the microphone or sensor in.")
