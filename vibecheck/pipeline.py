"""The front hall: from a machine and its takes to a diagnosis. Read this first.

Two streams meet here. ``machine`` says what turns and never sees a sample; ``spectra`` hears and
never sees a tooth; ``diagnosis`` lets them meet and weighs what fits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from vibecheck.diagnosis.findings import Diagnosis, fact
from vibecheck.errors import RecordingError
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Take

Progress = Callable[[int, int, str], None]
ORDINARY = ("idle", "cutting")
STEPS = 100
FEWEST_WITHOUT_TEETH = 3
"""Different lever positions from which belts alone may tell how fast everything turned."""
NO_TABLE = "a baseline and no gear table"


def diagnose(
    machine: Machine | None,
    takes: Sequence[Take],
    *,
    baseline: Sequence[Take] = (),
    progress: Progress | None = None,
) -> Diagnosis:
    """Name what is wrong with a machine, how sure that is, and what to do next.

    Parameters
    ----------
    machine : Machine or None
        As its owner described it; without one only families of tones can be told.
    takes : sequence of Take
        One or more per lever position, and special takes.
    baseline : sequence of Take
        The same machine when it was sound, by the same sensor: what has risen since decides.
    progress : callable, optional
        Called with (done, of, what) while the work goes on.

    Returns
    -------
    Diagnosis

    Raises
    ------
    RecordingError
        When there is nothing to listen to, or a baseline that cannot be used.
    """
    if not takes:
        raise RecordingError("no takes", "Give at least one recording.")
    say = _steps(progress)
    ordinary = [take for take in takes if take.kind in ORDINARY]
    specials = [take for take in takes if take.kind not in ORDINARY]
    sound = [take for take in baseline if take.kind in ORDINARY]
    if machine is None:
        if sound:
            raise RecordingError(NO_TABLE, "Name the gear table, or leave the baseline out.")
        from vibecheck.diagnosis.untabled.judged import hear_untabled

        return hear_untabled(takes)
    turnings = positions_of(machine)
    if ordinary and (_has_teeth(turnings) or _many_positions(ordinary)):
        from vibecheck.diagnosis.sweep import diagnose_sweep

        told = diagnose_sweep(machine, turnings, ordinary, say, specials, sound)
        if _has_teeth(turnings) or any(take.speeds_hz for take in told.takes):
            return told
    from vibecheck.diagnosis.single.judged import diagnose_single

    told = diagnose_single(machine, turnings, ordinary or list(takes), say)
    return replace(told, warnings=(*told.warnings, fact("baseline_apart"))) if sound else told


def positions_of(machine: Machine) -> dict[str, Turning]:
    """What turns at every lever position of the chart, by label."""
    return {position.label: turning(machine, position) for position in machine.positions}


def _has_teeth(turnings: dict[str, Turning]) -> bool:
    return any(mesh.order is not None for t in turnings.values() for mesh in t.meshes)


def _many_positions(takes: Sequence[Take]) -> bool:
    """Whether belts alone may tell how fast everything turned, over all takes together."""
    return len({take.position for take in takes}) >= FEWEST_WITHOUT_TEETH


def _steps(progress: Progress | None) -> Callable[[str, float], None]:
    def say(what: str, share: float) -> None:
        if progress is not None:
            progress(round(STEPS * share), STEPS, what)

    return say
