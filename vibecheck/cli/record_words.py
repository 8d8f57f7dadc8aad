"""What a recording session puts on the screen."""

from __future__ import annotations

import textwrap
import time

import click

from vibecheck.capture.check import Judgement
from vibecheck.capture.sweep import Guide
from vibecheck.cli.keys import wait_for
from vibecheck.report.cautions import Moment, cautions
from vibecheck.units import SECONDS_PER_MINUTE

MARKS = {"good": "ok", "mind": "!", "redo": "!!"}


def say(text: str) -> None:
    """One paragraph, at most 78 columns."""
    click.echo(textwrap.fill(text, 78, subsequent_indent="      "))


def show_cautions(*moments: Moment) -> None:
    """The cautions for these moments."""
    click.echo()
    for text in cautions(*moments):
        click.echo(textwrap.fill(text, 78, initial_indent=" * ", subsequent_indent="   "))
    click.echo()


def read_and_agreed() -> bool:
    """Whether the user goes on after the cautions."""
    say("[Enter] I have read this and will keep to it   [q] leave")
    return wait_for("q", "g") == "g"


def show_steps(guide: Guide) -> None:
    """The takes to make, and which are kept."""
    say(f"{len(guide.steps)} takes, {time_words(guide.left_s)} of recording to do:")
    for number, (step, status) in enumerate(zip(guide.steps, guide.statuses, strict=True), 1):
        chart = f"{step.chart_rpm:6.0f} rpm" if step.chart_rpm else " " * 10
        done = "kept" if status == "kept" else ""
        click.echo(f"  {number:3}  {step.title[:32]:<32} {chart}  {step.seconds:4.0f} s  {done}")


def time_words(seconds: float) -> str:
    """A length of time in words."""
    return f"{seconds:.0f} s" if seconds < 100 else f"about {seconds / SECONDS_PER_MINUTE:.0f} min"


def count_down(seconds: int) -> None:
    """Time to step back."""
    if not seconds:
        return
    click.echo("Step back: ", nl=False)
    for left in range(seconds, 0, -1):
        click.echo(f"{left} ", nl=False)
        time.sleep(1)
    click.echo()


def show_judgement(judgement: Judgement) -> None:
    """What was found of a take."""
    for remark in judgement.remarks:
        say(f"  {MARKS[remark.weight]:>2}  {remark.text}")
