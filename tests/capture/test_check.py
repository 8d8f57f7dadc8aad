from pathlib import Path

import numpy as np
import pytest

from vibecheck.capture.check import Heard, judge
from vibecheck.capture.sound_card import Captured
from vibecheck.capture.steadiness import band_rms, knocks, slice_levels
from vibecheck.recording import Recording, Support

RATE_HZ = 8000


def recording(level=0.05, seconds=20.0, shape=None, **more):
    noise = np.random.default_rng(1).normal(0, level, int(seconds * RATE_HZ))
    return Recording(samples=noise if shape is None else noise * shape(noise.size),
                     rate_hz=RATE_HZ, **more)  # fmt: skip


def captured(**more):
    told = {"path": Path("a"), "ending": "complete", "frames": 160_000, "rate_hz": RATE_HZ,
            "channels": 1, **more}  # fmt: skip
    return Captured(**told)


def test_a_steady_clear_take_is_good():
    found = judge(
        recording(), captured=captured(), wanted_s=20, position="A1", chart_rpm=495.0,
        background_rms=0.005, speed=lambda *_: Heard(rpm=494.0, position="A1"),
    )  # fmt: skip
    assert found.weight == "good"
    assert [remark.text for remark in found.remarks] == ["a good take", "I hear 494 rpm"]


@pytest.mark.parametrize(
    ("told", "words"),
    [({"lost_s": 0.6}, "0.60 s of samples were lost"), ({"flagged": 2}, "samples were lost"),
     ({"ending": "device gone", "frames": 8000}, "the device went away: 1.0 of 20 s"),
     ({"ending": "disk full", "frames": 8000}, "the disk is full")],
)  # fmt: skip
def test_a_take_that_lost_samples_must_be_redone(told, words):
    found = judge(recording(), captured=captured(**told), wanted_s=20)
    assert found.weight == "redo"
    assert any(words in fault for fault in found.faults)


def test_a_take_stopped_late_may_be_kept():
    found = judge(recording(), captured=captured(ending="stopped", frames=120_000), wanted_s=20)
    assert found.weight == "mind"


def test_clipping_must_be_redone():
    found = judge(recording(support=Support(reasons=("clipped: 99 samples",))))
    assert found.faults == ("clipped: turn the gain down",)


def test_a_faint_take_and_one_in_a_noisy_shop_are_said():
    assert "turn the gain up" in judge(recording(level=0.0005)).faults[0]
    noisy = judge(recording(level=0.05), background_rms=band_rms(recording(level=0.04)))
    assert "only 2 dB above the stopped shop" in noisy.faults[0]
    assert judge(recording(level=0.0005), kind="background").weight == "good"


def test_the_chart_is_argued_with():
    found = judge(recording(), position="A1", chart_rpm=495.0,
                  speed=lambda *_: Heard(rpm=481.0, position="A1"))  # fmt: skip
    assert "chart says 495, I hear 481 rpm (-2.8 %)" in found.faults[0]
    assert found.weight == "mind"


def test_levers_set_wrong_are_noticed():
    found = judge(recording(), position="A1 B1", chart_rpm=495.0,
                  speed=lambda *_: Heard(rpm=360.0, position="A2 B1"))  # fmt: skip
    assert found.weight == "redo"
    assert "fits A2 B1, not A1 B1: check the levers" in found.faults[0]


def test_a_speed_that_cannot_be_found_is_no_fault():
    found = judge(recording(), position="A1", chart_rpm=495.0, speed=lambda *_: None)
    assert found.weight == "good"


def test_drift_of_speed_and_level_is_said():
    fading = judge(recording(shape=lambda count: np.linspace(1, 0.4, count)),
                   speed=lambda *_: Heard(rpm=495.0, drift=0.012))  # fmt: skip
    assert any("speed drifts by 1.2 %" in fault for fault in fading.faults)
    assert any("level drifts by" in fault for fault in fading.faults)
    slowing = recording(shape=lambda count: np.linspace(1, 0.01, count))
    assert judge(slowing, kind="coast-down").weight == "good"


def with_knocks(every_s, times=40.0, seconds=20.0):
    def shape(count):
        gain = np.ones(count)
        for at in np.arange(3.3, seconds, every_s):
            gain[int(at * RATE_HZ) : int((at + 0.04) * RATE_HZ)] = times
        return gain

    return recording(level=0.01, shape=shape)


def test_one_knock_of_the_shop_is_said_with_its_time():
    [fault] = judge(with_knocks(99.0)).faults
    assert "a knock at 3.3 s" in fault


def test_a_knock_of_the_machine_itself_is_not_blamed_on_the_shop():
    assert judge(with_knocks(0.5)).weight == "good"
    assert judge(with_knocks(3.0)).weight == "good"
    assert len(knocks(slice_levels(with_knocks(3.0)))) > 3
