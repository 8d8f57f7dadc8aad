"""What repeats with one shaft: the average over its turns, and what is left when that is taken off.

McFadden 1987, Mech. Syst. Signal Process. 1:83-95.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft

from vibecheck.errors import RecordingError
from vibecheck.spectra.orders import SpeedTrack, resampled_to_angle
from vibecheck.spectra.spectrum import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Average:
    """The synchronous average over one turn of a shaft.

    Attributes
    ----------
    turn : ndarray of float32, shape (per_turn,)
        One turn; starts where the recording starts.
    turns : int
        How many turns went into it: noise falls by the square root of this.
    left : float
        R.m.s. of what does not repeat, one turn's worth.
    """

    turn: Floats
    turns: int
    left: float


def synchronous_average(
    samples: Floats, rate_hz: float, track: SpeedTrack, *, per_turn: int = 1024
) -> Average:
    """Average over every whole turn of the shaft whose speed ``track`` gives.

    Examples
    --------
    >>> time = np.arange(20000) / 2000
    >>> tone = np.sin(2 * np.pi * 50 * time).astype(np.float32)
    >>> steady = SpeedTrack(times_s=np.array([0.0, 10.0]), hz=np.array([10.0, 10.0]))
    >>> average = synchronous_average(tone, 2000.0, steady, per_turn=256)
    >>> average.turns, round(float(average.turn.std() * 2**0.5), 2)
    (100, 1.0)
    """
    angle = resampled_to_angle(samples, rate_hz, track, per_turn=per_turn)
    turns = angle.size // per_turn
    if turns < 2:
        raise RecordingError("fewer than two whole turns recorded", "Record for longer.")
    rows = angle[: turns * per_turn].reshape(turns, per_turn)
    turn = rows.mean(axis=0, dtype=np.float64).astype(np.float32)
    return Average(turn=turn, turns=turns, left=float((rows - turn).std()))


def residual(
    turn: Floats, mesh_teeth: Sequence[int], *, harmonics: int = 8, sidebands: int = 0
) -> Floats:
    """The average without shaft once and twice a turn and the mesh with its harmonics.

    With ``sidebands`` 0 this is the residual signal, with 1 the difference signal (the first-order
    sidebands go too; Stewart 1977).

    Parameters
    ----------
    turn : ndarray of float32, shape (per_turn,)
    mesh_teeth : sequence of int
        Tooth counts on this shaft.
    """
    lines = scipy.fft.rfft(turn)
    lines[:3] = 0
    for teeth in mesh_teeth:
        for harmonic in range(1, harmonics + 1):
            middle = teeth * harmonic
            lines[max(0, middle - sidebands) : middle + sidebands + 1] = 0
    return np.asarray(scipy.fft.irfft(lines, n=turn.size), dtype=np.float32)


def difference(turn: Floats, mesh_teeth: Sequence[int], *, harmonics: int = 8) -> Floats:
    """The residual without the first-order sidebands of the mesh."""
    return residual(turn, mesh_teeth, harmonics=harmonics, sidebands=1)


def mesh_band(turn: Floats, teeth: int, *, sidebands: int | None = None) -> Floats:
    """Envelope of the band round one mesh line, shape (per_turn,): for NB4 and for looking at."""
    width = teeth // 2 if sidebands is None else sidebands
    lines = scipy.fft.fft(turn)
    keep = np.zeros(turn.size, dtype=np.complex64)
    low, high = max(1, teeth - width), min(turn.size // 2, teeth + width + 1)
    keep[low:high] = 2 * lines[low:high]
    return np.abs(scipy.fft.ifft(keep)).astype(np.float32)
