"""Two sweeps of one machine held against each other, line by line and position by position.

Nothing is called better or worse unless it stands clear of what the same machine does when it is
measured twice, with all lines of all positions controlled together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.block_spectra import Power
from vibecheck.diagnosis.change import (
    WORST_FIRST,
    Comparison,
    LineChange,
    Outcome,
    PositionChange,
    Shaking,
)
from vibecheck.diagnosis.comparability import (
    Obstacle,
    alike_obstacle,
    moved_alike,
    not_told,
    pair_obstacles,
    take_obstacle,
)
from vibecheck.diagnosis.compared_lines import Domain, Line, lines_of
from vibecheck.diagnosis.line_levels import (
    HEARD,
    Levels,
    Listening,
    TakeAtSpeed,
    block_seconds,
    common_gain,
    levels_of,
    listening,
    octaves,
    spectra_of,
)
from vibecheck.diagnosis.repeatability import (
    RESEATING_DB,
    Cell,
    Repeatability,
    Spread,
    change_chances,
    interval_factor,
    repeatability_of,
    resolved,
    smallest_change_db,
    spread_of,
)
from vibecheck.diagnosis.severity import severity
from vibecheck.errors import JobError
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning, turning
from vibecheck.spectra.spectrum import Spectrum
from vibecheck.units import rpm

Array = NDArray[np.float64]

LEAST_WORTH_SAYING_DB = 1.0
"""A change below this is never called one, however well it is resolved (judgement)."""
CLEAR_OF_FLOOR = 3.0
"""On its louder side a line must hold this many times the noise in its bins: nearer to the noise,
what happens to be in the same bins decides."""
BACKGROUND_SHARE = 0.5
"""A line with more than this share in the background take is not compared."""
MIXING_DB = 5.6
"""Standard deviation of the level of two equal tones of one frequency in random phase, dB:
10/ln 10 times pi/sqrt 6, as for the power of noise (definition)."""
DB = 10.0 / np.log(10.0)
LINE_ALLOWANCE_DB: Mapping[Domain, float] = {"spectrum": 2.5, "envelope": 2.5, "shape": 0.5}
"""Without repeats: what re-seating, and gears meshing anew, does to one line alone (judgement)."""
PEAKINESS_SEAT_DB = 0.5
"""Seating changes the level far more than the shape of the wave (judgement)."""
SEAT_WORDS = ("seat", "reseated", "re-seated", "sensor reseated")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Side:
    """Takes of one side at one position that may be used, and the background's levels."""

    heard: tuple[TakeAtSpeed, ...]
    levels: tuple[Levels, ...]
    background: Levels | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Measured:
    """Everything read at one position, ready for the statistics of the whole pair."""

    label: str
    how: Listening
    before: _Side
    after: _Side
    obstacles: tuple[Obstacle, ...]
    left_out: tuple[str, ...]
    cell: Cell
    bounds: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Lines that enter the comparison."""
        return np.array([reason == "" for reason in self.reasons], dtype=bool)


def compare(
    machine: Machine,
    before: Sequence[TakeAtSpeed],
    after: Sequence[TakeAtSpeed],
    *,
    extra_hz: Sequence[float] = (),
) -> Comparison:
    """Compare two sweeps of one machine at every lever position both contain.

    Parameters
    ----------
    machine : Machine
    before, after : sequence of TakeAtSpeed
        Takes with their speeds. Several of one position are repeats; takes of kind "background"
        are subtracted; only "idle" takes are compared.
    extra_hz : sequence of float
        Tones of fixed frequency to follow as well.

    Returns
    -------
    Comparison

    Raises
    ------
    JobError
        When the two sweeps have no lever position in common.
    """
    sides = [_by_position(side) for side in (before, after)]
    labels = [p.label for p in machine.positions if all(p.label in side for side in sides)]
    if not labels:
        raise JobError(
            "the two sweeps have no lever position in common",
            "Record the same lever positions before and after.",
        )
    turnings = {label: turning(machine, machine.position(label)) for label in labels}
    grounds = [_backgrounds(side) for side in (before, after)]
    measured = [
        _measure(turnings[label], sides[0][label], sides[1][label], grounds, extra_hz)
        for label in labels
    ]
    seated = _seating([*before, *after])
    idle = [[h.take for h in side if h.take.kind == "idle"] for side in (before, after)]
    made = _judged(machine, measured, seated)
    return replace(
        made,
        missing=_missing(machine, sides),
        not_told=not_told(*idle),
        notes=_notes(seated, measured, made.repeatability),
    )


def _by_position(side: Sequence[TakeAtSpeed]) -> dict[str, list[TakeAtSpeed]]:
    found: dict[str, list[TakeAtSpeed]] = {}
    for heard in side:
        if heard.take.kind == "idle" and heard.take.position is not None:
            found.setdefault(heard.take.position, []).append(heard)
    return found


def _backgrounds(side: Sequence[TakeAtSpeed]) -> list[TakeAtSpeed]:
    return [heard for heard in side if heard.take.kind == "background"]


def _measure(
    at: Turning,
    before: Sequence[TakeAtSpeed],
    after: Sequence[TakeAtSpeed],
    grounds: Sequence[Sequence[TakeAtSpeed]],
    extra_hz: Sequence[float],
) -> _Measured:
    lines = lines_of(at, extra_hz)
    kept, refusals, barred = [], [], False
    for side in (before, after):
        found = [(heard, take_obstacle(heard)) for heard in side]
        fit = [heard for heard, obstacle in found if obstacle is None]
        refusals += [obstacle for _, obstacle in found if obstacle is not None]
        barred = barred or not fit
        kept.append(fit or list(side))
    obstacles = [*(refusals if barred else ()), *pair_obstacles(*kept)]
    sides, how = _read(lines, kept, grounds)
    moved = moved_alike(sides[0].levels, sides[1].levels)
    if moved and not obstacles:
        obstacles = [alike_obstacle(moved)]
    cell, bounds, reasons = _cell(how, sides)
    return _Measured(
        label=at.label,
        how=how,
        before=sides[0],
        after=sides[1],
        obstacles=tuple(obstacles),
        left_out=() if barred else tuple(obstacle.what for obstacle in refusals),
        cell=cell,
        bounds=bounds,
        reasons=reasons,
    )


def _read(
    lines: Sequence[Line],
    kept: Sequence[Sequence[TakeAtSpeed]],
    grounds: Sequence[Sequence[TakeAtSpeed]],
) -> tuple[list[_Side], Listening]:
    every = [heard for side in kept for heard in side]
    block_s = block_seconds(every, lines)
    gain = common_gain(every)
    rate = min(heard.rate_hz for heard in every)
    top = min(heard.take.recording.top_hz for heard in every)
    needed = any(line.domain == "envelope" for line in lines)
    bands = octaves(rate, top) if needed and top > 700 else ()
    spectra = [[spectra_of(heard, lines, block_s, gain, bands) for heard in side] for side in kept]
    how = listening(lines, [one for side in spectra for one in side], block_s, bands)
    sides = []
    for side, takes, ground in zip(spectra, kept, grounds, strict=True):
        sides.append(
            _Side(
                heard=tuple(takes),
                levels=tuple(levels_of(one, how) for one in side),
                background=_background(how, takes[0], ground, gain),
            )
        )
    return sides, how


def _background(
    how: Listening, like: TakeAtSpeed, ground: Sequence[TakeAtSpeed], gain: Spectrum
) -> Levels | None:
    """Background levels at the places where this position's lines are."""
    fitting = [g for g in ground if g.take.position in (None, like.take.position)]
    if not fitting:
        return None
    take = fitting[0].take
    if take.recording.seconds < how.block_s:
        return None
    quiet = TakeAtSpeed(take=take, speeds_hz=like.speeds_hz, channel=fitting[0].channel)
    plain = spectra_of(quiet, how.lines, how.block_s, gain, ())
    return levels_of(plain, how)


