"""The guided sweep on a bare terminal: keys in, plain lines out."""

from __future__ import annotations

import textwrap
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibecheck.capture.check import Judgement, Remark, SpeedCheck, band_rms, judge
from vibecheck.capture.devices import Device, device_named, refreshed
from vibecheck.capture.sound_card import Captured, CardSource, Level, capture
from vibecheck.capture.sweep import Guide, Step
from vibecheck.capture.wave_stream import SampleFormat, recovered
from vibecheck.cli.keys import pressed, quiet_terminal, wait_for
from vibecheck.cli.meter import Meter, bar
from vibecheck.errors import DeviceError, VibecheckError
from vibecheck.files.audio import read_recording
from vibecheck.files.naming import named
from vibecheck.files.sweep import (
    PART,
    add_take,
    free_stem,
    load_sweep,
    partial_files,
)
from vibecheck.report.cautions import cautions

if TYPE_CHECKING:
    from vibecheck.files.job import Job
    from vibecheck.files.sweep import Sweep
    from vibecheck.recording import TakeKind

MARKS = {"good": "ok", "mind": "!", "redo": "!!"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What records, and how."""

    device: Device
    rate_hz: int
    channels: int
    sample_format: SampleFormat

    @property
    def text(self) -> str:
        """One line."""
        return (
            f"{self.device.name}, {self.channels} channel(s), {self.rate_hz} Hz, "
            f"{self.sample_format}"
        )

    def take(self, path: Path, seconds: float, meter: Meter) -> Captured:
        """Record one take; any key but Enter ends it early."""
        source = CardSource(self.device, self.rate_hz, self.channels, self.sample_format)

        def on_level(level: Level) -> bool:
            meter.show(level)
            return pressed() not in ("x", "q")

        try:
            return capture(
                source,
                path,
                rate_hz=self.rate_hz,
                channels=self.channels,
                sample_format=self.sample_format,
                seconds=seconds,
                on_level=on_level,
            )
        finally:
            meter.done()

    def again(self) -> Setup:
        """The same device after it was plugged in again."""
        refreshed()
        return replace(self, device=device_named(self.device.name))


def one_take(setup: Setup, path: Path, seconds: float, countdown: int) -> None:
    """Record one take into a file and say whether it is any good."""
    part = path.with_name(path.name + PART)
    if path.exists():
        raise VibecheckError("it is already there", "Choose another name.", str(path))
    _cautions("before any recording")
    with quiet_terminal():
        say(f"Recording {seconds:.0f} s from {setup.text}. Press x to end early.")
        _count_down(countdown)
        captured = setup.take(part, seconds, Meter(seconds))
    part.rename(path)
    _show(_judged(path, captured, seconds))
    say(f"Saved {path}.")


@dataclass(slots=True, kw_only=True)
class Session:
    """One sitting at the machine."""

    job: Job
    sweep_name: str
    steps: tuple[Step, ...]
    labels: Sequence[str]
    setup: Setup
    countdown: int
    speed: SpeedCheck | None = None

    def run(self) -> None:
        """Guide through all open steps; everything kept is on disk when it returns."""
        with quiet_terminal():
            say(f"Job {self.job.name}, sweep {self.sweep_name}. {self.setup.text}.")
            kinds: set[TakeKind] = {step.kind for step in self.steps}
            moments = [("motor alone", "belt off"), ("cutting", "cutting"),
                       ("coast-down", "coast-down")]  # fmt: skip
            _cautions("before any recording", "fixing a sensor",
                      *(moment for kind, moment in moments if kind in kinds))  # fmt: skip
            if not _go_on():
                return
            self._offer_partial_takes()
            guide = Guide(steps=self.steps).resumed(
                (take.position, take.kind) for take in self._sweep.takes
            )
            self._mind_another_device()
            _list_steps(guide)
            while not guide.finished:
                guide = self._step(guide)
        self._farewell(guide)

    @property
    def _sweep(self) -> Sweep:
        return load_sweep(self.job, self.sweep_name)

    def _step(self, guide: Guide) -> Guide:
        step = guide.step
        kept = guide.statuses.count("kept")
        total = len(guide.steps)
        click.echo()
        say(f"[{bar(kept / total, 20)}] {kept} of {total} kept, "
            f"{_time(guide.left_s)} of recording left")  # fmt: skip
        say(f"TAKE {guide.at + 1}: {step.title}   {step.seconds:.0f} s")
        say(f"Set:  {step.setting}")
        say(f"Why:  {step.why}.")
        say("[Enter] record   [s]kip   [b]ack   [l]evel only   [q] stop for today")
        key = wait_for("sblq", "g")
        if key == "g":
            return self._record(guide)
        if key == "l":
            self._level_only()
            return guide
        return {"s": guide.skipped, "b": guide.back, "q": guide.stop}[key]()

    def _record(self, guide: Guide) -> Guide:
        step, sweep = guide.step, self._sweep
        part = sweep.folder / (free_stem(sweep.folder, step.position, step.kind) + PART)
        _count_down(self.countdown)
        try:
            captured = self.setup.take(part, step.seconds, Meter(step.seconds))
        except DeviceError as error:
            return self._without_device(guide, error)
        judgement = _judged(part, captured, step.seconds, step, self.speed, self._background())
        _show(judgement)
        return self._decide(guide, part, judgement, captured)

    def _decide(self, guide: Guide, part: Path, judgement: Judgement, captured: Captured) -> Guide:
        usual = "r" if judgement.weight == "redo" else "k"
        says = "redo" if usual == "r" else "keep"
        say(f"[Enter] {says}   [k]eep   [r]edo   [s]kip   [q] keep and stop")
        key = wait_for("krsq", usual)
        self._store(part, guide.step.position, guide.step.kind, judgement, keep=key in "kq")
        if captured.ending in ("device gone", "stalled"):
            guide = self._find_again(guide)
        if key == "q":
            return guide.kept().stop()
        return {"k": guide.kept, "r": guide.redone, "s": guide.skipped}[key]()

    def _store(
        self, part: Path, position: str | None, kind: TakeKind, judgement: Judgement, *, keep: bool
    ) -> None:
        setup = self.setup
        entry = {
            "position": position,
            "kind": kind,
            "heard_rpm": judgement.heard.rpm if judgement.heard else None,
            "judgement": judgement.faults,
            "conditions": {"device": setup.device.name, "format": setup.sample_format},
        }
        stored = add_take(self._sweep, part, entry, keep=keep)
        say(f"{'Kept' if keep else 'Set aside'}: {stored.name}")

    def _offer_partial_takes(self) -> None:
        for part in partial_files(self._sweep):
            try:
                seconds = recovered(part)
            except VibecheckError as error:
                say(error.text)
                add_take(self._sweep, part, {}, keep=False)
                continue
            told = named(part.stem, self.labels)
            title = " ".join(
                filter(None, [told.position, "" if told.kind == "idle" else told.kind])
            )
            say(f"{part.name}: a take of {title or 'no known position'} was cut off after "
                f"{seconds:.1f} s.")  # fmt: skip
            say("[u]se what there is   [Enter] set it aside and do it again")
            use = wait_for("ur", "r") == "u"
            faults = Remark(weight="mind", text=f"cut off after {seconds:.1f} s")
            self._store(part, told.position, told.kind, Judgement(remarks=(faults,)), keep=use)

    def _mind_another_device(self) -> None:
        used = {take.conditions.get("device", "") for take in self._sweep.takes} - {""}
        if used and self.setup.device.name not in used:
            say(f"Mind: the takes so far came from {', '.join(sorted(used))}, not from "
                f"{self.setup.device.name}; levels will not compare.")  # fmt: skip

    def _background(self) -> float | None:
        sweep = self._sweep
        found = sweep.taken(None, "background")
        if not found:
            return None
        try:
            return band_rms(read_recording(sweep.folder / found[-1].file))
        except VibecheckError:
            return None

    def _level_only(self) -> None:
        say("Set the gain so that the loudest position peaks between -20 and -6 dB. x ends.")
        folder = self._sweep.folder
        path = folder / f".level{PART}"
        path.unlink(missing_ok=True)
        try:
            self.setup.take(path, 600.0, Meter())
        except DeviceError as error:
            say(error.text)
        finally:
            path.unlink(missing_ok=True)

    def _without_device(self, guide: Guide, error: DeviceError) -> Guide:
        say(error.text)
        say("[Enter] try again   [q] stop for today")
        if wait_for("q", "g") == "q":
            raise error
        return self._find_again(guide)

    def _find_again(self, guide: Guide) -> Guide:
        try:
            self.setup = self.setup.again()
        except DeviceError as error:
            return self._without_device(guide, error)
        return guide

    def _farewell(self, guide: Guide) -> None:
        click.echo()
        missing = [step.title for step, status in zip(guide.steps, guide.statuses, strict=True)
                   if status != "kept"]  # fmt: skip
        say(f"{guide.statuses.count('kept')} of {len(guide.steps)} takes kept in "
            f"{self._sweep.folder}.")  # fmt: skip
        if missing:
            say(f"Still missing: {', '.join(missing)}. The same command goes on with them.")


def say(text: str) -> None:
    """One paragraph, at most 78 columns."""
    click.echo(textwrap.fill(text, 78, subsequent_indent="      "))


def _cautions(*moments: str) -> None:
    click.echo()
    for text in cautions(*moments):  # type: ignore[arg-type]
        click.echo(textwrap.fill(text, 78, initial_indent=" * ", subsequent_indent="   "))
    click.echo()


def _go_on() -> bool:
    say("[Enter] I have read this and will keep to it   [q] leave")
    return wait_for("q", "g") == "g"


def _list_steps(guide: Guide) -> None:
    say(f"{len(guide.steps)} takes, {_time(guide.left_s)} of recording to do:")
    for number, (step, status) in enumerate(zip(guide.steps, guide.statuses, strict=True), 1):
        chart = f"{step.chart_rpm:6.0f} rpm" if step.chart_rpm else " " * 10
        done = "kept" if status == "kept" else ""
        click.echo(f"  {number:3}  {step.title[:32]:<32} {chart}  {step.seconds:4.0f} s  {done}")


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"about {seconds / 60:.0f} min"


def _count_down(seconds: int) -> None:
    if not seconds:
        return
    click.echo("Step back: ", nl=False)
    for left in range(seconds, 0, -1):
        click.echo(f"{left} ", nl=False)
        time.sleep(1)
    click.echo()


def _judged(
    path: Path,
    captured: Captured,
    wanted_s: float,
    step: Step | None = None,
    speed: SpeedCheck | None = None,
    background_rms: float | None = None,
) -> Judgement:
    try:
        return judge(
            read_recording(path),
            captured=captured,
            wanted_s=wanted_s,
            position=None if step is None else step.position,
            chart_rpm=None if step is None else step.chart_rpm,
            background_rms=background_rms,
            kind="idle" if step is None else step.kind,
            speed=speed,
        )
    except VibecheckError as error:
        return Judgement(remarks=(Remark(weight="redo", text=error.found),))


def _show(judgement: Judgement) -> None:
    for remark in judgement.remarks:
        say(f"  {MARKS[remark.weight]:>2}  {remark.text}")
