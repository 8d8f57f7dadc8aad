"""Invented diagnoses of an invented head, made by hand, for everything that words or draws them."""

from __future__ import annotations

import numpy as np
import pytest

from vibecheck.diagnosis.findings import (
    Cell,
    Diagnosis,
    EvidenceRow,
    EvidenceTable,
    Finding,
    TakeReport,
    fact,
)
from vibecheck.machine.parts import (
    Bearing,
    Belt,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Motor,
    Position,
)

TEETH = {"A1": (38, 38), "A2": (32, 44), "A3": (25, 51), "B1": (43, 41), "B2": (22, 62)}
TEETH |= {"CH": (61, 31), "CL": (18, 74)}
SHAFTS = ("I", "II", "III", "spindle")
RPM = {
    "A3 B2 CL": 30.0,
    "A2 B2 CL": 44.5,
    "A1 B2 CL": 61.2,
    "A3 B1 CL": 88.7,
    "A2 B1 CL": 131.6,
    "A1 B1 CL": 180.9,
    "A3 B2 CH": 242.7,
    "A2 B2 CH": 360.1,
    "A1 B2 CH": 495.2,
    "A3 B1 CH": 717.4,
    "A2 B1 CH": 1064.4,
    "A1 B1 CH": 1463.6,
}
IN_B2 = tuple(label for label in RPM if "B2" in label)
III_HZ = {"A3": 2.06, "A2": 3.05, "A1": 4.20}


def head() -> Machine:
    """The 12-speed head, with a front bearing whose numbers are not known."""
    gears, meshes = [], []
    for setting, (driver, driven) in TEETH.items():
        shaft = SHAFTS.index(("I", "II", "III")["ABC".index(setting[0])])
        pair = (f"{setting} driver", f"{setting} driven")
        for name, teeth, on in zip(
            pair, (driver, driven), (SHAFTS[shaft], SHAFTS[shaft + 1]), strict=True
        ):
            gears.append(Gear(name=name, shaft=on, teeth=Known.exactly(teeth)))
        meshes.append(
            Mesh(
                driver=pair[0],
                driven=pair[1],
                style="sliding",
                when={setting[0]: (setting[1],)},
            )
        )
    return Machine(
        name="12-speed engine lathe (invented)",
        motor=Motor(poles=Known.exactly(4, "plate"), plate_rpm=Known.exactly(1440, "plate")),
        shafts=("motor", *SHAFTS),
        gears=tuple(gears),
        meshes=tuple(meshes),
        belts=(
            Belt(
                name="V-belts",
                driver="motor",
                driven="I",
                driver_mm=Known.exactly(125, "measured"),
                driven_mm=Known.exactly(250, "measured"),
                length_mm=Known.exactly(1440, "plate"),
            ),
        ),
        bearings=(Bearing(name="front bearing", shaft="spindle"),),
        groups=(
            LeverGroup(name="A", settings=("1", "2", "3")),
            LeverGroup(name="B", settings=("1", "2")),
            LeverGroup(name="C", settings=("H", "L")),
        ),
        positions=tuple(
            Position(
                levers={lever[0]: lever[1:] for lever in label.split()},
                chart_rpm=Known.exactly(rpm, "plate"),
            )
            for label, rpm in RPM.items()
        ),
    )


def takes(**remarks: tuple) -> tuple[TakeReport, ...]:
    return tuple(
        TakeReport(
            name=label.replace(" ", "_"),
            position=label,
            kind="idle",
            seconds=40.0,
            speeds_hz={"I": 11.82 * 0.998},
            speed_error={"I": 1e-4},
            spindle_rpm=rpm * 0.998,
            chart_rpm=rpm,
            remarks=remarks.get(label.replace(" ", "_"), ()),
        )
        for label, rpm in RPM.items()
    )


def evidence_table(faulty: bool) -> EvidenceTable:
    random = np.random.default_rng(7)
    rows = []
    for setting in TEETH:
        for end in ("driver", "driven"):
            cells = []
            for label in RPM:
                working = setting in label.split()
                mean = 17.0 if faulty and (setting, end) == ("B2", "driven") else 0.0
                value = float(random.normal(mean, 1.2)) if working else float(random.normal(0, 0.7))
                cells.append(
                    Cell(
                        strength_db=value,
                        error_db=1.5,
                        log10_odds=value / 5,
                        state="working" if working else "out of mesh",
                    )
                )
            rows.append(
                EvidenceRow(
                    part=f"{setting} {end}",
                    fault="broken or damaged tooth",
                    part_kind="gear",
                    cells=tuple(cells),
                )
            )
    return EvidenceTable(takes=tuple(RPM), positions=tuple(RPM), rows=tuple(rows))


