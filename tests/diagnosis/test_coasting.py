"""A tone after the power is cut: gone at once, gliding, or still there."""

from __future__ import annotations

import numpy as np
import pytest
from story_sounds import RATE_HZ, Voice, sound

from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.verdicts.coasting import ending
from vibecheck.files.gear_table import read_machine
from vibecheck.recording import Recording, Take

CUT_S, SECONDS = 4.0, 10.0
VOICE = Voice(seed=2, uneven=0.0)
MESH_HZ = 424.8 * VOICE.scale


def coasting(alive: np.ndarray) -> Ready:
    """An eight-speed lathe with its power cut, 120 Hz of hum, and a room that sings at 333 Hz."""
    machine = read_machine("lathe-8-speed")
    samples, _ = sound(machine, "A1 B2 CH", VOICE, seconds=SECONDS, alive=alive)
    time = np.arange(samples.size) / RATE_HZ
    samples += 0.05 * np.where(time < CUT_S, np.sin(2 * np.pi * 120.0 * time), 0.0)
    samples += 0.03 * np.sin(2 * np.pi * 333.0 * time)
    made = Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, name="coast")
    return made_ready(Take(recording=made, kind="coast-down"))


def since_the_cut() -> np.ndarray:
    return np.maximum(np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ - CUT_S, 0.0)


@pytest.fixture(
    scope="module",
    params=[lambda t: np.exp(-t / 1.5), lambda t: np.clip(1 - t / 4, 0, 1)],
    ids=["dying away", "evenly braked"],
)
def take(request: pytest.FixtureRequest) -> Ready:
    return coasting(request.param(since_the_cut()))


def test_what_dies_with_the_current_stops(take: Ready) -> None:
    assert ending(take, 120.0) == "stops"


def test_teeth_glide_down_with_the_machine(take: Ready) -> None:
    assert ending(take, MESH_HZ) == "glides"


def test_what_outlives_the_machine_is_the_rooms(take: Ready) -> None:
    assert ending(take, 333.0) == "stays"


def test_a_tone_that_was_never_there_tells_nothing(take: Ready) -> None:
    assert ending(take, 777.0) == "cannot tell"


def test_a_machine_that_runs_on_tells_nothing() -> None:
    assert ending(coasting(np.ones(round(SECONDS * RATE_HZ))), MESH_HZ) == "cannot tell"
