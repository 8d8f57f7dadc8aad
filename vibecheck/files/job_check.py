"""Whether a job's folder still holds what was put there."""

from __future__ import annotations

from vibecheck.errors import VibecheckError
from vibecheck.files.audio import read_recording
from vibecheck.files.job import Job
from vibecheck.files.sweep import Sweep, file_sha256, load_sweep, loose_files, partial_files


def check_job(job: Job, *, read: bool = False) -> list[str]:
    """Everything about a job's files that a person should look at; empty when all is well.

    Parameters
    ----------
    read : bool
        Also read every take, to find damaged ones that have no hash.
    """
    found = []
    if job.machine_path is None:
        found.append("no machine.toml: diagnosis will know less")
    for name in job.sweeps:
        try:
            sweep = load_sweep(job, name)
        except VibecheckError as error:
            found.append(error.text)
            continue
        found += [f"{name}/{what}" for what in _sweep_faults(sweep, read)]
    return found


def _sweep_faults(sweep: Sweep, read: bool) -> list[str]:
    found = []
    for take in sweep.takes:
        path = sweep.folder / take.file
        if not path.is_file():
            found.append(f"{take.file}: missing")
        elif take.sha256 and file_sha256(path) != take.sha256:
            found.append(f"{take.file}: changed since it was recorded (its hash differs)")
        elif read:
            found += _unreadable(sweep, take.file)
    found += [
        f"{path.name}: put there by hand; counted by its name, without a hash"
        for path in loose_files(sweep)
    ]
    found += [
        f"{path.name}: a take that was cut off; 'vibecheck record' offers it for use or redo"
        for path in partial_files(sweep)
    ]
    if not sweep.takes and not found:
        found.append("no takes yet")
    return found


def _unreadable(sweep: Sweep, file: str) -> list[str]:
    entry = next(take for take in sweep.takes if take.file == file)
    try:
        read_recording(sweep.folder / file, **entry.reading)
    except VibecheckError as error:
        return [error.text]
    return []