def _cell(how: Listening, sides: Sequence[_Side]) -> tuple[Cell, tuple[str, ...], tuple[str, ...]]:
    """Levels in dB with their noise, and for each line whether it is a bound or left out."""
    count = len(how.lines)
    tables = [np.zeros((count, len(side.levels))) for side in sides]
    noises = [np.zeros((count, len(side.levels))) for side in sides]
    bounds, reasons = [], []
    for index, line in enumerate(how.lines):
        scale = 0.5 if line.domain == "envelope" else 1.0
        rows = [_row(side, index, line) for side in sides]
        audible = [row is not None and row.audible for row in rows]
        reason = _reason(rows, audible)
        bounds.append(_bound(audible))
        reasons.append(reason)
        for table, noise, row in zip(tables, noises, rows, strict=True):
            if row is not None:
                table[index] = scale * row.level_db
                noise[index] = scale * row.noise_db
    fit = np.array(
        [not bound and not reason for bound, reason in zip(bounds, reasons, strict=True)],
        dtype=bool,
    )
    cell = Cell(
        before_db=tables[0],
        after_db=tables[1],
        before_noise_db=noises[0],
        after_noise_db=noises[1],
        fit=fit,
    )
    return cell, tuple(bounds), tuple(reasons)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Row:
    """One line on one side: level and noise of each take, and whether it was heard at all."""

    level_db: Array
    noise_db: Array
    audible: bool
    background: bool
    over_floor: float


