"""The guided sweep as a list of steps and a place in it; no screen, no disk, no device."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from vibecheck.recording import TakeKind
from vibecheck.units import hz

LEAST_S = 20.0
LEAST_TURNS = 20.0
MOST_S = 120.0
SPECIAL_S: dict[TakeKind, float] = {
    "background": 15.0,
    "motor alone": 20.0,
    "neutral": 20.0,
    "chuck off": 30.0,
    "reverse": 30.0,
    "coast-down": 40.0,
    "tap": 10.0,
    "cutting": 15.0,
}
SETTINGS: dict[TakeKind, str] = {
    "background": "Machine off, everything else in the shop as it will be.",
    "motor alone": "Belt off and guard back on, or clutch out; the motor running alone.",
    "neutral": "Levers in neutral, the motor running.",
    "chuck off": "Chuck off the spindle, then run as before.",
    "reverse": "The same levers, spindle in reverse.",
    "coast-down": "Running at speed; five seconds in, switch off and let it run down by itself.",
    "tap": "Machine off; tap the tool or part a few times with a soft hammer, a second apart.",
    "cutting": "Take a light cut with the tool, feed and speed that show the trouble.",
}
REASONS: dict[TakeKind, str] = {
    "background": "tells the machine's sound from the shop's",
    "motor alone": "tells the motor and belt from everything after them",
    "neutral": "tells the gears that turn in every position from those selected",
    "chuck off": "tells unbalance of the chuck from the spindle's own",
    "reverse": "loads the other flanks: a flank or a shaft?",
    "coast-down": "electrical lines vanish at once, mechanical ones fall with the speed",
    "tap": "finds what rings by itself, whatever the speed",
    "cutting": "shows chatter, which no idle take can",
}
Status = Literal["open", "kept", "skipped"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One take to make.

    Attributes
    ----------
    setting : str
        What to do at the machine.
    why : str
        Why this take and this long.
    """

    kind: TakeKind
    seconds: float
    setting: str
    why: str
    position: str | None = None
    chart_rpm: float | None = None

    @property
    def title(self) -> str:
        """Short name."""
        return " ".join(filter(None, [self.position, "" if self.kind == "idle" else self.kind]))

    @property
    def running(self) -> bool:
        """Whether the machine runs during it."""
        return self.kind not in ("background", "tap")

    @property
    def key(self) -> tuple[str | None, TakeKind]:
        """What tells it from the others."""
        return self.position, self.kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """Where a sweep stands. Every move gives a new one."""

    steps: tuple[Step, ...]
    at: int = 0
    statuses: tuple[Status, ...] = field(default=())
    stopped: bool = False

    def __post_init__(self) -> None:
        if not self.statuses:
            object.__setattr__(self, "statuses", ("open",) * len(self.steps))

    @property
    def finished(self) -> bool:
        """Nothing left to ask for."""
        return self.stopped or self.at >= len(self.steps)

    @property
    def step(self) -> Step:
        """The take asked for now."""
        return self.steps[self.at]

    @property
    def open_steps(self) -> tuple[Step, ...]:
        """Neither kept nor skipped."""
        both = zip(self.steps, self.statuses, strict=True)
        return tuple(step for step, status in both if status == "open")

    @property
    def left_s(self) -> float:
        """Seconds of recording still to do."""
        return sum(step.seconds for step in self.open_steps)

    def kept(self) -> Guide:
        """The take was good enough."""
        return self._on("kept")

    def skipped(self) -> Guide:
        """Not this one today."""
        return self._on("skipped")

    def redone(self) -> Guide:
        """The same once more."""
        return self

    def back(self) -> Guide:
        """One step back, to do it again; its earlier take stays where it is."""
        at = max(self.at - 1, 0)
        statuses = (*self.statuses[:at], "open", *self.statuses[at + 1 :]) if self.steps else ()
        return replace(self, at=at, statuses=statuses)

    def stop(self) -> Guide:
        """Enough for today."""
        return replace(self, stopped=True)

    def resumed(self, done: Iterable[tuple[str | None, TakeKind]]) -> Guide:
        """Go on where takes are still missing, given what the folder already holds.

        A take that is there twice counts for two steps of its key, as repeats need.
        """
        left = Counter(done)
        statuses: tuple[Status, ...] = ()
        for step in self.steps:
            statuses += ("kept" if left[step.key] > 0 else "open",)
            left[step.key] -= 1
        return replace(self, statuses=statuses, at=_next(statuses, -1), stopped=False)

    def _on(self, status: Status) -> Guide:
        statuses = (*self.statuses[: self.at], status, *self.statuses[self.at + 1 :])
        return replace(self, statuses=statuses, at=_next(statuses, self.at))


