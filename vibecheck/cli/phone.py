"""``vibecheck phone``: record a sweep with a phone's browser over the local network."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any

import click

PATH = click.Path(path_type=Path)


@click.command("phone")
@click.argument("job_folder", type=PATH)
@click.option("--sweep", default="before", show_default=True, help="Name of the sweep.")
@click.option("--machine", help="Machine table, for a job that has none.")
@click.option("--position", "positions", multiple=True, help="Only this one; may be repeated.")
@click.option("--planned", is_flag=True, help="Only the fewest takes that part all suspects.")
@click.option("--special", "specials", multiple=True, metavar="KIND[@POSITION]",
              help="Special take; may be repeated.")  # fmt: skip
@click.option("--seconds", type=click.FloatRange(1, 3600), help="Length of every take.")
@click.option("--repeats", type=click.IntRange(1, 20), default=1, help="Times round the sweep.")
@click.option("--place", default="", help="Where the phone will lie, in words.")
@click.option("--port", type=click.IntRange(1024, 65535), default=8443, show_default=True)
@click.option("--plain", is_flag=True, help="Plain http: no certificate, files only.")
def command(job_folder: Path, sweep: str, place: str, port: int, plain: bool, **told: Any) -> None:
    """Serve a page on this network that records with a phone into the job in JOB_FOLDER."""
    from vibecheck.capture.phone_certificate import certificate, own_addresses
    from vibecheck.capture.phone_server import INSTALL, application
    from vibecheck.cli.phone_desk import PhoneDesk
    from vibecheck.cli.record_steps import machine_of, steps_of
    from vibecheck.cli.remembered import place as settings
    from vibecheck.errors import DeviceError
    from vibecheck.files.job import load_job

    try:
        import uvicorn
    except ImportError:
        raise DeviceError("the Python package uvicorn is missing", INSTALL) from None
    job = load_job(job_folder)
    machine = machine_of(job, told["machine"])
    speed = None
    if machine is not None:
        from vibecheck.cli.heard_speed import speed_check

        speed = speed_check(machine)
    desk = PhoneDesk(
        job=job, sweep_name=sweep, steps=steps_of(machine, told), place=place, speed=speed
    )
    secret = secrets.token_urlsafe(6)
    addresses = own_addresses()
    options: dict[str, Any] = {}
    if not plain:
        crt, key = certificate(settings().parent, addresses)
        options = {"ssl_certfile": str(crt), "ssl_keyfile": str(key)}
    _announce(addresses, port, secret, plain)
    uvicorn.run(
        application(desk, secret), host="0.0.0.0", port=port, log_level="warning",
        access_log=False, **options,
    )  # fmt: skip


def _announce(addresses: list[str], port: int, secret: str, plain: bool) -> None:
    scheme = "http" if plain else "https"
    click.echo("On the phone, in the same network, open:")
    click.echo(f"  {scheme}://{addresses[0]}:{port}/{secret}/")
    if plain:
        click.echo("Without https a browser gives no microphone: send files from there.")
    else:
        click.echo(
            "The phone will warn that it does not know this computer: the certificate was made\n"
            "here. Choose 'advanced' or 'details', then 'proceed' or 'visit this website'."
        )
    click.echo("Ctrl-C ends. What was recorded stays in the job.")
