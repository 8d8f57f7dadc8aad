"""Marks on the work and the frequency that made them, both ways.

A disturbance of f hertz on work turning at f_s revolutions a second makes N = f / f_s = k + e
waves a turn, k the nearest whole number. Round the work at one place along it there are **k**
crests; along a line parallel to the axis (or a radius, when facing) they lie **feed / |e|** apart;
which way they lean is the sign of e (see `hand`). So

    f = f_s (k + e),  |e| = feed / spacing.

All uncertainties are limits meant to hold 19 times out of 20, combined as root sum of squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isfinite, pi
from typing import Literal, get_args

from vibecheck import units
from vibecheck.errors import UsageError
from vibecheck.finish.hand import FACING, FeedDirection, Hand, Lean, Spindle, lean, signs

Pattern = Literal["slanted", "straight", "herringbone", "bands", "unknown"]
PATTERNS: tuple[str, ...] = get_args(Pattern)

USEFUL_FRACTION = 0.1
"""Largest error in waves a turn at which the fraction still means something."""
TYPICAL_FEED_UNCERTAINTY = 0.01
HERRINGBONE_UNCERTAINTY = 0.05
STRAIGHT_DRIFT = 0.25
"""Marks called straight drift less than this part of their pitch over the length looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How the surface was turned.

    Attributes
    ----------
    rpm, rpm_uncertainty : float
        Measured spindle speed, and its limit of error as a fraction (0.002 for 0.2 %).
    feed_mm, feed_uncertainty : float
        Feed a turn and its limit of error as a fraction.
    diameter_mm : float or None
        Of the surface; needed only for distances along the skin.
    direction, spindle : str
        Which way tool and spindle went.
    position : str or None
        Lever position label.
    """

    rpm: float
    feed_mm: float
    rpm_uncertainty: float = 0.002
    feed_uncertainty: float = TYPICAL_FEED_UNCERTAINTY
    diameter_mm: float | None = None
    direction: FeedDirection = "to headstock"
    spindle: Spindle = "forward"
    position: str | None = None

    def __post_init__(self) -> None:
        for name, value in (("spindle speed", self.rpm), ("feed", self.feed_mm)):
            if not (isfinite(value) and value > 0):
                raise UsageError(f"{name} {value:g}", "Give a number above 0.")
        if self.diameter_mm is not None and not (
            isfinite(self.diameter_mm) and self.diameter_mm > 0
        ):
            raise UsageError(f"diameter {self.diameter_mm:g} mm", "Give a number above 0.")
        for name, value in (("speed", self.rpm_uncertainty), ("feed", self.feed_uncertainty)):
            if not 0 <= value < 1:
                raise UsageError(f"{name} uncertain by {100 * value:g} %", "Give 0 to 99 %.")

    @property
    def turns_hz(self) -> float:
        """Revolutions of the work a second."""
        return units.hz(self.rpm)

    @property
    def facing(self) -> bool:
        """Whether the tool goes across a face."""
        return self.direction in FACING


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """What a person saw, counted and measured on the work.

    Attributes
    ----------
    pattern : str
        "slanted" (helices, barber pole, curved spokes), "straight" (flutes, straight spokes),
        "herringbone" (diamond), "bands" (plain rings), "unknown".
    count : float or None
        Crests once round. For a herringbone a half may be given: count along one feed groove
        through two turns and halve it.
    spacing_mm, spacing_uncertainty_mm : float or None
        Distance between crests parallel to the axis (along a radius when facing); the limit of
        error is 5 % when not given.
    hand : str
        Which way they lean.
    pitch_mm, pitch_uncertainty_mm : float or None
        Distance between crests along the skin, the way the tool went; instead of a count.
    length_mm : float
        Length looked at when calling them straight.
    """

    pattern: Pattern = "unknown"
    count: float | None = None
    spacing_mm: float | None = None
    spacing_uncertainty_mm: float | None = None
    hand: Hand = "unknown"
    pitch_mm: float | None = None
    pitch_uncertainty_mm: float | None = None
    length_mm: float = 10.0

    def __post_init__(self) -> None:
        for name, value in (
            ("spacing", self.spacing_mm),
            ("pitch", self.pitch_mm),
            ("length", self.length_mm),
        ):
            if value is not None and not (isfinite(value) and value > 0):
                raise UsageError(f"{name} {value:g} mm", "Give a number above 0.")
        if self.count is not None:
            self._check_count(self.count)
        self._check_pattern()

    def _check_count(self, count: float) -> None:
        step = 0.5 if self.pattern == "herringbone" else 1.0
        if not isfinite(count) or count < 0 or count % step:
            raise UsageError(
                f"a count of {count:g}",
                "Count whole crests; only a herringbone may have a half.",
            )

    def _check_pattern(self) -> None:
        lacks_count = self.count is None and self.pitch_mm is None
        if self.pattern == "bands" and self.spacing_mm is None:
            raise UsageError("bands without their spacing", "Measure from band to band.")
        if self.pattern == "bands" and self.count:
            raise UsageError(
                f"plain bands and a count of {self.count:g} round",
                "Plain bands have none; if there are crests round the work they are slanted.",
            )
        if self.pattern == "slanted" and self.spacing_mm is None:
            raise UsageError("slanted marks without their spacing", "Measure it along the axis.")
        if self.pattern != "bands" and lacks_count:
            raise UsageError(
                "marks without a count",
                "Count the crests once round, or measure their pitch along the skin.",
            )

    @property
    def spacing_limit_mm(self) -> float:
        """Limit of error of the spacing, 5 % when none was given."""
        given = self.spacing_uncertainty_mm
        return 0.05 * (self.spacing_mm or 0.0) if given is None else given

    @property
    def pitch_limit_mm(self) -> float:
        """Limit of error of the pitch, 3 % when none was given."""
        given = self.pitch_uncertainty_mm
        return 0.03 * (self.pitch_mm or 0.0) if given is None else given


@dataclass(frozen=True, slots=True, kw_only=True)
class Possibility:
    """One frequency the marks may mean.

    Attributes
    ----------
    waves, waves_uncertainty : float
        N, waves a turn, and its limit of error from counting and measuring only.
    hz, hz_uncertainty : float
        N times the speed of the work; the limit includes that of the speed.
    count : int
        k, crests round.
    """

    waves: float
    waves_uncertainty: float
    hz: float
    hz_uncertainty: float

    @property
    def count(self) -> int:
        """Crests round the work, k."""
        return nearest(self.waves)

    @property
    def fraction(self) -> float:
        """e = N - k, above -0.5 and up to 0.5."""
        return self.waves - self.count


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one set of marks says.

    Attributes
    ----------
    cut, marks : Cut, Marks
        What it was read from.
    lean : str
        With or against the feed marks, or unknown.
    possibilities : tuple of Possibility
        Empty when the marks cannot be what they were called.
    refusal : str
        Why no part may be named from it; empty when it may.
    remedy : str
        What to do about the refusal.
    """

    cut: Cut
    marks: Marks
    lean: Lean
    possibilities: tuple[Possibility, ...]
    refusal: str = ""
    remedy: str = ""

    @property
    def coarse_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency the marks allow, all possibilities together."""
        low = min(p.hz - p.hz_uncertainty for p in self.possibilities)
        return max(low, 0.0), max(p.hz + p.hz_uncertainty for p in self.possibilities)


def read(marks: Marks, cut: Cut) -> Reading:
    """Turn marks into the frequencies that could have made them.

    Returns
    -------
    Reading
        With both signs when the hand is not known; with a refusal when the speed is not known
        well enough for the fraction of a wave to mean anything, or when the marks are only the
        feed marks.

    Examples
    --------
    >>> cut = Cut(rpm=637.2, feed_mm=0.10)
    >>> marks = Marks(pattern="slanted", count=11, spacing_mm=0.333, hand="left")
    >>> round(read(marks, cut).possibilities[0].hz, 1)
    120.0
    """
    side = lean(marks.hand, cut.direction, cut.spindle)
    impossible = _impossible(marks, cut)
    if impossible:
        return Reading(cut=cut, marks=marks, lean=side, possibilities=(), refusal=impossible[0],
                       remedy=impossible[1])  # fmt: skip
    found = _waves(marks, cut, side)
    possibilities = tuple(_possibility(waves, limit, cut) for waves, limit in found)
    refusal, remedy = _refusal(possibilities, cut)
    return Reading(cut=cut, marks=marks, lean=side, possibilities=possibilities, refusal=refusal,
                   remedy=remedy)  # fmt: skip


def nearest(waves: float) -> int:
    """The whole number k with waves - k above -0.5 and up to 0.5."""
    whole = round(waves)
    return whole - 1 if waves - whole == -0.5 else whole


def _impossible(marks: Marks, cut: Cut) -> tuple[str, str] | None:
    spacing = marks.spacing_mm
    if spacing is None:
        return None
    if abs(spacing / cut.feed_mm - 1) <= 0.1:
        return (
            f"marks {spacing:g} mm apart at {cut.feed_mm:g} mm a turn are the feed marks",
            "Look for a second pattern among them; if there is none, this is not vibration.",
        )
    if spacing + marks.spacing_limit_mm < 2 * cut.feed_mm:
        return (
            f"no pattern can be {spacing:g} mm apart at {cut.feed_mm:g} mm a turn: the closest "
            f"is two feeds, {2 * cut.feed_mm:g} mm",
            "Check the feed, and measure over ten marks.",
        )
    return None


def _waves(marks: Marks, cut: Cut, side: Lean) -> list[tuple[float, float]]:
    """N and its limit for every way of taking the marks, each N above 0."""
    if marks.pattern == "bands":
        return [_fraction(marks, cut)]
    if marks.count is None and marks.spacing_mm is None and marks.pattern == "unknown":
        return [_waves_by_pitch(marks, cut)]
    if marks.pattern == "herringbone" and marks.count is not None and marks.count % 1:
        return [(marks.count, HERRINGBONE_UNCERTAINTY)]
    found = [
        (count + sign * size, limit)
        for count in _counts(marks, cut)
        for size, limit in [_size(marks, cut)]
        for sign in (signs(side) if size and marks.pattern != "herringbone" else (1, -1))
    ]
    return sorted({pair for pair in found if pair[0] > 0})


def _counts(marks: Marks, cut: Cut) -> list[int]:
    if marks.count is not None:
        return [int(marks.count)]
    waves, limit = _waves_by_pitch(marks, cut)
    low, high = nearest(waves - limit), nearest(waves + limit)
    return list(range(max(low, 0), high + 1))


def _waves_by_pitch(marks: Marks, cut: Cut) -> tuple[float, float]:
    if cut.diameter_mm is None or marks.pitch_mm is None:
        raise UsageError("a pitch along the skin without the diameter", "Give the diameter too.")
    waves = pi * cut.diameter_mm / marks.pitch_mm
    return waves, waves * marks.pitch_limit_mm / marks.pitch_mm


def _size(marks: Marks, cut: Cut) -> tuple[float, float]:
    """|e| and its limit of error."""
    if marks.pattern == "herringbone":
        return 0.5, HERRINGBONE_UNCERTAINTY
    if marks.pattern == "straight":
        return 0.0, min(STRAIGHT_DRIFT * cut.feed_mm / marks.length_mm, 0.5)
    if marks.spacing_mm is None:
        return 0.0, 0.5
    return _fraction(marks, cut)


def _fraction(marks: Marks, cut: Cut) -> tuple[float, float]:
    assert marks.spacing_mm is not None
    size = cut.feed_mm / marks.spacing_mm
    relative = hypot(cut.feed_uncertainty, marks.spacing_limit_mm / marks.spacing_mm)
    return min(size, 0.5), size * relative


def _possibility(waves: float, limit: float, cut: Cut) -> Possibility:
    return Possibility(
        waves=waves,
        waves_uncertainty=limit,
        hz=cut.turns_hz * waves,
        hz_uncertainty=cut.turns_hz * hypot(limit, waves * cut.rpm_uncertainty),
    )


def _refusal(possibilities: tuple[Possibility, ...], cut: Cut) -> tuple[str, str]:
    most = max((p.waves for p in possibilities), default=0.0)
    blur = most * cut.rpm_uncertainty
    if blur <= USEFUL_FRACTION:
        return "", ""
    percent = 100 * USEFUL_FRACTION / most
    return (
        f"with {most:.0f} waves a turn and the speed known to {100 * cut.rpm_uncertainty:.2g} %, "
        f"the count is uncertain by {blur:.2g} of a wave: the fraction means nothing",
        f"Measure the speed to {percent:.2g} % or better, or count marks of the same tone at a "
        "faster speed, as far as chart, chuck and work allow: fewer waves go into a turn.",
    )
