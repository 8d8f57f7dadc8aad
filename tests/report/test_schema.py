from __future__ import annotations

import json
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.findings import fact
from vibecheck.report.schema import SCHEMA, to_json
from vibecheck.report.text import to_text

PROMISED = {
    "part",
    "parts",
    "part_kind",
    "fault",
    "verdict",
    "probability",
    "evidence",
    "ruled_out",
    "next_test",
    "heard",
    "expected",
    "rates_hz",
}


def test_a_finding_carries_everything_that_was_promised(any_diagnosis, machine) -> None:
    made = to_json(any_diagnosis, machine)
    assert made["schema"] == SCHEMA == "vibecheck.diagnosis/1"
    for finding in made["findings"]:
        assert finding.keys() >= PROMISED
        assert finding["part"] == finding["parts"][0]
        assert all(isinstance(text, str) for text in finding["evidence"])


def test_json_survives_the_way_to_a_file_and_back(any_diagnosis, machine) -> None:
    made = to_json(any_diagnosis, machine)
    assert json.loads(json.dumps(made, allow_nan=False)) == made


def test_json_and_text_say_the_same_sentences(made, machine) -> None:
    said = " ".join(to_text(made["broken_tooth"], machine).split())
    finding = to_json(made["broken_tooth"], machine)["findings"][0]
    for text in (*finding["evidence"], *finding["ruled_out"]):
        assert " ".join(text.split()) in said


def test_the_evidence_table_keeps_its_shape(made, machine) -> None:
    table = to_json(made["broken_tooth"], machine)["evidence_table"]
    assert len(table["rows"]) == 14
    assert all(len(row["strength_db"]) == len(table["takes"]) == 12 for row in table["rows"])


def test_numbers_of_numpy_and_numbers_that_are_none_become_plain(made) -> None:
    odd = fact("tone_found", hz=np.float32(120.0), db=np.float64("nan"))
    diagnosis = replace(made["healthy"], warnings=(odd,))
    values = to_json(diagnosis)["warnings"][0]["values"]
    assert values == {"hz": 120.0, "db": None}