def seconds_for(chart_rpm: float | None) -> float:
    """How long to record: 20 s and 20 turns of the spindle, at most two minutes.

    >>> seconds_for(495.0), seconds_for(30.0), seconds_for(None)
    (20.0, 40.0, 20.0)
    """
    if not chart_rpm or chart_rpm <= 0:
        return LEAST_S
    return min(max(LEAST_S, LEAST_TURNS / hz(chart_rpm)), MOST_S)


def position_step(label: str, chart_rpm: float | None, seconds: float | None = None) -> Step:
    """The ordinary take of one lever position."""
    length = seconds_for(chart_rpm) if seconds is None else seconds
    chart = f" (chart: {chart_rpm:.0f} rpm)" if chart_rpm else ""
    return Step(
        kind="idle",
        position=label,
        chart_rpm=chart_rpm,
        seconds=length,
        setting=f"Spindle stopped, set {label}{chart}, start it and let it run up.",
        why=_why_so_long(length, chart_rpm),
    )


def _why_so_long(length_s: float, chart_rpm: float | None) -> str:
    if not chart_rpm:
        return f"{length_s:.0f} s part lines {2 / length_s:.2g} Hz from each other"
    turns = f"{length_s * hz(chart_rpm):.0f} turns of the spindle"
    if length_s < seconds_for(chart_rpm):
        return f"{turns}: short; lines closer than {2 / length_s:.2g} Hz cannot be parted"
    return f"{turns}: they part lines {2 / length_s:.2g} Hz from each other"


def special_step(
    kind: TakeKind, position: str | None = None, chart_rpm: float | None = None,
    seconds: float | None = None,
) -> Step:  # fmt: skip
    """A take with the machine in a special state."""
    where = f" Levers at {position}." if position else ""
    return Step(
        kind=kind,
        position=position,
        chart_rpm=chart_rpm,
        seconds=SPECIAL_S[kind] if seconds is None else seconds,
        setting=SETTINGS[kind] + where,
        why=REASONS[kind],
    )


def plan_steps(
    positions: list[tuple[str, float | None]],
    specials: Sequence[tuple[TakeKind, str | None]] = (),
    seconds: float | None = None,
    repeats: int = 1,
) -> tuple[Step, ...]:
    """Background first, then every position in the order given, then the other specials.

    With ``repeats`` all positions come round again and again, so that the spread between repeats
    holds what a later sweep would bring too.
    """
    rpm = dict(positions)
    early = [one for one in specials if one[0] == "background"]
    late = [one for one in specials if one[0] != "background"]
    return (
        *(special_step(kind, where, None, seconds) for kind, where in early),
        *(position_step(label, chart, seconds) for label, chart in positions * repeats),
        *(special_step(kind, where, rpm.get(where or ""), seconds) for kind, where in late),
    )


def _next(statuses: Sequence[Status], at: int) -> int:
    """The next open step after ``at``, then any open one before, else the end."""
    after = [index for index, status in enumerate(statuses) if status == "open" and index > at]
    before = [index for index, status in enumerate(statuses) if status == "open" and index < at]
    return (after or before or [len(statuses)])[0]