def _row(side: _Side, index: int, line: Line) -> _Row | None:
    powers = [level.powers[index] for level in side.levels]
    told = [power for power in powers if power is not None]
    if len(told) < len(powers):
        return None
    ground = side.background.powers[index] if side.background is not None else None
    if line.domain != "spectrum":
        ground = None
    off, covered = _off(told, ground)
    value = np.array([power.value for power in told]) - off
    error = np.array([power.error for power in told])
    mean, mean_error = float(value.mean()), float(np.sqrt(np.sum(error**2)) / len(told))
    audible = mean > HEARD * mean_error and mean > 0
    least = HEARD * (error if audible else np.full(len(told), mean_error))
    level = np.maximum(value if audible else np.full(len(told), mean), np.maximum(least, 1e-30))
    noise = np.minimum(DB * error / level, DB)
    return _Row(
        level_db=DB * np.log(level),
        noise_db=noise,
        audible=bool(audible),
        background=covered,
        over_floor=mean / max(float(np.mean([power.floor for power in told])), 1e-30),
    )


def _off(told: Sequence[Power], ground: Power | None) -> tuple[float, bool]:
    """Mean square to subtract for the background, and whether it covers the line."""
    if ground is None or ground.value <= HEARD * ground.error:
        return 0.0, False
    mean = float(np.mean([power.value for power in told]))
    return ground.value, ground.value > BACKGROUND_SHARE * mean


def _bound(audible: Sequence[bool]) -> str:
    if all(audible) or not any(audible):
        return ""
    return "gone" if audible[0] else "new"


def _reason(rows: Sequence[_Row | None], audible: Sequence[bool]) -> str:
    if any(row is None for row in rows):
        return "outside what the recording carries, or its speed is not known"
    if not any(audible):
        return "not heard on either side"
    if max(row.over_floor for row in rows if row is not None) < CLEAR_OF_FLOOR:
        return "too near the noise on both sides"
    if any(row is not None and row.background for row in rows):
        return "the background makes this tone as well"
    return ""


def _seating(every: Sequence[TakeAtSpeed]) -> bool | None:
    told = []
    for heard in every:
        for key, value in heard.take.conditions.items():
            if key.lower().strip() in SEAT_WORDS:
                told.append(value.lower().strip() not in ("no", "same", "false", "0", "left"))
    return any(told) if told else None


def _judged(machine: Machine, measured: Sequence[_Measured], seated: bool | None) -> Comparison:
    """Spread from all positions together, then every line, then every position."""
    open_ = [m for m in measured if not m.obstacles]
    known = {
        domain: repeatability_of(
            [_part(m, domain) for m in open_ if _part(m, domain).lines],
            reseated=seated is not False,
            seat_db=PEAKINESS_SEAT_DB if domain == "shape" else RESEATING_DB,
            line_db=allowed,
        )
        for domain, allowed in LINE_ALLOWANCE_DB.items()
    }
    tested: list[tuple[int, int]] = []
    chances: list[float] = []
    changes: list[list[LineChange]] = []
    for place, m in enumerate(measured):
        found = _changes(m, known)
        changes.append(found)
        if m.obstacles:
            continue
        for index, line in enumerate(found):
            if line.reason == "":
                tested.append((place, index))
                chances.append(line.chance)
    called = resolved(np.array(chances))
    for (place, index), yes in zip(tested, called, strict=True):
        changes[place][index] = _called(changes[place][index], bool(yes))
    compared = max(len(tested), 1)
    positions = [
        _position(machine, m, found, known["spectrum"], compared)
        for m, found in zip(measured, changes, strict=True)
    ]
    sizes = [(p.before_takes, p.after_takes) for p in positions if not p.obstacles] or [(1, 1)]
    noise = _typical_noise(open_)
    return Comparison(
        machine=machine.name,
        positions=tuple(sorted(positions, key=lambda p: WORST_FIRST.index(p.outcome))),
        repeatability=known["spectrum"],
        compared=compared,
        reseated=seated,
        smallest_db=smallest_change_db(
            known["spectrum"], noise, before=min(sizes)[0], after=min(sizes)[1], lines=compared
        ),
        smallest_with=_with_repeats(known["spectrum"], noise, compared, min(sizes)),
    )


