"""Takes under cut beside takes in air: two speeds of one motor, and a howl that needs the cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.diagnosis.invented_sweeps import RATE_HZ, Sound, eight_speed_lathe, heard
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.diagnosis.ready import made_ready
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.machine.turning import turning
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take

SECONDS = 10.0
HOWL_HZ = 641.0
SLOWED = (0.990, 1.006, 0.978, 1.012, 0.984, 1.000, 0.994, 1.015)
"""How fast the motor runs under the cut at each position, and in air."""
IN_AIR = 1.028


def taken(
    machine_label: str,
    kind: str,
    speed: float,
    seed: int,
    *,
    howl: float = 0.0,
    clipped: bool = False,
) -> tuple[Take, float]:
    """One take and the true speed of its first shaft over the table's."""
    machine = eight_speed_lathe()
    rng = np.random.default_rng(seed)
    sound = Sound(speed=speed, clipped=clipped)
    made = heard(machine, machine_label, sound, rng, seconds=SECONDS)
    recording = made.take.recording
    time = np.arange(recording.samples.size) / RATE_HZ
    sway = np.cumsum(rng.normal(0, 1.0, time.size)) / RATE_HZ
    tone = howl * np.sin(2 * np.pi * (HOWL_HZ * (1 + rng.normal(0, 5e-4)) * time + sway))
    samples = (recording.samples + tone).astype(np.float32)
    take = replace(made.take, recording=replace(recording, samples=samples), kind=kind)
    return take, made.speeds_hz["I"]


def sweep(*, cut_howl: float = 0.0, air_howl: float = 0.0) -> list[tuple[Take, float]]:
    """Every position under cut, three of them in air as well."""
    labels = [position.label for position in eight_speed_lathe().positions]
    cut = [
        taken(label, "cutting", speed, 10 + n, howl=cut_howl)
        for n, (label, speed) in enumerate(zip(labels, SLOWED, strict=True))
    ]
    air = [
        taken(label, "idle", IN_AIR, 30 + n, howl=air_howl) for n, label in enumerate(labels[::3])
    ]
    return [*cut, *air]


def told(takes: list[tuple[Take, float]]) -> Diagnosis:
    return diagnose(eight_speed_lathe(), [take for take, _ in takes])


def test_speeds_are_found_of_both_though_the_cut_slows_the_motor_everywhere_otherwise() -> None:
    machine = eight_speed_lathe()
    turnings = {each.label: turning(machine, each) for each in machine.positions}
    takes = sweep()
    speeds = fit_speeds(turnings, [made_ready(take) for take, _ in takes])
    for speed, (take, true_hz) in zip(speeds.takes, takes, strict=True):
        assert speed.found, take.name
        assert not speed.misfiled
        assert speed.tracks["I"].mean_hz == pytest.approx(true_hz, rel=2e-4)


def test_a_howl_that_every_take_in_air_lacks_is_chatter() -> None:
    found = {finding.part: finding for finding in told(sweep(cut_howl=0.05)).findings}
    assert found["tool"].fault == "chatter"
    assert found["tool"].verdict in ("likely", "shown")
    assert np.median(list(found["tool"].rates_hz.values())) == pytest.approx(HOWL_HZ, rel=0.01)


def test_the_same_howl_in_air_as_well_is_none() -> None:
    findings = told(sweep(cut_howl=0.05, air_howl=0.05)).findings
    assert not [f for f in findings if f.part == "tool" and f.verdict in ("likely", "shown")]


def test_without_a_howl_nothing_of_the_tool_is_said() -> None:
    assert not [f for f in told(sweep()).findings if f.part == "tool"]


def test_the_cut_pushes_once_a_turn_of_the_spindle_and_accuses_nobody() -> None:
    """The same loud push: an imbalance in air, the cut's own under cut."""
    machine = eight_speed_lathe()
    sound = Sound(line_db={"spindle 1x": 26.0})
    verdicts = {}
    for kind in ("idle", "cutting"):
        rng = np.random.default_rng(5)
        takes = [
            replace(heard(machine, p.label, sound, rng, seconds=SECONDS).take, kind=kind)
            for p in machine.positions
        ]
        found = diagnose(machine, takes).findings
        verdicts[kind] = {f.fault: f.probability for f in found if f.part == "spindle"}
    assert verdicts["idle"].get("imbalance", 0.0) > 0.3
    assert verdicts["cutting"].get("imbalance", 0.0) < 0.3


def test_slow_tones_of_clipped_takes_accuse_nobody() -> None:
    machine = eight_speed_lathe()
    rng = np.random.default_rng(6)
    sound = Sound(line_db={"spindle 1x": 26.0}, clipped=True)
    takes = [heard(machine, p.label, sound, rng, seconds=SECONDS).take for p in machine.positions]
    assert not [f for f in diagnose(machine, takes).findings if f.fault == "imbalance"]


def test_a_sound_but_clipped_sweep_is_to_be_recorded_again_and_accuses_nobody() -> None:
    """Crests cut off at two standard deviations: beats of sound teeth then knock once a turn."""
    machine = eight_speed_lathe()
    for clipped in (True, False):
        rng = np.random.default_rng(7)
        sound = Sound(clipped=clipped)
        takes = [
            heard(machine, p.label, sound, rng, seconds=SECONDS).take for p in machine.positions
        ]
        told = diagnose(machine, takes)
        assert told.next_test is not None
        assert (told.next_test.kind == "record_again") is clipped
        assert not [f for f in told.findings if f.verdict in ("likely", "shown")]
