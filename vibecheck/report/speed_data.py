"""The speed table for other programs: CSV, one row a line, and JSON (schema below).

JSON, schema ``vibecheck.speeds/1``: ``machine``, ``remarks``, ``positions``
(``levers``, ``chart_rpm``, ``spindle_rpm``, ``shafts_rpm``, ``meshes``, ``lines``) and
``coincidences``. Unknown numbers are null.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from vibecheck.machine.coincidences import Coincidence
from vibecheck.machine.parts import Machine
from vibecheck.machine.tones import hunting_divisor, tones
from vibecheck.machine.train import Turning
from vibecheck.report.coincidence_words import coincidence_text, same_teeth_text
from vibecheck.report.speed_table import line_name
from vibecheck.units import rpm

COLUMNS = ("levers", "line", "part", "what", "hz", "rpm", "per_spindle_turn", "loaded")


def speeds_csv(turnings: Sequence[Turning]) -> str:
    """Every line of every position, one row each; speeds of shafts also in rpm."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for here in turnings:
        for line in _lines(here):
            writer.writerow([here.label, *(_cell(line[key]) for key in COLUMNS[1:])])
    return out.getvalue()


def speeds_json(
    machine: Machine,
    turnings: Sequence[Turning],
    alike: Sequence[Coincidence],
    remarks: Sequence[str] = (),
) -> dict[str, Any]:
    """The same and the coincidences, ready for ``json.dumps``."""
    return {
        "schema": "vibecheck.speeds/1",
        "machine": machine.name,
        "remarks": list(remarks),
        "positions": [_position(here) for here in turnings],
        "coincidences": [_coincidence(machine, case) for case in alike],
    }


def _position(here: Turning) -> dict[str, Any]:
    spindle = here.machine.spindle
    return {
        "levers": here.label,
        "chart_rpm": here.position.chart_rpm.middle,
        "spindle_rpm": _turns(here, spindle) if spindle in here.rotors else None,
        "shafts_rpm": {name: _turns(here, name) for name in here.rotors},
        "meshes": [_mesh(here, index) for index in range(len(here.meshes))],
        "lines": _lines(here),
    }


def _mesh(here: Turning, index: int) -> dict[str, Any]:
    work = here.meshes[index]
    base, divisor = here.groups[work.group].nominal_hz, hunting_divisor(work)
    hz = None if base is None or work.order is None else base * work.order
    return {
        "pair": work.name,
        "driver": work.mesh.driver,
        "driven": work.mesh.driven,
        "driver_teeth": work.driver_teeth,
        "driven_teeth": work.driven_teeth,
        "hz": _rounded(hz),
        "hunting_tooth_hz": _rounded(hz / divisor) if hz and divisor else None,
        "loaded": work.loaded,
    }


def _lines(here: Turning) -> list[dict[str, Any]]:
    spindle = here.machine.spindle
    turn = here.nominal_hz(spindle) if spindle in here.rotors else None
    found = []
    for tone in tones(here):
        hz = tone.hz(here)
        found.append(
            {
                "line": line_name(tone, here),
                "part": tone.part,
                "what": tone.nature,
                "hz": _rounded(hz),
                "rpm": _rounded(rpm(hz)) if hz is not None and tone.nature == "turn" else None,
                "per_spindle_turn": _rounded(hz / turn) if hz is not None and turn else None,
                "loaded": tone.loaded,
            }
        )
    return found


def _coincidence(machine: Machine, case: Coincidence) -> dict[str, Any]:
    told = same_teeth_text([case]) if case.kind == "same teeth" else coincidence_text(machine, case)
    return {
        "kind": case.kind,
        "first": case.first,
        "second": case.second,
        "exact": case.exact,
        "gap_hz": _rounded(case.gap_hz),
        "where": list(case.where),
        "parted_in": list(case.apart) or "never",
        "text": told,
    }


def _turns(here: Turning, rotor: str) -> float | None:
    hz = here.nominal_hz(rotor)
    return None if hz is None else _rounded(rpm(hz))


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.9g}")


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value