def _part(m: _Measured, domain: Domain) -> Cell:
    """The lines of one domain, which spread alike."""
    chosen = np.array([line.domain == domain for line in m.how.lines], dtype=bool)
    return _rows_of(m.cell, chosen)


def _rows_of(cell: Cell, chosen: NDArray[np.bool_]) -> Cell:
    return Cell(
        before_db=cell.before_db[chosen],
        after_db=cell.after_db[chosen],
        before_noise_db=cell.before_noise_db[chosen],
        after_noise_db=cell.after_noise_db[chosen],
        fit=cell.fit[chosen],
    )


def _changes(m: _Measured, known: Mapping[Domain, Repeatability]) -> list[LineChange]:
    found: list[LineChange | None] = [None] * len(m.how.lines)
    for domain, spread_known in known.items():
        rows = [i for i, line in enumerate(m.how.lines) if line.domain == domain]
        if not rows:
            continue
        cell = _part(m, domain)
        mixed = np.array([m.how.lines[row].mixed for row in rows])
        spread = _with_mixing(spread_of(cell, spread_known), mixed)
        change = cell.change_db
        half = interval_factor(spread.dof) * spread.standard_db
        chance = change_chances(change, spread, cell.fit & ~mixed)
        for k, row in enumerate(rows):
            found[row] = _line_change(
                m, row, cell, k, change[k], half[k], spread.standard_db[k], spread.dof[k], chance[k]
            )
    return [line for line in found if line is not None]


def _with_mixing(spread: Spread, mixed: NDArray[np.bool_]) -> Spread:
    """Room for the unknown phase between sources of one frequency, once for each side."""
    extra = np.where(mixed, 2.0 * MIXING_DB**2, 0.0)
    return Spread(
        standard_db=np.sqrt(spread.standard_db**2 + extra),
        dof=spread.dof,
        own_db=np.sqrt(spread.own_db**2 + extra),
        own_dof=spread.own_dof,
    )


def _line_change(
    m: _Measured,
    row: int,
    cell: Cell,
    k: int,
    change: float,
    half: float,
    standard: float,
    dof: float,
    chance: float,
) -> LineChange:
    line, bound, reason = m.how.lines[row], m.bounds[row], m.reasons[row]
    if (bound == "gone" and change > 0) or (bound == "new" and change < 0):
        chance = 1.0
    quiet = reason.startswith(("not heard", "too near"))
    outcome: Outcome = "not heard" if quiet else "not comparable"
    return LineChange(
        name=line.name,
        sort=line.sort,
        parts=line.parts,
        same_as=line.same_as,
        before_db=float(cell.before_db[k].mean()),
        after_db=float(cell.after_db[k].mean()),
        change_db=float(change),
        low_db=float(change - half),
        high_db=float(change + half),
        standard_db=float(standard),
        dof=float(dof),
        chance=float(chance),
        bound=bound,  # type: ignore[arg-type]
        outcome=outcome,
        reason=reason,
        band_hz=m.how.bands[row],
    )


def _called(line: LineChange, yes: bool) -> LineChange:
    if not yes:
        return replace(line, outcome="same")
    if abs(line.change_db) < LEAST_WORTH_SAYING_DB:
        return replace(
            line,
            outcome="same",
            reason=f"resolved, but below {LEAST_WORTH_SAYING_DB:g} dB: too little to matter",
        )
    return replace(line, outcome="worse" if line.change_db > 0 else "better")


def _position(
    machine: Machine,
    m: _Measured,
    lines: Sequence[LineChange],
    known: Repeatability,
    compared: int,
) -> PositionChange:
    outcome: Outcome
    if m.obstacles or not m.usable.any():
        outcome = "not comparable"
        lines = [replace(line, outcome="not comparable") for line in lines]
    else:
        outcomes = {line.outcome for line in lines}
        outcome = "worse" if "worse" in outcomes else "better" if "better" in outcomes else "same"
    counts = len(m.before.heard), len(m.after.heard)
    overall = [
        float(np.mean([level.overall_db for level in side.levels])) for side in (m.before, m.after)
    ]
    smallest = None
    if not m.obstacles:
        smallest = smallest_change_db(
            known, _typical_noise([m]), before=counts[0], after=counts[1], lines=compared
        )
    return PositionChange(
        position=m.label,
        outcome=outcome,
        lines=tuple(sorted(lines, key=_telling)),
        obstacles=m.obstacles,
        left_out=m.left_out,
        before_takes=counts[0],
        after_takes=counts[1],
        before_rpm=_rpm(machine, m, m.before),
        after_rpm=_rpm(machine, m, m.after),
        overall_db=None if m.obstacles else overall[1] - overall[0],
        smallest_db=smallest,
        shaking=None if m.obstacles else _shaking(machine, m),
    )


