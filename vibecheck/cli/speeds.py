"""vibecheck speeds: what turns at what speed, and what sounds alike."""

from __future__ import annotations

import click

EPILOG = """\b
  vibecheck speeds lathe-12-speed
  vibecheck speeds my-lathe.toml --position "A3 B2 CL"
  vibecheck speeds my-lathe.toml --csv > speeds.csv
"""


@click.command(epilog=EPILOG)
@click.argument("table", required=False)
@click.option("--position", metavar="LEVERS", help='Every line at one position: "A3 B2 CL".')
@click.option("--csv", "as_csv", is_flag=True, help="One row for every line, for a spreadsheet.")
@click.option("--json", "as_json", is_flag=True, help="For other programs.")
@click.option("--all", "everything", is_flag=True, help="Print every coincidence.")
def command(
    table: str | None, position: str | None, as_csv: bool, as_json: bool, everything: bool
) -> None:
    """Shaft speeds, tooth-meeting rates and all other lines of a machine at every lever
    position, and what sounds alike.

    TABLE is a gear table (TOML): your own file or the name of a shipped one.
    """
    if table is None:
        click.echo(_explanation())
        return
    _refuse_both(as_csv, as_json)
    _print(table, position, as_csv=as_csv, as_json=as_json, everything=everything)


def _refuse_both(as_csv: bool, as_json: bool) -> None:
    from vibecheck.errors import UsageError

    if as_csv and as_json:
        raise UsageError("--csv and --json together", "Choose one of them.")


def _print(
    table: str, position: str | None, *, as_csv: bool, as_json: bool, everything: bool
) -> None:
    import json

    from vibecheck.files.gear_table import position_of, read_table
    from vibecheck.machine.coincidences import coincidences
    from vibecheck.machine.turning import sweep, turning
    from vibecheck.report.speed_data import speeds_csv, speeds_json
    from vibecheck.report.speed_table import MOST, position_text, speed_text

    read = read_table(table)
    machine = read.machine
    chosen = position_of(machine, position) if position is not None else None
    turnings = sweep(machine) if chosen is None else (turning(machine, chosen),)
    if as_csv:
        click.echo(speeds_csv(turnings), nl=False)
        return
    alike = coincidences(machine)
    if chosen is not None:
        alike = tuple(case for case in alike if chosen.label in case.where)
    if as_json:
        click.echo(json.dumps(speeds_json(machine, turnings, alike, read.remarks), indent=2))
    elif chosen is not None:
        click.echo(position_text(machine, turnings[0], alike), nl=False)
    else:
        most = len(alike) if everything else MOST
        click.echo(speed_text(machine, alike, read.remarks, most), nl=False)


def _explanation() -> str:
    from vibecheck.files.shipped import shipped_folder, shipped_names

    names = "\n".join(f"  {name}" for name in shipped_names("gear_tables", ".toml"))
    return (
        "vibecheck speeds TABLE shows what turns at what speed at every lever position,\n"
        "which pairs mesh, every line they make, and what sounds alike.\n\n"
        "TABLE is a gear table: a short text file in which you write down the levers\n"
        f"and the tooth counts of your machine. Tables that come with vibecheck:\n{names}\n\n"
        "See one:         vibecheck speeds lathe-8-speed\n"
        f"Make your own:   copy {shipped_folder('gear_tables') / 'starter.toml'}\n"
        "                 and change what is different; it explains itself."
    )
