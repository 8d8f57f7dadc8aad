"""Pages, pictures and JSON onto the disk, never over something that is already there."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from vibecheck.errors import UsageError, VibecheckError

if TYPE_CHECKING:
    from vibecheck.cli.gathering import Gathered
    from vibecheck.diagnosis.findings import Diagnosis
    from vibecheck.report.marks_joined import Joined
    from vibecheck.report.page import Record

PICTURE_SUFFIXES = (".png", ".svg")


def must_be_free(path: str | None, *, replace: bool) -> None:
    """Refuse before the work begins, not after.

    Raises
    ------
    UsageError
        Something of that name is there already, or its folder is not.
    """
    if path is None:
        return
    if Path(path).exists() and not replace:
        raise UsageError("there is already such a file", "Choose another name or --replace.", path)
    if not Path(path).absolute().parent.is_dir():
        raise UsageError("there is no such folder", "Make it first.", str(Path(path).parent))


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Write a file whole or not at all."""
    target = Path(path)
    aside = target.with_name(f".{target.name}.{os.getpid()}.part")
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        aside.write_bytes(data)
        aside.replace(target)
    except OSError as error:
        aside.unlink(missing_ok=True)
        raise VibecheckError(
            f"cannot be written ({error.strerror})", "Choose another place.", str(target)
        ) from None


def write_picture(path: str, diagnosis: Diagnosis, gathered: Gathered) -> bool:
    """The summary as PNG or SVG by the name's suffix; False when there is nothing to draw."""
    from vibecheck.report.figures import summary_figure
    from vibecheck.report.ink import png, svg

    figure = summary_figure(diagnosis, gathered.machine)
    if figure is None:
        return False
    if Path(path).suffix.lower() == ".svg":
        write_whole(path, svg(figure, label=f"Diagnosis of {diagnosis.machine}.", live=False))
    else:
        write_whole(path, png(figure))
    return True


def page_of(
    diagnosis: Diagnosis,
    gathered: Gathered,
    settings: dict[str, str],
    marks: Joined | None = None,
) -> str:
    """The page with its pictures, sounds and record."""
    from vibecheck.report.care import care_for_all
    from vibecheck.report.listening import sounds_of
    from vibecheck.report.page import to_page
    from vibecheck.report.pictures import pictures_of

    return to_page(
        diagnosis,
        gathered.machine,
        record=record_of(gathered, settings),
        pictures=pictures_of(diagnosis, gathered.machine, gathered.takes),
        cautions=tuple(
            dict.fromkeys([*care_for_all(diagnosis), *(marks.cautions if marks else ())])
        ),
        sounds=sounds_of(diagnosis, gathered.machine, gathered.takes),
        marks=marks.sentences if marks else (),
    )


def record_of(gathered: Gathered, settings: dict[str, str]) -> Record:
    """Who, when, where and which files, as far as folder and job tell."""
    from vibecheck.report.page import FileLine, Record

    job = gathered.job
    about = {"Takes from": str(gathered.folder), "Gear table": gathered.table or "none"}
    if job is not None:
        about |= {
            "Job": job.name,
            "Customer": job.customer,
            "Opened": job.opened.isoformat(),
            "Sweep": gathered.sweep,
            "Known problems": "; ".join(job.known_problems),
        }
    if gathered.warnings:
        about["Noted"] = "; ".join(gathered.warnings)
    files = []
    for take in gathered.takes:
        name = take.conditions.get("file", take.name)
        files.append(
            FileLine(
                name=name,
                position=take.position or "",
                seconds=take.recording.seconds,
                rate_hz=take.recording.rate_hz,
                sha256=_hash(gathered.folder / name),
                remarks=take.recording.support.reasons,
            )
        )
    return Record(
        about=about,
        complaint=job.complaint if job else "",
        conditions=_common_conditions(gathered),
        files=tuple(files),
        settings=settings,
    )


def _hash(path: Path) -> str:
    from vibecheck.files.sweep import file_sha256

    return file_sha256(path) if path.is_file() else ""


def _common_conditions(gathered: Gathered) -> dict[str, str]:
    """Conditions that were written down, those that differ between takes said so."""
    found: dict[str, set[str]] = {}
    for take in gathered.takes:
        for name, value in take.conditions.items():
            if name not in ("file", "repeat", "named rpm"):
                found.setdefault(name, set()).add(value)
    return {
        name: next(iter(values)) if len(values) == 1 else f"differs: {', '.join(sorted(values))}"
        for name, values in found.items()
    }


def make_folder(folder: Path) -> Path:
    """The folder, made if need be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise VibecheckError(
            f"cannot be made ({error.strerror})", "Choose another place.", str(folder)
        ) from None
    return folder


def free_path(path: Path) -> Path:
    """That path, or the first numbered one beside it that nothing has."""
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem}_{number}{path.suffix}")
    return free
