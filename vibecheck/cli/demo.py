"""`vibecheck demo`: the shipped recordings of an invented lathe, diagnosed on screen."""

from __future__ import annotations

from pathlib import Path

import click

RECORDINGS = "demo-lathe"
TABLE = "lathe-8-speed"
FOLDER = "vibecheck-demo"


@click.command()
@click.option(
    "--save",
    default=FOLDER,
    show_default=True,
    type=click.Path(),
    help="Folder for the picture and the page.",
)
def command(save: str) -> None:
    """Diagnose the shipped recordings of an invented lathe. Needs no machine and no hardware.

    A picture and a page are saved beside; nothing is ever overwritten.
    """
    from vibecheck.cli.diagnose import diagnosed, show
    from vibecheck.cli.gathering import gather
    from vibecheck.cli.written import free_path, make_folder, page_of, write_picture, write_whole
    from vibecheck.errors import RecordingError
    from vibecheck.files.shipped import shipped_path

    source = shipped_path("recordings", RECORDINGS)
    if not source.is_dir():
        raise RecordingError(
            "the demo recordings are missing", "Install the program again.", str(source)
        )
    click.echo("Eight recordings of an invented lathe that knocks, one a lever position.\n")
    gathered = gather(str(source), table=TABLE)
    diagnosis = diagnosed(gathered)
    show(diagnosis, gathered)
    folder = make_folder(Path(save))
    page = free_path(folder / "page.html")
    write_whole(page, page_of(diagnosis, gathered, {"table": TABLE}))
    picture = free_path(folder / "picture.png")
    drawn = write_picture(str(picture), diagnosis, gathered)
    click.echo("")
    if drawn:
        click.echo(f"Picture: {picture}")
    click.echo(f"Page:    {page}")
    click.echo("")
    click.echo("With your own machine: vibecheck diagnose FOLDER --table YOUR_TABLE.toml")
