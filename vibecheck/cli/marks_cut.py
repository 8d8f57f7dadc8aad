"""One cut as told on the command line: its conditions and its marks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, cast

from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.finish.marks import Cut, Marks

TOWARD = {
    "headstock": "to headstock",
    "tailstock": "to tailstock",
    "centre": "to centre",
    "center": "to centre",
    "rim": "from centre",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What was told of one cut; lengths in millimetres, errors as fractions, None when not told."""

    position: str | None = None
    rpm: float | None = None
    rpm_error: float | None = None
    feed: float | None = None
    diameter: float | None = None
    toward: str = "headstock"
    reverse: bool = False
    pattern: str | None = None
    count: float | None = None
    spacing: float | None = None
    spacing_error: float | None = None
    hand: str = "unknown"
    pitch: float | None = None
    length: float | None = None

    @property
    def has_marks(self) -> bool:
        """Whether any mark was described."""
        return any(v is not None for v in (self.pattern, self.count, self.spacing, self.pitch))


LENGTHS = ("feed", "diameter", "spacing", "spacing_error", "pitch", "length")
NUMBERS = ("rpm", "count")


def also(text: str, first: Told, inches: bool) -> Told:
    """A further cut from "rpm=934.8 count=8 spacing=0.34 hand=right position='A2 B1 CH'".

    Conditions not said are those of the first cut; marks are never taken over, except that the
    spindle speed is forgotten when the lever position changes.
    """
    said = _pairs(text)
    values: dict[str, Any] = {}
    for key, value in said.items():
        values[key] = _value(key, value, inches, text)
    start = replace(
        first, pattern=None, count=None, spacing=None, spacing_error=None, pitch=None,
        hand="unknown",
    )  # fmt: skip
    if "position" in values and "rpm" not in values:
        start = replace(start, rpm=None)
    return replace(start, **values)


def _pairs(text: str) -> dict[str, str]:
    import shlex

    known = {f.name for f in fields(Told)}
    found = {}
    try:
        words = shlex.split(text)
    except ValueError:
        raise UsageError(f"--also {text!r}: quotation marks do not match", "Close them.") from None
    for word in words:
        key, equals, value = word.partition("=")
        key = key.replace("-", "_")
        if not equals or key not in known:
            raise UsageError(
                f"--also {text!r}: cannot read {word!r}",
                "Write pairs such as rpm=934.8 count=8 spacing=0.34 hand=right; known are "
                + ", ".join(sorted(known))
                + ".",
            )
        found[key] = value
    return found


def _value(key: str, value: str, inches: bool, text: str) -> object:
    from vibecheck.cli.length_type import read_length

    if key in LENGTHS:
        length = read_length(value)
        if length is None:
            raise UsageError(f"--also {text!r}: {key} {value!r}", "Write 0.33, 0.33mm or 0.013in.")
        return length.mm(inches)
    if key == "reverse":
        return value.lower() in ("1", "yes", "true")
    if key not in NUMBERS and key != "rpm_error":
        return value
    try:
        number = float(value.removesuffix("%"))
    except ValueError:
        raise UsageError(f"--also {text!r}: {key} {value!r}", "Write a number.") from None
    return number / 100 if key == "rpm_error" else number


MEASURED_ERROR = 0.002
CHART_ERROR = 0.03


def cut_of(told: Told, table_rpm: float | None) -> Cut:
    """The conditions; speed from the gear table, and then uncertain by 3 %, when none was told."""
    from vibecheck.finish.marks import Cut

    rpm = told.rpm if told.rpm is not None else table_rpm
    if rpm is None:
        raise UsageError("the spindle speed is not known", "Give --rpm, measured if possible.")
    if told.feed is None:
        raise UsageError("the feed is not known", "Give --feed, for one turn of the spindle.")
    if told.toward not in TOWARD:
        raise UsageError(f"feed toward {told.toward!r}", f"Say one of {', '.join(TOWARD)}.")
    usual = MEASURED_ERROR if told.rpm is not None else CHART_ERROR
    return Cut(
        rpm=rpm,
        rpm_uncertainty=usual if told.rpm_error is None else told.rpm_error,
        feed_mm=told.feed,
        diameter_mm=told.diameter,
        direction=cast(Any, TOWARD[told.toward]),
        spindle="reverse" if told.reverse else "forward",
        position=told.position,
    )


def marks_of(told: Told) -> Marks:
    """The marks; their pattern follows from what was measured when it was not said."""
    from vibecheck.finish.hand import HANDS
    from vibecheck.finish.marks import PATTERNS, Marks

    pattern = told.pattern or _pattern(told)
    if pattern not in PATTERNS:
        raise UsageError(f"pattern {pattern!r}", f"Say one of {', '.join(PATTERNS)}.")
    if told.hand not in HANDS:
        raise UsageError(f"hand {told.hand!r}", f"Say one of {', '.join(HANDS)}.")
    extra: Mapping[str, float] = {} if told.length is None else {"length_mm": told.length}
    return Marks(
        pattern=cast(Any, pattern),
        count=told.count,
        spacing_mm=told.spacing,
        spacing_uncertainty_mm=told.spacing_error,
        hand=cast(Any, told.hand),
        pitch_mm=told.pitch,
        **extra,
    )


def _pattern(told: Told) -> str:
    if told.count is None and told.pitch is None:
        return "bands"
    if told.count is not None and told.count % 1:
        return "herringbone"
    return "slanted" if told.spacing is not None else "unknown"
