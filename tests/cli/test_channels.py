"""A recording of several channels: which one was listened to, and whether it is worth it."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main
from vibecheck.cli.channels import channel_warnings
from vibecheck.recording import Recording, Take

RATE_HZ = 8000
NOISE = np.random.default_rng(8).standard_normal((3, 3 * RATE_HZ))


def take(*levels: float, name: str = "a") -> Take:
    samples = np.array([level * row for level, row in zip(levels, NOISE, strict=False)])
    return Take(recording=Recording(samples=samples, rate_hz=RATE_HZ, name=name))


def test_the_channel_listened_to_is_told_with_the_way_to_the_other():
    assert channel_warnings([take(0.1, 0.1)], None) == (
        "2 channels; channel 1 was listened to; --channel 2 for the other",
    )
    [said] = channel_warnings([take(0.1, 0.1, 0.1)], None)
    assert said.startswith("3 channels;")
    assert said.endswith("--channel 2 to 3 for the others")


def test_some_takes_of_several_channels_are_counted():
    [said] = channel_warnings([take(0.1), take(0.1, 0.1), take(0.1)], None)
    assert said.startswith("2 channels in 1 of 3 takes;")


def test_nothing_is_said_of_one_channel_or_of_the_same_sound_twice():
    twice = Recording(samples=np.stack([NOISE[0], NOISE[0]]), rate_hz=RATE_HZ)
    assert channel_warnings([take(0.1), Take(recording=twice)], None) == ()


def test_whoever_asked_for_a_channel_is_not_told_of_the_choice():
    assert channel_warnings([take(0.1, 0.1)], 2) == ()


@pytest.mark.parametrize(
    ("levels", "asked", "said"),
    [
        ((0.0, 0.1), None, "channel 1 of a is silent; --channel 2"),
        ((1e-6, 0.1), None, "channel 1 of a is silent"),
        ((0.003, 0.1), None, "more than 20 dB quieter than channel 2"),
        ((0.1, 0.1, 0.0), 3, "channel 3 of a is silent"),
        ((0.1, 0.0), 2, "channel 2 of a is silent; --channel 1"),
    ],
)
def test_a_silent_or_much_quieter_channel_is_told(levels, asked, said):
    assert said in channel_warnings([take(*levels)], asked)[-1]


@pytest.mark.parametrize(("levels", "asked"), [((0.02, 0.1), 1), ((0.1, 0.001), 1), ((0, 0), 1)])
def test_an_ordinary_difference_and_a_quieter_other_are_not(levels, asked):
    assert channel_warnings([take(*levels)], asked) == ()


def test_an_offset_is_not_taken_for_loudness():
    samples = np.stack([0.1 * NOISE[0], 1e-7 * NOISE[1] + 0.9])
    shifted = Take(recording=Recording(samples=samples, rate_hz=RATE_HZ))
    assert channel_warnings([shifted], 1) == ()


def test_takes_alike_are_told_together_and_not_all_by_name():
    takes = [take(0.0, 0.1, name=f"t{number}") for number in range(7)]
    said = channel_warnings(takes, None)
    assert len(said) == 2
    assert "t0, t1, t2, t3 and 3 more" in said[1]


def run(*arguments: object) -> str:
    result = CliRunner().invoke(main, ["diagnose", *map(str, arguments)])
    assert result.exit_code == 0, result.output
    return " ".join(result.stderr.split())


def test_the_command_tells_it(tmp_path: Path):
    soundfile.write(tmp_path / "both.wav", 0.1 * NOISE[:2].T, RATE_HZ)
    half = np.stack([np.zeros(NOISE.shape[1]), 0.1 * NOISE[1]]).T
    soundfile.write(tmp_path / "half.wav", half, RATE_HZ)
    said = run(tmp_path / "both.wav", "--rpm", "1480")
    assert "2 channels; channel 1 was listened to; --channel 2 for the other." in said
    assert "Note" not in run(tmp_path / "both.wav", "--rpm", "1480", "--channel", "2")
    assert "channel 1 of half.wav is silent" in run(tmp_path / "half.wav", "--rpm", "1480")