def broken_tooth() -> Diagnosis:
    per_turn = {label: 4.11 if "CL" in label else 0.508 for label in IN_B2}
    finding = Finding(
        part="B2 driven",
        parts=("B2 driven",),
        part_kind="gear",
        fault="broken or damaged tooth",
        verdict="shown",
        probability=0.9968,
        evidence=(
            fact(
                "knock_once_per_turn",
                part="B2 driven",
                rotor="III",
                heard=6,
                expected=6,
                per_spindle_turn=per_turn,
            ),
            fact("silent_when_out_of_mesh", part="B2 driven", count=6),
            fact("stands_out", part="B2 driven", db=17.2, position="A2 B2 CL"),
        ),
        ruled_out=(
            fact("turns_elsewhere", part="B2 driver", rotor="II", would_hz=5.79, heard_hz=2.06),
            fact("not_in_mesh", part="B1 driven", positions=IN_B2),
            fact("silent_where_it_works", part="CL driver", positions=("A3 B1 CL", "A2 B1 CL")),
        ),
        next_test=fact("inspect", part="B2 driven", what="a broken or chipped tooth"),
        heard=IN_B2,
        expected=IN_B2,
        rates_hz={label: III_HZ[label[:2]] for label in IN_B2},
        per_spindle_turn=per_turn,
    )
    quiet = Finding(
        part="V-belts",
        part_kind="belt",
        fault="lumpy or set belt",
        verdict="not shown",
        probability=0.03,
    )
    return Diagnosis(
        machine=head().name,
        takes=takes(A1_B2_CH=(fact("clipped", take="A1_B2_CH", percent=0.4),)),
        findings=(finding, quiet),
        next_test=fact("inspect", part="B2 driven", what="a broken or chipped tooth"),
        table=evidence_table(True),
    )


def healthy() -> Diagnosis:
    return Diagnosis(
        machine=head().name,
        takes=takes(),
        findings=(
            Finding(
                part="B2 driven",
                part_kind="gear",
                fault="broken or damaged tooth",
                verdict="not shown",
                probability=0.04,
                evidence=(fact("stands_out", part="B2 driven", db=2.0),),
            ),
        ),
        next_test=fact("repeat_sweep"),
        table=evidence_table(False),
    )


def not_separable() -> Diagnosis:
    pair = ("A1 driver", "A1 driven")
    here = ("A1 B2 CL", "A1 B1 CL")
    return Diagnosis(
        machine=head().name,
        takes=takes()[2:7],
        findings=(
            Finding(
                part=pair[0],
                parts=pair,
                part_kind="gear",
                fault="eccentric or worn gear",
                verdict="likely",
                probability=0.91,
                evidence=(
                    fact(
                        "sidebands_at",
                        rotor="I",
                        mesh="A1 driver/A1 driven",
                        db=9.4,
                        positions=here,
                    ),
                    fact("same_by_design", parts=pair),
                ),
                next_test=fact("inspect_both", parts=pair),
                heard=here,
                expected=here,
            ),
            Finding(
                part="front bearing",
                part_kind="bearing",
                fault="bearing worn, race not known",
                verdict="cannot tell",
                probability=0.2,
                evidence=(
                    fact("one_take_only"),
                    fact("order_range", rotor="spindle", order=10.95, error=0.01),
                ),
                next_test=fact(
                    "record_positions", positions=("A1 B1 CH", "A2 B1 CH"), seconds=40.0
                ),
            ),
        ),
        warnings=(
            fact("positions_missing", positions=("A3 B2 CL", "A2 B2 CL")),
            fact("scale_differs", percent=-0.2),
        ),
        next_test=fact("inspect_both", parts=pair),
    )


def nothing_known() -> Diagnosis:
    return Diagnosis(
        machine="one shaft",
        takes=(
            TakeReport(
                name="phone memo",
                position=None,
                kind="idle",
                seconds=3.0,
                remarks=(fact("take_too_short", take="phone memo", seconds=3.0, needed_s=20.0),),
            ),
        ),
        findings=(),
        warnings=(fact("no_table"),),
        next_test=fact("gear_table"),
    )


MADE = {
    "broken_tooth": broken_tooth,
    "healthy": healthy,
    "not_separable": not_separable,
    "nothing_known": nothing_known,
}


@pytest.fixture(params=sorted(MADE))
def any_diagnosis(request: pytest.FixtureRequest) -> Diagnosis:
    """Each of the invented diagnoses in turn."""
    return MADE[request.param]()


@pytest.fixture
def machine() -> Machine:
    """The invented head."""
    return head()


@pytest.fixture
def made():
    """All of them, by name."""
    return {name: make() for name, make in MADE.items()}
