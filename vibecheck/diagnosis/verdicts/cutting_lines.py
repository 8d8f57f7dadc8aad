"""What a take says about chatter: its lines, and the ring of a tap."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.errors import RecordingError
from vibecheck.finish.chatter import Line, Listening
from vibecheck.finish.tap import Mode, modes
from vibecheck.recording import Recording
from vibecheck.spectra.envelope import band_envelope, transformed
from vibecheck.spectra.peaks import peaks
from vibecheck.spectra.spectrum import Spectrum, averaged_spectrum

RESOLUTION_HZ = 1.0
LOWEST_HZ = 15.0
"""A tool hardly sings below this."""
MOST_LINES = 60
SHORTEST_S = 2.0
LINE_WIDTH = 0.012
"""How far about a line its swelling is listened to, relative."""


def listen(
    recording: Recording,
    rpm: float,
    *,
    rpm_uncertainty: float = 0.002,
    shafts: Sequence[tuple[str, float]] = (),
) -> Listening:
    """Lines of one take, strong enough to stand out of its noise.

    Chatter wanders by a few hertz, so the spectrum is averaged at about 1 Hz and each line
    carries its half width as its uncertainty.

    Parameters
    ----------
    recording : Recording
        Its first channel is used.
    rpm, rpm_uncertainty : float
        Spindle speed and its limit of error as a fraction.
    shafts : sequence of (str, float)
        What else turns, in turns a second.

    Raises
    ------
    RecordingError
        When it is shorter than 2 s.
    """
    if recording.seconds < SHORTEST_S:
        raise RecordingError(
            f"{recording.seconds:.1f} s long", "Record at least 5 s.", recording.name
        )
    spectrum = averaged_spectrum(
        recording.channel(), recording.rate_hz, resolution_hz=RESOLUTION_HZ, scaling="power"
    )
    lowest = max(LOWEST_HZ, recording.support.low_hz)
    found = [
        Line(
            hz=peak.place,
            level_db=float(10 * np.log10(max(peak.value, 1e-30))),
            uncertainty_hz=_half_width(spectrum, peak.place),
        )
        for peak in peaks(spectrum, most=MOST_LINES)
        if lowest <= peak.place <= recording.top_hz
    ]
    return Listening(
        name=recording.name, rpm=rpm, rpm_uncertainty=rpm_uncertainty, lines=found, shafts=shafts
    )


def _half_width(spectrum: Spectrum, place: float) -> float:
    """Half the distance between the points 6 dB down, at least half the resolution."""
    middle = round((place - spectrum.start) / spectrum.step)
    limit = spectrum.values[max(middle - 1, 0) : middle + 2].max() / 4
    low = high = middle
    reach = max(int(0.03 * place / spectrum.step), 2)
    while low > max(middle - reach, 0) and spectrum.values[low] > limit:
        low -= 1
    top = min(middle + reach, len(spectrum) - 1)
    while high < top and spectrum.values[high] > limit:
        high += 1
    return max((high - low) / 2 * spectrum.step - spectrum.step, spectrum.resolution / 2)


def swelling(recording: Recording, hz: float) -> float:
    """How much a line's strength comes and goes within a take.

    Returns
    -------
    float
        Standard deviation of its envelope over the mean: 0 for a pure tone, 0.52 for noise.
    """
    whole = transformed(recording.channel(), recording.rate_hz)
    band = band_envelope(whole, hz * (1.0 - LINE_WIDTH), hz * (1.0 + LINE_WIDTH))
    envelope = np.sqrt(band.squared)
    edge = max(1, envelope.size // 20)
    inside = envelope[edge:-edge]
    return float(inside.std() / max(float(inside.mean()), 1e-30)) if inside.size > 2 else 1.0


def tapped_modes(recording: Recording) -> tuple[Mode, ...]:
    """Modes of the structure from a take of taps, strongest first."""
    return modes(
        recording.channel(),
        recording.rate_hz,
        low_hz=max(LOWEST_HZ, recording.support.low_hz),
        high_hz=min(recording.top_hz, 0.4 * recording.rate_hz),
    )
