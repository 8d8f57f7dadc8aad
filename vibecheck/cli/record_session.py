"""The guided sweep on a bare terminal: keys in, plain lines out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibecheck.capture.check import Judgement, Remark, SpeedCheck
from vibecheck.capture.sound_card import Captured
from vibecheck.capture.steadiness import band_rms
from vibecheck.capture.sweep import Guide, Step
from vibecheck.capture.wave_stream import recovered
from vibecheck.cli.keys import quiet_terminal, wait_for
from vibecheck.cli.meter import Meter, bar
from vibecheck.cli.record_setup import Setup, judged
from vibecheck.cli.record_words import (
    count_down,
    read_and_agreed,
    say,
    show_cautions,
    show_judgement,
    show_steps,
    time_words,
)
from vibecheck.errors import DeviceError, VibecheckError
from vibecheck.files.audio import read_recording
from vibecheck.files.naming import named
from vibecheck.files.storing import add_take, free_stem
from vibecheck.files.sweep import PART, load_sweep, partial_files
from vibecheck.recording import TakeKind
from vibecheck.report.cautions import Moment

if TYPE_CHECKING:
    from vibecheck.files.job import Job
    from vibecheck.files.sweep import Sweep

MOMENTS: dict[TakeKind, Moment] = {
    "motor alone": "belt off",
    "cutting": "cutting",
    "coast-down": "coast-down",
}
"""Special take -> what must be minded then."""


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
            special = [moment for kind, moment in MOMENTS.items() if kind in kinds]
            show_cautions("before any recording", "fixing a sensor", *special)
            if not read_and_agreed():
                return
            self._offer_partial_takes()
            guide = Guide(steps=self.steps).resumed(
                (take.position, take.kind) for take in self._sweep.takes
            )
            self._mind_another_device()
            show_steps(guide)
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
            f"{time_words(guide.left_s)} of recording left")  # fmt: skip
        say(f"TAKE {guide.at + 1}: {step.title}   {step.seconds:.0f} s")
        say(f"Set:  {step.setting}")
        say(f"Why:  {step.why}.")
        say("[Enter] record (x ends it early)   [s]kip   [b]ack   [l]evel only   [q] stop")
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
        count_down(self.countdown)
        try:
            captured = self.setup.take(part, step.seconds, Meter(step.seconds))
        except DeviceError as error:
            return self._without_device(guide, error)
        judgement = judged(part, captured, step.seconds, step, self.speed, self._background())
        show_judgement(judgement)
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
