"""What was planted is where the truth says it is."""

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.machine.turning import turning
from vibecheck.synth.conditions import Conditions, random_conditions
from vibecheck.synth.faults import PLANTABLE, PlantedFault, candidates, random_fault
from vibecheck.synth.individual import Individual
from vibecheck.synth.oracle import Oracle, moderate_faults, works_in
from vibecheck.synth.random_machine import random_machine
from vibecheck.synth.rolling import strike_order
from vibecheck.synth.sound import Rendered, record, rendered
from vibecheck.synth.sweep import record_sweep

QUIET = Conditions(
    channel="accelerometer",
    high_pass_hz=1.0,
    mount_hz=6000.0,
    room_noise=0.01,
    oil_noise=0.05,
    sensor_noise=0.002,
    knocks_per_s=0.0,
    hum_level=0.0,
    bits=24,
)
TWELVE = random_machine(np.random.default_rng(11), speeds=12)
ONE = Individual(seed=77)


def heard(
    fault: PlantedFault | None, seed: int = 1, seconds: float = 8.0, **other: object
) -> Rendered:
    conditions = replace(QUIET, **other)  # type: ignore[arg-type]
    spot = next(
        p for p in reversed(TWELVE.positions) if fault is None or works_in(TWELVE, p, fault)
    )
    return rendered(
        TWELVE,
        spot,
        faults=(fault,) if fault else (),
        conditions=conditions,
        rng=np.random.default_rng(seed),
        seconds=seconds,
        individual=ONE,
    )


