"""vibecheck plan: what to record, from the gear table alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from vibecheck.machine.parts import Machine
    from vibecheck.machine.signature import Suspect

EPILOG = """\b
  vibecheck plan lathe-12-speed
  vibecheck plan my-lathe.toml --suspects "62T, shaft III"
  vibecheck plan my-lathe.toml --suspects "spindle, chatter"
"""
OUTSIDE = ("chatter", "structure")


@click.command(epilog=EPILOG)
@click.argument("table")
@click.option(
    "--suspects", metavar="NAMES", multiple=True,
    help='Only these, by name or part of it: "62T, III". Also chatter, structure.',
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="For other programs.")
def command(table: str, suspects: tuple[str, ...], as_json: bool) -> None:
    """The fewest lever positions to record that part all suspects, how long at each, which
    suspects no recording will ever part, and what would.

    TABLE is a gear table (TOML): your own file or the name of a shipped one.
    """
    import json

    from vibecheck.files.gear_table import read_machine
    from vibecheck.machine.separate import plan
    from vibecheck.report.plan_words import plan_json, plan_text

    machine = read_machine(table)
    words = [word.strip() for text in suspects for word in text.split(",") if word.strip()]
    chosen = _chosen(machine, [word for word in words if word not in OUTSIDE]) if words else None
    also = [word for word in OUTSIDE if word in words]
    made = plan(machine, chosen, also=also)  # type: ignore[arg-type]
    if as_json:
        click.echo(json.dumps(plan_json(made), indent=2))
    else:
        click.echo(plan_text(made), nl=False)


def _chosen(machine: Machine, words: list[str]) -> list[Suspect]:
    """The suspects meant: by full name, by shaft name, else by a part of the name."""
    from vibecheck.errors import UsageError
    from vibecheck.files.table_section import nearest
    from vibecheck.machine.signature import every_suspect

    every = every_suspect(machine)
    found: dict[str, Suspect] = {}
    for word in words:
        bare = word.removeprefix("shaft ").lower()
        alike = [s for s in every if s.name.lower() == bare]
        alike = alike or [s for s in every if bare in s.name.lower()]
        if not alike:
            names = [s.name for s in every]
            raise UsageError(f'no suspect is called "{word}"', nearest(word, names), machine.name)
        found |= {s.name: s for s in alike}
    return list(found.values())
