"""What a recording cannot support, said in words before anyone asks for the number."""

from __future__ import annotations

from vibecheck.errors import RecordingError
from vibecheck.recording import Recording

CALIBRATED = ("m/s^2", "g", "mm/s", "mm", "Pa")


def alias_hz(hz: float, rate_hz: float) -> float:
    """Where a tone shows when it is sampled at ``rate_hz`` without a filter.

    Below half the rate it stays; above, it folds down: 84.2 Hz at 59.8 samples a second shows as
    24.4 Hz, and 424.8 Hz at 200 as 24.8 Hz.

    >>> round(alias_hz(84.2, 59.8), 3), round(alias_hz(424.8, 200.0), 3), alias_hz(20.0, 100.0)
    (24.4, 24.8, 20.0)
    """
    folded = hz % rate_hz
    return min(folded, rate_hz - folded)


def why_no_unit(recording: Recording, unit: str = "mm/s") -> str:
    """Why no figure in ``unit`` can be given; empty when it can."""
    if recording.unit == unit:
        return ""
    if recording.unit not in CALIBRATED:
        return f"no {unit}: the sensor is not calibrated, so levels are only relative"
    if unit in ("mm/s", "mm") and recording.quantity in ("acceleration", "velocity"):
        return ""
    if unit in ("g", "m/s^2") and recording.quantity == "acceleration":
        return ""
    return f"no {unit}: the sensor gives {recording.unit}"


def why_no_tone(recording: Recording, hz: float) -> str:
    """Why nothing can be said of a tone at ``hz``; empty when something can."""
    support = recording.support
    if hz < support.low_hz:
        return (
            f"nothing can be said at {hz:.4g} Hz: the sensor is deaf below {support.low_hz:.3g} Hz"
        )
    if hz <= recording.top_hz:
        return ""
    half = recording.rate_hz / 2
    if hz > half and support.aliased:
        false = alias_hz(hz, recording.rate_hz)
        return (
            f"nothing can be said at {hz:.4g} Hz: the true rate of {recording.rate_hz:.4g} Hz ends "
            f"at {half:.4g} Hz, and such a tone would show falsely at {false:.3g} Hz"
        )
    return f"nothing can be said at {hz:.4g} Hz: this recording ends at {recording.top_hz:.4g} Hz"


def why_no_levels(recording: Recording) -> str:
    """Why levels may not be compared; empty when they may."""
    if recording.support.levels:
        return ""
    return "levels may not be compared: " + (
        "; ".join(recording.support.reasons) or "the recording does not say how it was made"
    )


def must_support(why_not: str, recording: Recording) -> None:
    """Raise when there is a reason against."""
    if why_not:
        raise RecordingError(why_not, "Use another sensor or recording for this.", recording.name)
