"""Sensors, special takes and invented machines are what they claim to be."""

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.machine.turning import sweep
from vibecheck.recording import TakeKind
from vibecheck.synth.conditions import Conditions, random_conditions
from vibecheck.synth.individual import Individual
from vibecheck.synth.random_machine import random_machine
from vibecheck.synth.sensor import automatic_gain, lossy
from vibecheck.synth.sound import record, rendered
from vibecheck.synth.sweep import record_sweep

SPECIAL: tuple[TakeKind, ...] = (
    "background",
    "motor alone",
    "neutral",
    "chuck off",
    "reverse",
    "coast-down",
    "cutting",
    "tap",
)


def test_every_invented_machine_turns_at_every_position_with_whole_teeth() -> None:
    sizes = set()
    for seed in range(60):
        machine = random_machine(np.random.default_rng(seed))
        sizes.add(len(machine.positions))
        for turn in sweep(machine):
            assert machine.spindle in turn.rotors
            assert len(turn.rotors) == len(set(turn.rotors))
        names = [g.name for g in machine.gears] + [b.name for b in machine.bearings]
        assert len(names) == len(set(names))
        labels = [p.label for p in machine.positions]
        assert len(labels) == len(set(labels))
        assert all(17 <= (g.teeth.value or 17) <= 115 for g in machine.gears)
    assert min(sizes) >= 8
    assert max(sizes) == 24


def test_a_head_of_an_impossible_number_of_speeds_is_refused() -> None:
    with pytest.raises(ValueError, match="no structure of 7 speeds"):
        random_machine(np.random.default_rng(0), speeds=7)


def test_special_takes_are_made_of_what_still_turns() -> None:
    machine = random_machine(np.random.default_rng(3), speeds=8)
    takes, truth = record_sweep(
        machine,
        rng=np.random.default_rng(1),
        positions=machine.positions[:1],
        seconds=3.0,
        special=SPECIAL,
        conditions=Conditions(channel="accelerometer"),
    )
    turned = {one.kind: set(one.rotor_hz) for one in truth.takes}
    assert turned["background"] == turned["tap"] == set()
    assert turned["motor alone"] == {"motor"}
    assert "spindle" not in turned["neutral"] or machine.meshes[-1].style == "dog clutch"
    assert "III" in turned["neutral"]
    level = {take.kind: float(take.recording.channel().std()) for take in takes}
    assert level["background"] < 0.5 * level["idle"]
    assert level["motor alone"] < level["idle"]


def test_a_slow_accelerometer_without_a_filter_folds_tones_down() -> None:
    machine = random_machine(np.random.default_rng(3), speeds=8)
    common = Conditions(channel="slow accelerometer", slow_rate_hz=200.0, high_pass_hz=1.0)
    rough = {}
    for aliased in (True, False):
        made = record(
            machine,
            machine.positions[-1],
            conditions=replace(common, aliased=aliased),
            rng=np.random.default_rng(5),
            seconds=5.0,
            individual=Individual(seed=5),
        )
        assert made.rate_hz == 200.0
        assert made.frames == 1000
        assert made.support.aliased is aliased
        rough[aliased] = float(made.channel().std())
    assert rough[True] > 1.5 * rough[False]


def test_automatic_gain_evens_out_a_loud_stretch() -> None:
    rng = np.random.default_rng(0)
    sound = rng.standard_normal(48000).astype(np.float32) * 0.02
    sound[24000:] *= 10
    out = automatic_gain(sound, 16000.0)
    before = sound[-8000:].std() / sound[8000:20000].std()
    after = out[-8000:].std() / out[8000:20000].std()
    assert before == pytest.approx(10, rel=0.1)
    assert after < 2.5


def test_a_lossy_file_keeps_a_strong_tone_and_loses_the_highs() -> None:
    time = np.arange(48000) / 48000
    rng = np.random.default_rng(0)
    sound = np.sin(2 * np.pi * 700 * time) * 0.3 + 0.003 * rng.standard_normal(48000)
    out = lossy(sound.astype(np.float32), 48000.0)
    before, after = np.abs(np.fft.rfft(sound)), np.abs(np.fft.rfft(out))
    assert after[700] == pytest.approx(before[700], rel=0.1)
    assert after[13000:23000].mean() < 0.1 * before[13000:23000].mean()


