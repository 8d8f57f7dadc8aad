"""What records and how, one take at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from vibecheck.capture.card_source import CardSource
from vibecheck.capture.check import Judgement, Remark, SpeedCheck, judge
from vibecheck.capture.devices import Device, device_named, refreshed
from vibecheck.capture.level import Level
from vibecheck.capture.sound_card import Captured, capture
from vibecheck.capture.sweep import Step
from vibecheck.capture.wave_stream import SampleFormat
from vibecheck.cli.keys import pressed, quiet_terminal
from vibecheck.cli.meter import Meter
from vibecheck.cli.record_words import count_down, say, show_cautions, show_judgement
from vibecheck.errors import VibecheckError
from vibecheck.files.audio import read_recording
from vibecheck.files.sweep import PART


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
    show_cautions("before any recording")
    with quiet_terminal():
        say(f"Recording {seconds:.0f} s from {setup.text}. Press x to end early.")
        count_down(countdown)
        captured = setup.take(part, seconds, Meter(seconds))
    part.rename(path)
    show_judgement(judged(path, captured, seconds))
    say(f"Saved {path}.")


def judged(
    path: Path,
    captured: Captured,
    wanted_s: float,
    step: Step | None = None,
    speed: SpeedCheck | None = None,
    background_rms: float | None = None,
) -> Judgement:
    """A take judged as it lies on disk; one that cannot be read must be done again."""
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
