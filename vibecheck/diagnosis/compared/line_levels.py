"""Levels of every compared line in one take, with the uncertainty the take itself shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.block_spectra import (
    REACH_BINS,
    BlockSpectra,
    Power,
    bins_of,
    line_power,
)
from vibecheck.diagnosis.compared.compared_lines import Line
from vibecheck.diagnosis.compared.line_listening import Listening
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.diagnosis.compared.take_spectra import SPEED_SLACK, Spectra, places_of, source_of

Array = NDArray[np.float64]
HEARD = 3.0
"""Standard uncertainties above nothing from which a line counts as heard."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Powers of every line in one take; None where the take cannot carry the line."""

    powers: tuple[Power | None, ...]
    overall_db: float
    bands_db: Array
    """Noise floor between the lines, one value for each third of an octave."""


def levels_of(spectra: Spectra, how: Listening) -> Levels:
    """Read every line of one take."""
    powers: list[Power | None] = []
    busy: dict[tuple[float, float] | None, NDArray[np.bool_]] = {}
    for line, shift, band in zip(how.lines, how.shifts, how.bands, strict=True):
        if line.domain == "shape":
            powers.append(spectra.peakiness)
            continue
        source = source_of(spectra, band) if band or line.domain == "spectrum" else None
        if source is None or not _carried(line, spectra.heard, source):
            powers.append(None)
            continue
        if band not in busy:
            busy[band] = _busy(how.lines, how.shifts, line.domain, spectra.heard, source)
        places = places_of(line, spectra.heard, shift)
        widths = [SPEED_SLACK * place for place in places]
        powers.append(line_power(source, places, widths, busy[band]))
    return Levels(powers=tuple(powers), overall_db=spectra.overall_db, bands_db=spectra.bands_db)


def _carried(line: Line, heard: TakeAtSpeed, source: BlockSpectra) -> bool:
    """Whether speed is known and the recording can be believed at every component."""
    places = places_of(line, heard)
    if len(places) < len(line.places):
        return False
    support = heard.take.recording.support
    top = heard.take.recording.top_hz if line.domain == "spectrum" else np.inf
    last = source.step_hz * (source.power.shape[1] - 1 - REACH_BINS)
    low = max(support.low_hz if line.domain == "spectrum" else 0.0, 2.5 * source.step_hz)
    return all(low <= place <= min(top, last) for place in places)


def _busy(
    lines: Sequence[Line],
    shifts: Sequence[float],
    domain: str,
    heard: TakeAtSpeed,
    source: BlockSpectra,
) -> NDArray[np.bool_]:
    busy = np.zeros(source.power.shape[1], dtype=bool)
    for line, shift in zip(lines, shifts, strict=True):
        if line.domain != domain:
            continue
        for place in places_of(line, heard, shift):
            low, high = bins_of(place, SPEED_SLACK * place, source)
            busy[low : high + 1] = True
    return busy
