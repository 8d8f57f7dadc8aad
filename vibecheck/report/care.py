"""Which safety text goes with which next test."""

from __future__ import annotations

from collections.abc import Mapping

from vibecheck.diagnosis.findings import Diagnosis, Fact
from vibecheck.report.cautions import Moment, cautions
from vibecheck.report.phrases import TESTS

RECORDING: tuple[Moment, ...] = ("before any recording", "fixing a sensor")
HANDS_IN: tuple[Moment, ...] = ("opening the head",)
NOTHING_TO_MIND = ("gear_table", "state_speed", "check_table", "repeat_sweep")
"""Next steps that send nobody to the machine."""
OF_TEST: Mapping[str, tuple[Moment, ...]] = {
    "bearing_numbers": HANDS_IN,
    "inspect": HANDS_IN,
    "inspect_both": HANDS_IN,
    "pulley_key": HANDS_IN,
    "belt_look": HANDS_IN,
    "dial_runout": HANDS_IN,
    "motor_feet": HANDS_IN,
    "belt_off": ("belt off", *RECORDING),
    "coast_down": ("coast-down", *RECORDING),
    "idle_and_cutting": ("cutting", *RECORDING),
    "change_overhang": ("cutting", *RECORDING),
}
"""Next test -> what must be minded; every other test that records gets ``RECORDING``."""


def care_for(test: Fact | None) -> tuple[str, ...]:
    """The cautions to print beside a next test."""
    if test is None or test.kind in NOTHING_TO_MIND or test.kind not in TESTS:
        return ()
    return cautions(*OF_TEST.get(test.kind, RECORDING))


def care_for_all(diagnosis: Diagnosis) -> tuple[str, ...]:
    """The cautions for every test a diagnosis proposes, each once."""
    tests = [diagnosis.next_test]
    tests += [f.next_test for f in diagnosis.findings if f.verdict != "not shown"]
    return tuple(dict.fromkeys(text for test in tests for text in care_for(test)))
