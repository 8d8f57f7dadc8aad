"""Where takes from the phone page go: into the sweep of a job."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vibecheck.capture.check import Judgement, Remark, SpeedCheck, judge
from vibecheck.capture.phone_takes import PhoneTake, processing_words
from vibecheck.capture.sound_card import Captured
from vibecheck.capture.steadiness import band_rms
from vibecheck.capture.sweep import Guide, Step
from vibecheck.errors import UsageError, VibecheckError
from vibecheck.files.audio import read_recording
from vibecheck.files.conversion import file_facts
from vibecheck.files.sensor import Sensor
from vibecheck.files.storing import add_take, free_stem
from vibecheck.files.sweep import PART, load_sweep, open_sweep
from vibecheck.report.cautions import cautions

if TYPE_CHECKING:
    from vibecheck.files.job import Job
    from vibecheck.files.sweep import Sweep
    from vibecheck.recording import Recording

CLOCK_SLACK_S = 0.15


@dataclass(slots=True, kw_only=True)
class PhoneDesk:
    """One sweep of one job, filled from a phone."""

    job: Job
    sweep_name: str
    steps: tuple[Step, ...]
    place: str = ""
    speed: SpeedCheck | None = None

    @property
    def _sweep(self) -> Sweep:
        sensor = Sensor(kind="phone microphone", processing="off", mount="stand", place=self.place)
        if (self.job.sweep_folder(self.sweep_name) / "sweep.toml").is_file():
            return load_sweep(self.job, self.sweep_name)
        return open_sweep(self.job, self.sweep_name, sensor)

    def overview(self) -> Mapping[str, Any]:
        """What the page shows."""
        guide = Guide(steps=self.steps).resumed(
            (take.position, take.kind) for take in self._sweep.takes
        )
        return {
            "title": f"{self.job.name}: {self.sweep_name}",
            "cautions": cautions("before any recording", "fixing a sensor"),
            "steps": [
                _step_facts(step, status == "kept")
                for step, status in zip(guide.steps, guide.statuses, strict=True)
            ],
        }

    def new_path(self, step: int) -> Path:
        """A free path in the sweep's folder."""
        asked, folder = self._step(step), self._sweep.folder
        return folder / (free_stem(folder, asked.position, asked.kind) + PART)

    def judged(self, step: int, path: Path, take: PhoneTake) -> Judgement:
        """Judge a take as it lies on disk."""
        asked = self._step(step)
        lost_s = float(take.facts.get("lost_s", 0.0))
        short = take.seconds < take.seconds_wanted - 0.01
        captured = Captured(
            path=path,
            ending="stopped" if short else "complete",
            frames=take.stream.frames,
            rate_hz=take.stream.rate_hz,
            channels=take.stream.channels,
            lost_s=lost_s if lost_s > CLOCK_SLACK_S else 0.0,
        )
        try:
            found = judge(
                read_recording(path),
                captured=captured,
                wanted_s=take.seconds_wanted,
                position=asked.position,
                chart_rpm=asked.chart_rpm,
                background_rms=self._background(),
                kind=asked.kind,
                speed=self.speed,
            )
        except VibecheckError as error:
            return Judgement(remarks=(Remark(weight="redo", text=error.found),))
        processing = processing_words(take.settings)
        if processing == "off":
            return found
        on = "unknown" if processing == "unknown" else f"on ({processing})"
        remark = Remark(weight="mind", text=f"the phone's sound processing is {on}: levels may "
                        "not be compared")  # fmt: skip
        return Judgement(remarks=(*found.remarks, remark), heard=found.heard)

    def decided(
        self, step: int, path: Path, take: PhoneTake, judgement: Judgement, keep: bool
    ) -> str:
        """Keep a take or set it aside."""
        asked, processing = self._step(step), processing_words(take.settings)
        facts: dict[str, Any] = {}
        if processing != "off":
            on = "unknown" if processing == "unknown" else f"on ({processing})"
            facts = {"levels": False,
                     "reasons": [f"the phone's sound processing was {on}"]}  # fmt: skip
        entry = {
            "position": asked.position,
            "kind": asked.kind,
            "heard_rpm": judgement.heard.rpm if judgement.heard else None,
            "judgement": judgement.faults,
            "conditions": {"device": "phone page", "processing": processing},
            "facts": facts,
        }
        return add_take(self._sweep, path, entry, keep=keep).name

    def uploaded(self, step: int, path: Path) -> str:
        """Take in a file from the phone's own recorder, checked before it is listed."""
        asked = self._step(step)
        recording = read_recording(path)
        if recording.quantity == "acceleration":
            return self._moved(asked, path, recording)
        found = judge(recording, position=asked.position, chart_rpm=asked.chart_rpm,
                      kind=asked.kind, speed=self.speed)  # fmt: skip
        facts = file_facts(path)
        entry = {
            "position": asked.position,
            "kind": asked.kind,
            "heard_rpm": found.heard.rpm if found.heard else None,
            "judgement": found.faults,
            "conditions": {"device": "phone file", "processing": "unknown"},
            "facts": {"levels": False, "reasons": ["a phone's own recording: its sound processing "
                                                   "is unknown"]},
        }  # fmt: skip
        name = add_take(self._sweep, path, entry).name
        told = facts.text if facts is not None else f"{recording.seconds:.1f} s"
        return f"{name} kept. {told}. {' '.join(found.faults)}"

    def _moved(self, asked: Step, path: Path, recording: Recording) -> str:
        """A log of the motion sensor goes into a sweep of its own: it is another sensor."""
        sensor = Sensor(kind="phone motion", mount="laid on", place=self.place, processing="off")
        sweep = open_sweep(self.job, f"{self.sweep_name} motion", sensor)
        entry = {"position": asked.position, "kind": asked.kind,
                 "conditions": {"device": "phone page"}}  # fmt: skip
        name = add_take(sweep, path, entry).name
        path.unlink()
        rate = f"{recording.rate_hz:.4g} readings a second, usable below {recording.top_hz:.3g} Hz"
        return f"{name} kept in the sweep '{sweep.name}'. {rate}."

    def _step(self, step: int) -> Step:
        if not 0 <= step < len(self.steps):
            raise UsageError(f"no take number {step}", "Reload the page.")
        return self.steps[step]

    def _background(self) -> float | None:
        sweep = self._sweep
        found = sweep.taken(None, "background")
        return band_rms(read_recording(sweep.folder / found[-1].file)) if found else None


def _step_facts(step: Step, kept: bool) -> dict[str, Any]:
    more = f"{step.chart_rpm:.0f} rpm" if step.chart_rpm else f"{step.seconds:.0f} s"
    return {"title": step.title, "more": more, "seconds": step.seconds, "setting": step.setting,
            "why": step.why, "kept": kept}  # fmt: skip
