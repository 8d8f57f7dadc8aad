"""The commands. Each lives in its own file and is imported only when it is called."""

from __future__ import annotations

import importlib
import textwrap

import click

COLUMNS = 80

COMMANDS: dict[str, str] = {
    "demo": "See it work: diagnose the shipped recordings of an invented lathe.",
    "speeds": "What turns at what speed, at every lever position, and what sounds alike.",
    "plan": "The fewest lever positions to record that part all suspects, and how long.",
    "diagnose": "Name the part at fault from a folder of takes, or from one file.",
    "listen": "Hear the suspect: its knock slowed down, a click at every turn, one band alone.",
    "marks": "From marks on the work to a frequency and a part, and back; pictures and gauge.",
    "finish": "Is a poor finish vibration at all? Feed marks, chatter or forced.",
    "job": "Keep one job in one plain folder: complaint, table, readings, sweeps, work.",
    "bring-in": "Take recordings of any kind (video, logs, UFF, MATLAB) into a job or folder.",
    "record": "At the machine: record a sweep of lever positions, guided step by step.",
    "calibrate": "A sensor's sensitivity from a calibrator's tone, or by turning it over.",
    "compare": "What a repair changed at every lever position, with intervals; no single score.",
    "trend": "Follow every line of one machine over many sweeps, change points named.",
    "balance": "What weight to fix where, from the vibration with a known trial weight.",
    "phone": "Record a sweep with a phone's browser, over the local network.",
}
"""Command name -> the line shown in the list. ``vibecheck.cli.<name>`` must hold ``command``;
a dash in the name is an underscore in the module."""


class LazyGroup(click.Group):
    """Lists every command without importing any of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"vibecheck.cli.{cmd_name.replace('-', '_')}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> object:
        from vibecheck.errors import VibecheckError

        try:
            return super().invoke(ctx)
        except VibecheckError as error:
            click.echo(folded(f"vibecheck: {error.text}"), err=True)
            ctx.exit(error.exit_code)


def folded(text: str) -> str:
    """A message in lines of at most ``COLUMNS``, its own lines and their indents kept."""
    lines = []
    for line in text.splitlines():
        indent = line[: len(line) - len(line.lstrip())]
        lines += textwrap.wrap(
            line,
            COLUMNS,
            subsequent_indent=indent + "  ",
            break_long_words=False,
            break_on_hyphens=False,
        ) or [""]
    return "\n".join(lines)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="vibecheck")
def main() -> None:
    """Listen to a gear-head machine tool at every spindle speed and name the part at fault."""
