"""Files other measuring programs hand over: UFF data set 58, and MATLAB version 5 arrays."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError, UsageError
from vibecheck.files.measures import Measure, known_measure, measure
from vibecheck.files.stamps import evenly
from vibecheck.recording import Recording, Support

MOST_CHANNELS = 64
LEAST_SAMPLES = 64
RATE_NAME = re.compile(r"^(fs|sr|sample_?rate|sample_?frequency|sampling_?\w*|rate(_hz)?)$", re.I)
RPM_NAME = re.compile(r"(rpm|shaft_?speed|spindle_?speed)$", re.I)
KINDS = {8: "mm", 11: "mm/s", 12: "m/s^2", 15: "Pa"}
"""UFF ordinate data type -> unit used when the label names none."""
HDF5_START = b"MATLAB 7.3 MAT"


def read_exchange(
    path: Path,
    *,
    variable: str | None = None,
    unit: str | None = None,
    rate_hz: float | None = None,
) -> Recording:
    """Read a recording from a UFF or MATLAB file.

    Parameters
    ----------
    path : Path
        ``.mat`` up to version 7, or ``.uff``/``.unv`` with data sets 58.
    variable : str, optional
        The MATLAB array; or the number (from 1) or name of a UFF record. Without it a lone array
        is taken, and UFF records of one length and rate become channels.
    unit : str, optional
        Unit of the numbers.
    rate_hz : float, optional
        Sample rate of an array whose file stores none.
    """
    if path.stat().st_size == 0:
        raise RecordingError("the file is empty", "Export it again.", path.name)
    given = None if unit is None else measure(unit)
    if path.suffix.lower() == ".mat":
        return _matlab(path, variable, given, rate_hz)
    return _uff(path, variable, given)


def stored_rpm(path: Path) -> float | None:
    """Shaft speed a MATLAB file stores beside its arrays, None when it stores none.

    Only a claim: such numbers are wrong often enough that the recording itself must be asked.
    """
    for name, value in _variables(path).items():
        if RPM_NAME.search(name) and value.size == 1:
            return float(value.reshape(-1)[0])
    return None


def _variables(path: Path) -> dict[str, NDArray[Any]]:
    from scipy.io import loadmat
    from scipy.io.matlab import MatReadError

    if path.read_bytes()[: len(HDF5_START)] == HDF5_START:
        raise RecordingError(
            "a MATLAB 7.3 file", "Save it with the option -v7 and try again.", path.name
        )
    try:
        found = loadmat(path, squeeze_me=False)
    except (MatReadError, ValueError, TypeError, OSError, NotImplementedError, EOFError) as error:
        raise RecordingError(
            f"not a MATLAB version 5 file ({error})", "Export it again.", path.name
        ) from None
    return {
        name: value
        for name, value in found.items()
        if not name.startswith("__") and isinstance(value, np.ndarray) and value.dtype.kind in "fiu"
    }


def _matlab(
    path: Path, variable: str | None, given: Measure | None, rate_hz: float | None
) -> Recording:
    variables = _variables(path)
    arrays = {name: value for name, value in variables.items() if value.size >= LEAST_SAMPLES}
    array = _chosen(arrays, variable, path.name)
    rate = rate_hz or _stored_rate(variables)
    if rate is None:
        raise RecordingError(
            "the file stores no sample rate", "Give the samples a second (--rate).", path.name
        )
    found = given or Measure(
        quantity="unknown", unit="?", notes=("unit not told: levels are only comparable to itself",)
    )
    return Recording(
        samples=_channels(array, path.name) * np.float32(found.factor),
        rate_hz=rate,
        name=path.stem,
        quantity=found.quantity,
        unit=found.unit,
        support=Support(reasons=found.notes),
    )


def _chosen(arrays: dict[str, NDArray[Any]], variable: str | None, name: str) -> NDArray[Any]:
    if variable is not None:
        if variable in arrays:
            return arrays[variable]
        raise UsageError(
            f"no array {variable!r} with samples", f"It holds: {', '.join(arrays)}.", name
        )
    if len(arrays) == 1:
        return next(iter(arrays.values()))
    if not arrays:
        raise RecordingError("no array long enough to be a recording", "Export it again.", name)
    raise UsageError(
        f"{len(arrays)} arrays could be the recording",
        f"Name one of {', '.join(arrays)} (--variable).",
        name,
    )


def _stored_rate(variables: dict[str, NDArray[Any]]) -> float | None:
    for name, value in variables.items():
        if value.size == 1 and RATE_NAME.match(name) and float(value.reshape(-1)[0]) > 0:
            return float(value.reshape(-1)[0])
    return None


def _channels(array: NDArray[Any], name: str) -> NDArray[np.float32]:
    flat = np.squeeze(array)
    if flat.ndim == 2 and flat.shape[0] > flat.shape[1]:
        flat = flat.T
    if flat.ndim > 2 or (flat.ndim == 2 and flat.shape[0] > MOST_CHANNELS):
        raise RecordingError(
            f"an array of shape {array.shape} is no recording", "Name another one.", name
        )
    return np.ascontiguousarray(np.atleast_2d(flat), dtype=np.float32)


def _uff(path: Path, variable: str | None, given: Measure | None) -> Recording:
    sets = _time_sets(path)
    chosen = _picked(sets, variable, path.name)
    columns = np.stack([np.asarray(one["data"]).real for one in chosen], axis=1)
    stamps = np.asarray(chosen[0]["x"], dtype=np.float64)
    even = evenly(stamps, columns, path.name)
    found = given or _uff_measure(chosen[0])
    names = [str(one.get("id1", "")).strip() for one in chosen]
    notes = [*even.notes, *found.notes]
    if len(chosen) > 1:
        notes.append("channels in order: " + ", ".join(names))
    return Recording(
        samples=np.ascontiguousarray((even.samples * found.factor).T, dtype=np.float32),
        rate_hz=even.rate_hz,
        name=path.stem,
        quantity=found.quantity,
        unit=found.unit,
        support=Support(
            high_hz=even.high_hz if even.high_hz < even.rate_hz / 2 else 0.0,
            aliased=even.aliased,
            reasons=tuple(notes),
        ),
    )


def _time_sets(path: Path) -> list[dict[str, Any]]:
    import pyuff

    try:
        with contextlib.redirect_stdout(io.StringIO()):
            read = pyuff.UFF(str(path)).read_sets()
    except Exception as error:  # the reader raises bare Exception for every kind of damage
        raise RecordingError(
            f"not a UFF file that can be read ({error})", "Export it again.", path.name
        ) from None
    every = read if isinstance(read, list) else [read]
    sets = [one for one in every if one.get("type") == 58 and one.get("func_type") in (0, 1)]
    sets = [one for one in sets if np.size(one.get("data", ())) >= LEAST_SAMPLES]
    if not sets:
        raise RecordingError(
            "no time record (data set 58) in it", "Export the time records, not spectra.", path.name
        )
    return sets


def _picked(sets: list[dict[str, Any]], variable: str | None, name: str) -> list[dict[str, Any]]:
    names = [str(one.get("id1", "")).strip() for one in sets]
    if variable is not None:
        if variable.isdigit() and 1 <= int(variable) <= len(sets):
            return [sets[int(variable) - 1]]
        if variable in names:
            return [sets[names.index(variable)]]
        raise UsageError(f"no record {variable!r}", f"It holds: {', '.join(names)}.", name)
    shapes = {(np.size(one["data"]), one.get("abscissa_inc")) for one in sets}
    if len(shapes) > 1:
        raise UsageError(
            f"{len(sets)} records of different length or rate",
            f"Name one of {', '.join(names)} or its number (--variable).",
            name,
        )
    return sets


def _uff_measure(one: dict[str, Any]) -> Measure:
    label = str(one.get("ordinate_axis_units_lab", "")).strip()
    found = known_measure(label) if label and label.upper() != "NONE" else None
    kind = KINDS.get(int(one.get("ordinate_spec_data_type", 0)))
    if found is None and kind is not None:
        found = known_measure(kind)
    return found or Measure(
        quantity="unknown", unit="?", notes=("unit not told: levels are only comparable to itself",)
    )
