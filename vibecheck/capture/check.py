"""Is this take any good? Said at once, while the machine still stands as it stood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibecheck.capture.sound_card import Captured
from vibecheck.capture.steadiness import SLICE_S, band_rms, knocks, slice_levels
from vibecheck.recording import Recording, TakeKind

Weight = Literal["redo", "mind", "good"]
QUIET_PEAK_DB = -45.0
"""A peak below this leaves the quieter lines to the converter's own noise."""
ABOVE_BACKGROUND_DB = 6.0
"""A running machine that is not this much above the stopped shop is drowned by it."""
CHART_BELOW, CHART_ABOVE = 0.015, 0.05
"""How far a spindle may stand from its chart without anyone's fault: a chart speaks of a loaded
motor, and one running idle gains the few per cent of its slip (common practice)."""
DRIFT_DB = 3.0
DRIFT_SPEED = 0.005
KNOCKS_FEW = 3
"""More knocks than this in a take belong to the machine, not to the shop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """The spindle speed found in a take.

    Attributes
    ----------
    position : str or None
        The lever position whose lines fit best, when several were tried.
    drift : float
        Change of speed during the take, as a share.
    """

    rpm: float
    position: str | None = None
    drift: float = 0.0


STEADY: tuple[TakeKind, ...] = ("idle", "motor alone", "neutral", "chuck off", "reverse")
DRIVEN: tuple[TakeKind, ...] = ("idle", "chuck off", "reverse")
SpeedCheck = Callable[[Recording, str | None], Heard | None]
"""Finds the speed of a take that should be of the given lever position; None when it cannot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """One thing found, and how much it weighs."""

    weight: Weight
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """All that was found of one take."""

    remarks: tuple[Remark, ...]
    heard: Heard | None = None

    @property
    def weight(self) -> Weight:
        """The heaviest remark's weight."""
        weights = {remark.weight for remark in self.remarks}
        return "redo" if "redo" in weights else "mind" if "mind" in weights else "good"

    @property
    def faults(self) -> tuple[str, ...]:
        """What is not good, in words."""
        return tuple(remark.text for remark in self.remarks if remark.weight != "good")


def judge(
    recording: Recording,
    *,
    captured: Captured | None = None,
    wanted_s: float = 0.0,
    position: str | None = None,
    chart_rpm: float | None = None,
    background_rms: float | None = None,
    kind: TakeKind = "idle",
    speed: SpeedCheck | None = None,
) -> Judgement:
    """Judge one take.

    Parameters
    ----------
    recording : Recording
        The take as read back from disk.
    captured : Captured, optional
        How recording it ended.
    position, chart_rpm : optional
        What the levers were set to, and what the chart says for it.
    background_rms : float, optional
        Level of the machine-off take of the same sweep, as `band_rms` gives it.
    kind : str
        What was going on; only a steady run is asked for a speed and for steadiness.
    speed : callable, optional
        Finds the speed.
    """
    remarks = [] if captured is None else _ending(captured, wanted_s)
    remarks += _level(recording, background_rms, kind not in ("background", "tap"))
    heard = None
    if kind in STEADY:
        if speed is not None and kind in DRIVEN:
            heard = speed(recording, position)
            remarks += _speed(heard, position, chart_rpm)
        remarks += _steadiness(recording)
    if not any(remark.weight != "good" for remark in remarks):
        remarks.insert(0, Remark(weight="good", text="a good take"))
    return Judgement(remarks=tuple(remarks), heard=heard)


def _ending(captured: Captured, wanted_s: float) -> list[Remark]:
    found = []
    if captured.lost_s > 0:
        found.append(
            Remark(
                weight="redo",
                text=f"{captured.lost_s:.2f} s of samples were lost on the way (by the clock); "
                "close other programs, or use a lower rate",
            )
        )
    elif captured.flagged:
        found.append(Remark(weight="redo", text="the sound card says samples were lost"))
    words = {"device gone": "the device went away", "stalled": "the device stopped delivering",
             "disk full": "the disk is full", "stopped": "stopped early"}  # fmt: skip
    if captured.ending in words:
        short = captured.seconds < 0.5 * wanted_s
        found.append(
            Remark(
                weight="redo" if short else "mind",
                text=f"{words[captured.ending]}: {captured.seconds:.1f} of {wanted_s:.0f} s",
            )
        )
    return found


def _level(recording: Recording, background_rms: float | None, running: bool) -> list[Remark]:
    found = []
    if any("clipped" in reason for reason in recording.support.reasons):
        found.append(Remark(weight="redo", text="clipped: turn the gain down"))
    peak_db = 20 * np.log10(max(float(np.abs(recording.samples).max()), 1e-6))
    if running and recording.unit == "FS" and peak_db < QUIET_PEAK_DB:
        found.append(
            Remark(weight="mind", text=f"very quiet (peak {peak_db:.0f} dB): turn the gain up")
        )
    if running and background_rms is not None and background_rms > 0:
        above_db = 20 * np.log10(max(band_rms(recording), 1e-9) / background_rms)
        if above_db < ABOVE_BACKGROUND_DB:
            found.append(
                Remark(
                    weight="mind",
                    text=f"only {max(above_db, 0):.0f} dB above the stopped shop: go nearer, "
                    "or quiet the neighbours",
                )
            )
    return found


def _speed(heard: Heard | None, position: str | None, chart_rpm: float | None) -> list[Remark]:
    if heard is None:
        return [Remark(weight="good", text="speed not found from the sound alone")]
    said = f"I hear {heard.rpm:.0f} rpm"
    found = []
    if position and heard.position not in (None, position):
        found.append(
            Remark(
                weight="redo",
                text=f"{said}, which fits {heard.position}, not {position}: check the levers",
            )
        )
    elif chart_rpm and not 1 - CHART_BELOW <= heard.rpm / chart_rpm <= 1 + CHART_ABOVE:
        found.append(
            Remark(
                weight="mind",
                text=f"chart says {chart_rpm:.0f}, {said} ({100 * (heard.rpm / chart_rpm - 1):+.1f}"
                " %): belt slip, supply, pulley or table?",
            )
        )
    else:
        found.append(Remark(weight="good", text=said))
    if heard.drift > DRIFT_SPEED:
        found.append(
            Remark(weight="mind", text=f"the speed drifts by {100 * heard.drift:.1f} % in the take")
        )
    return found


def _steadiness(recording: Recording) -> list[Remark]:
    levels = slice_levels(recording)
    if levels.size < 40:
        return []
    found = []
    quarters = [float(np.median(part)) for part in np.array_split(levels, 4)]
    if max(quarters) - min(quarters) > DRIFT_DB:
        found.append(
            Remark(
                weight="mind",
                text=f"the level drifts by {max(quarters) - min(quarters):.0f} dB during the take",
            )
        )
    places = knocks(levels)
    if 0 < len(places) <= KNOCKS_FEW:
        when = ", ".join(f"{place * SLICE_S:.1f}" for place in places)
        found.append(
            Remark(weight="mind", text=f"a knock at {when} s that does not come again: the shop?")
        )
    return found