def test_recordings_stay_within_full_scale_and_on_the_steps_of_their_depth() -> None:
    machine = random_machine(np.random.default_rng(8))
    for seed in range(6):
        rng = np.random.default_rng(seed)
        conditions = replace(random_conditions(rng, 1.0, channel="phone"), bits=12)
        made = record(machine, machine.positions[0], conditions=conditions, rng=rng, seconds=1.0)
        steps = made.channel() * 2**11
        assert np.abs(made.channel()).max() <= 1.0
        assert np.allclose(steps, np.rint(steps))
        assert made.quantity == "pressure"
        assert made.channel().std() > 0


def test_a_belt_on_another_step_is_the_same_belt() -> None:
    from vibecheck.synth.faults import same_belt
    from vibecheck.synth.random_belted import random_mill

    mill = random_mill(np.random.default_rng(0))
    steps = [belt.name for belt in mill.belts if not belt.toothed]
    assert same_belt(mill, steps[0]) == (steps[0],)
    assert same_belt(mill, "toothed belt") == ("toothed belt",)
    named = tuple(
        replace(belt, name=belt.name if belt.toothed else f"{belt.name} {n}")
        for n, belt in enumerate(mill.belts)
    )
    apart = replace(mill, belts=named)
    every = tuple(belt.name for belt in named if not belt.toothed)
    assert same_belt(apart, every[0]) == every


def test_mistaken_tables_still_turn_and_differ_only_where_the_mistake_is() -> None:
    from vibecheck.synth.mistakes import with_other_mains, with_teeth_forgotten, with_wrong_tooth

    machine = random_machine(np.random.default_rng(2), speeds=12)
    wrong, pair = with_wrong_tooth(machine, np.random.default_rng(1))
    mesh = next(m for m in machine.meshes if m.name == pair)
    for position, true, false in zip(machine.positions, sweep(machine), sweep(wrong), strict=True):
        assert true.rotors["I"].ratio == false.rotors["I"].ratio
        same = true.rotors["spindle"].ratio == pytest.approx(false.rotors["spindle"].ratio)
        assert same is not position.fits(mesh.when)
    assert with_other_mains(machine).supply.mains_hz == 110 - machine.supply.mains_hz
    forgotten = with_teeth_forgotten(machine, "B")
    assert sum(gear.teeth.value is None for gear in forgotten.gears) >= 4


def test_a_planetary_stage_whines_at_its_mesh_rate() -> None:
    from vibecheck.machine.parts import Known, Machine, Motor, Planetary, Position, Supply

    stage = Planetary(
        name="reducer",
        input="motor",
        output="spindle",
        sun_teeth=Known.exactly(21),
        ring_teeth=Known.exactly(108),
    )
    machine = Machine(
        name="reducer",
        supply=Supply(hz=Known.exactly(60)),
        motor=Motor(plate_rpm=Known.exactly(1750), poles=Known.exactly(4)),
        shafts=("motor", "spindle"),
        planetaries=(stage,),
        positions=(Position(levers={}),),
    )
    made = rendered(
        machine,
        machine.positions[0],
        conditions=Conditions(channel="accelerometer", oil_noise=0.05, hum_level=0.0),
        rng=np.random.default_rng(1),
        individual=Individual(seed=1),
    )
    assert made.motion is not None
    # Mesh over input speed of a 21/108 stage, ring held: 527.44 Hz at 30 Hz (by definition).
    expected_hz = 527.44 / 30 * made.motion.speed_hz("motor")
    power = np.abs(np.fft.rfft(made.recording.channel() * np.hanning(made.recording.frames)))
    hz = np.arange(power.size) / made.recording.seconds
    near = np.abs(hz - expected_hz) < 8
    assert hz[near][np.argmax(power[near])] == pytest.approx(expected_hz, rel=1e-3)
    assert power[near].max() > 30 * np.median(power[near])