def _shaking(machine: Machine, m: _Measured) -> Shaking | None:
    """Velocity and displacement of both sides, when every take is calibrated motion."""
    takes = [heard.take.recording for side in (m.before, m.after) for heard in side.heard]
    if any(
        take.quantity not in ("acceleration", "velocity") or take.unit == "FS" for take in takes
    ):
        return None
    speed = _rpm(machine, m, m.before)
    sides = [
        [severity(heard.take.recording, speed, heard.channel) for heard in side.heard]
        for side in (m.before, m.after)
    ]
    velocity, moved = (
        [float(np.sqrt(np.mean([getattr(one, name) ** 2 for one in side]))) for side in sides]
        for name in ("velocity_mm_s", "displacement_um")
    )
    return Shaking(
        before_mm_s=velocity[0],
        after_mm_s=velocity[1],
        before_um=moved[0],
        after_um=moved[1],
        band_hz=sides[0][0].band_hz,
    )


def _telling(line: LineChange) -> tuple[int, float]:
    order = {"worse": 0, "better": 1, "same": 2, "not comparable": 3, "not heard": 4}
    return order[line.outcome], -abs(line.change_db) / max(line.standard_db, 1e-9)


def _rpm(machine: Machine, m: _Measured, side: _Side) -> float | None:
    at = turning(machine, machine.position(m.label))
    spindle = at.rotors[machine.spindle]
    speeds = [h.speeds_hz[spindle.group] for h in side.heard if spindle.group in h.speeds_hz]
    return rpm(float(np.mean(speeds)) * spindle.ratio) if speeds else None


def _typical_noise(measured: Sequence[_Measured]) -> float:
    cells = [_part(m, "spectrum") for m in measured]
    parts = [np.sqrt(cell.noise_variance[cell.fit]) for cell in cells]
    values = np.concatenate(parts) if parts else np.zeros(0)
    return float(np.median(values)) if values.size else 1.0


def _with_repeats(
    known: Repeatability, noise: float, compared: int, now: tuple[int, int]
) -> tuple[tuple[int, float], ...]:
    """Smallest change for more takes a side; with measured spread, its freedom grows too."""
    found = []
    for count in (3, 5, 8):
        if count <= min(now):
            continue
        more = replace(known, take_dof=max(known.take_dof, 2.0 * (count - 1)))
        found.append(
            (count, smallest_change_db(more, noise, before=count, after=count, lines=compared))
        )
    return tuple(found)


def _missing(machine: Machine, sides: Sequence[Mapping[str, object]]) -> tuple[str, ...]:
    found = []
    for position in machine.positions:
        label = position.label
        held = [label in side for side in sides]
        if any(held) and not all(held):
            found.append(f"{label} (only {'before' if held[0] else 'after'})")
    return tuple(found)


def _notes(
    seated: bool | None, measured: Sequence[_Measured], known: Repeatability
) -> tuple[str, ...]:
    notes = []
    repeats = any(m.cell.spare > 0 and not m.obstacles for m in measured)
    if not repeats:
        notes.append(
            f"No repeats: seating the sensor is allowed {RESEATING_DB:g} dB (standard uncertainty, "
            "common practice, not measured here). Three takes a side, the sensor taken off and "
            "put back between them, would measure it."
        )
    elif seated is None:
        notes.append(
            "Nobody recorded whether the sensor was re-seated between repeats; it is taken that "
            "it was. If it stayed in place, the spread is too small and changes of 1-3 dB prove "
            "nothing."
        )
    elif seated is False:
        notes.append(
            f"The sensor stayed in place between repeats, so {RESEATING_DB:g} dB is allowed for "
            "seating it anew (standard uncertainty, common practice)."
        )
    if any(not m.before.heard[0].speeds_hz for m in measured):
        notes.append("Some takes have no known speed; their lines could not be placed.")
    return tuple(notes)