def envelope_lines(made: Rendered, low_hz: float, high_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Squared-envelope spectrum, by nothing but a transform: hertz and amplitude over the mean."""
    samples = made.recording.channel()
    spectrum = np.fft.fft(samples)
    hz = np.fft.fftfreq(samples.size, 1 / made.recording.rate_hz)
    power = np.abs(np.fft.ifft(np.where((hz >= low_hz) & (hz < high_hz), 2 * spectrum, 0))) ** 2
    lines = np.abs(np.fft.rfft((power / power.mean() - 1) * np.hanning(power.size)))
    return np.arange(lines.size) * (made.recording.rate_hz / power.size), lines * 4 / power.size


def strongest_near(made: Rendered, hz: float) -> tuple[float, float]:
    """Hertz of the strongest envelope line within 3 %, in whichever octave shows it best; its
    height over the median there."""
    best = (0.0, 0.0)
    for low in (500.0, 1000.0, 2000.0, 4000.0):
        at, lines = envelope_lines(made, low, 2 * low)
        near = (at > 0.97 * hz) & (at < 1.03 * hz)
        top = int(np.flatnonzero(near)[np.argmax(lines[near])])
        height = float(lines[top] / np.median(lines[near]))
        best = max(best, (height, float(at[top])))
    return best[1], best[0]


def test_a_broken_tooth_knocks_once_a_turn_of_its_own_shaft() -> None:
    gear = next(g for g in TWELVE.gears if g.shaft == "II")
    made = heard(PlantedFault(part=gear.name, fault="broken or damaged tooth", severity=1.2))
    assert made.motion is not None
    turn_hz = made.motion.speed_hz(gear.shaft)
    at, height = strongest_near(made, 10 * turn_hz)
    assert at == pytest.approx(10 * turn_hz, abs=0.2)
    assert height > 9


@pytest.mark.parametrize("fault", ["outer race", "inner race", "rolling element"])
def test_a_damaged_bearing_strikes_at_its_order_less_slip(fault: str) -> None:
    bearing = next(b for b in TWELVE.bearings if b.shaft == "I" and b.elements.value)
    planted = PlantedFault(part=bearing.name, fault=fault, severity=1.2, slip=0.02, jitter=0.001)
    made = heard(planted)
    assert made.motion is not None
    orders = ONE.bearing_orders(bearing)
    assert orders is not None
    true_hz = strike_order(orders, planted) * made.motion.speed_hz("I")
    assert strongest_near(made, true_hz)[0] == pytest.approx(true_hz, rel=0.004)
    without_slip = strike_order(orders, replace(planted, slip=0.0))
    count = round(orders.outer + orders.inner)
    outer = strike_order(orders, replace(planted, fault="outer race"))
    inner = strike_order(orders, replace(planted, fault="inner race"))
    assert without_slip != pytest.approx(true_hz / made.motion.speed_hz("I"), rel=0.005)
    assert outer + inner == pytest.approx(count)


def test_a_sound_machine_has_no_line_where_a_fault_would_be_planted() -> None:
    bearing = next(b for b in TWELVE.bearings if b.shaft == "I" and b.elements.value)
    planted = PlantedFault(part=bearing.name, fault="outer race", severity=1.2, slip=0.02)
    orders = ONE.bearing_orders(bearing)
    assert orders is not None
    made = heard(None)
    assert made.motion is not None
    hz = strike_order(orders, planted) * made.motion.speed_hz("I")
    at, height = strongest_near(made, hz)
    assert abs(at - hz) > 0.2 or height < 12


def test_imbalance_grows_as_the_square_of_the_speed() -> None:
    from vibecheck.synth.faults import Faults
    from vibecheck.synth.rotors import turn_force

    planted = Faults(planted=(PlantedFault(part="spindle", fault="imbalance", severity=1.0),))
    levels, speeds = [], []
    for position in (TWELVE.positions[0], TWELVE.positions[-1]):
        made = rendered(
            TWELVE, position, conditions=QUIET, rng=np.random.default_rng(2), individual=ONE
        )
        assert made.motion is not None
        with_it = turn_force("spindle", made.motion, ONE, planted)
        without = turn_force("spindle", made.motion, ONE, Faults())
        levels.append(float(np.std(with_it - without)))
        speeds.append(made.motion.speed_hz("spindle"))
    assert speeds[0] != pytest.approx(speeds[1], rel=0.3)
    assert levels[1] / levels[0] == pytest.approx((speeds[1] / speeds[0]) ** 2, rel=0.02)


def test_mains_hum_stands_at_twice_the_mains_and_dies_with_the_power() -> None:
    hum = PlantedFault(part="mains", fault="mains hum", severity=1.2)
    made = rendered(
        TWELVE,
        TWELVE.positions[0],
        faults=(hum,),
        conditions=replace(QUIET, supply_offset_hz=0.03),
        rng=np.random.default_rng(3),
        seconds=12.0,
        individual=ONE,
        kind="coast-down",
    )
    samples, rate = made.recording.channel(), made.recording.rate_hz
    assert made.motion is not None
    off = int(np.argmax(made.motion.motor_on < 0.5))
    twice = 2 * (TWELVE.supply.mains_hz + 0.03)
    time = np.arange(samples.size) / rate
    tone = samples * np.exp(-2j * np.pi * twice * time)
    before = abs(tone[: off - 800].mean())
    after = abs(tone[-off:].mean())
    assert before > 8 * after


def test_speeds_of_a_rigid_group_keep_their_ratio_exactly() -> None:
    _, truth = record_sweep(
        TWELVE, rng=np.random.default_rng(4), positions=TWELVE.positions[:2], seconds=2.0
    )
    for take, position in zip(truth.takes, TWELVE.positions, strict=False):
        turn = turning(TWELVE, position)
        for name, rotor in turn.rotors.items():
            true = take.rotor_hz[name] / take.group_hz[rotor.group]
            assert true == pytest.approx(rotor.ratio, rel=1e-9)


def test_the_true_speed_stays_inside_what_the_table_allows() -> None:
    for seed in range(12):
        rng = np.random.default_rng(seed)
        machine = random_machine(rng)
        _, truth = record_sweep(machine, rng=rng, positions=machine.positions[-1:], seconds=1.0)
        turn = turning(machine, machine.positions[-1])
        for name, group in turn.groups.items():
            assert group.low_hz is not None
            assert group.high_hz is not None
            assert group.low_hz <= truth.takes[0].group_hz[name] <= group.high_hz


def test_the_same_seed_records_the_same_samples() -> None:
    def once() -> np.ndarray:
        rng = np.random.default_rng(9)
        machine = random_machine(rng)
        return record(
            machine,
            machine.positions[0],
            faults=(random_fault(machine, rng),),
            conditions=random_conditions(rng, 1.0),
            rng=rng,
            seconds=2.0,
        ).channel()

    assert np.array_equal(once(), once())


@pytest.mark.parametrize("fault", PLANTABLE)
def test_a_plain_fault_stands_clear_of_the_same_machine_when_healthy(fault: str) -> None:
    rng = np.random.default_rng(21)
    machine = TWELVE
    while not candidates(machine, fault):
        machine = random_machine(rng)
    part = candidates(machine, fault)[0]
    if fault in ("outer race", "inner race", "rolling element", "cage"):
        part = next(b.name for b in machine.bearings if b.shaft == "I")
    planted = PlantedFault(part=part, fault=fault, severity=1.3, hz=431.0)
    oracle = Oracle(
        machine=machine, individual=ONE, conditions=QUIET, seed=5, most=1, healthy=2, seconds=6.0
    )
    found = oracle.clearance(planted)
    assert found
    assert found[0].clear


def test_no_fault_at_all_does_not_stand_clear() -> None:
    nothing = PlantedFault(part="I", fault="imbalance", severity=-9.0)
    oracle = Oracle(
        machine=TWELVE, individual=ONE, conditions=QUIET, seed=6, most=4, healthy=3, seconds=3.0
    )
    found = oracle.clearance(nothing)
    assert not any(one.clear for one in found)


def test_a_bearing_whose_inside_nobody_knows_still_has_one_and_always_the_same() -> None:
    from vibecheck.machine.parts import Bearing, Known

    sized = Bearing(
        name="front",
        shaft="spindle",
        kind="tapered roller",
        bore_mm=Known.exactly(75),
        outside_mm=Known.exactly(130),
    )
    first, again = ONE.bearing_orders(sized), Individual(seed=77).bearing_orders(sized)
    other = Individual(seed=78).bearing_orders(sized)
    assert first is not None
    assert other is not None
    assert first == again
    assert first != other
    assert first.outer + first.inner == pytest.approx(first.elements)
    assert 14 <= (first.elements or 0) <= 30


def test_the_oracle_calls_moderate_the_least_severity_that_stands_clear() -> None:
    oracle = Oracle(
        machine=TWELVE, individual=ONE, conditions=QUIET, seed=7, most=3, healthy=4, seconds=3.0
    )
    fault = PlantedFault(part="spindle", fault="imbalance")
    found = oracle.moderate(fault, severities=(-2.0, 0.4, 1.2))
    assert found is not None
    assert found.severity > -2
    _, truth = record_sweep(
        TWELVE,
        (found, replace(fault, part="II", severity=-3.0)),
        rng=np.random.default_rng(1),
        conditions=QUIET,
        individual=ONE,
        positions=TWELVE.positions[:1],
        seconds=1.0,
    )
    heard_too = moderate_faults(truth, seed=7, most=2, healthy=2, seconds=3.0)
    assert heard_too == (found,)
