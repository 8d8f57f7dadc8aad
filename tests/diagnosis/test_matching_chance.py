"""What chance does, and what must not fool the matcher."""

import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.chance.matching import score_families
from vibecheck.diagnosis.single.one_take import hear_bearing
from vibecheck.errors import RecordingError
from vibecheck.spectra.bands import envelope_spectra
from vibecheck.spectra.envelope import transformed

RATE, SHAFT = 12_000.0, 29.3
FAMILIES = bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04)


def noise(seconds=8.0, seed=0):
    return np.random.default_rng(seed).normal(size=int(seconds * RATE))


def struck(rate_hz, *, seconds=8.0, jitter=0.0, height=4.0, load_hz=0.0, seed=1):
    """Rings at a rate, with jitter, their height following the load once a turn if asked."""
    rng = np.random.default_rng(seed)
    out = np.zeros(int(seconds * RATE))
    tail = np.arange(100) / RATE
    ring = np.exp(-1000 * tail) * np.sin(2 * np.pi * 3300 * tail)
    time = 0.0
    while time < seconds - 0.02:
        start = int(time * RATE)
        load = 0.5 + 0.5 * np.cos(2 * np.pi * load_hz * time) if load_hz else 1.0
        out[start : start + 100] += height * load * ring
        time += (1 + jitter * rng.normal()) / rate_hz
    return out


def shaft(seconds=8.0):
    time = np.arange(int(seconds * RATE)) / RATE
    return sum(0.15 * np.sin(2 * np.pi * m * SHAFT * time + m) for m in range(1, 8))


def judged(wave, shaft_hz=SHAFT):
    return hear_bearing(wave.astype(np.float32), RATE, shaft_hz=shaft_hz, families=FAMILIES)


def test_chances_in_noise_are_honest():
    values = []
    for seed in range(20):
        heard = envelope_spectra(transformed(noise(seed=seed).astype(np.float32), RATE), top=1050)
        values += [score.p_value for score in score_families(Field(heard, SHAFT), FAMILIES)]
    # 80 values: a tenth of them below 0.1 when honest, more only by the luck of the draw
    assert np.mean(np.array(values) < 0.1) < 0.22
    assert min(values) > 1e-4


@pytest.mark.parametrize("seed", range(3))
def test_an_outer_race_is_named(seed):
    rate = 3.5848 * 0.992 * SHAFT
    heard = judged(noise(seed=seed) + shaft() + struck(rate, jitter=0.01, seed=seed))
    assert heard.named == "outer"
    assert heard.element("outer").score.slip == pytest.approx(-0.008, abs=0.002)


@pytest.mark.parametrize("seed", range(3))
def test_an_inner_race_is_named_by_its_load_sidebands_too(seed):
    rate = 5.4152 * 1.005 * SHAFT
    wave = noise(seed=seed) + shaft() + struck(rate, jitter=0.01, height=8.0, load_hz=SHAFT)
    heard = judged(wave)
    assert heard.named == "inner"
    assert heard.element("inner").score.sideband_depth > 0.3


@pytest.mark.parametrize("multiple", [1.0, 3.0, 4.0, 0.5])
def test_a_looseness_comb_is_no_bearing(multiple):
    heard = judged(noise() + shaft() + struck(multiple * SHAFT, height=6.0))
    assert heard.named not in ("outer", "inner", "roller", "cage")


def test_a_family_outside_the_slip_window_is_no_bearing_of_this_size():
    heard = judged(noise() + shaft() + struck(3.5848 * 1.06 * SHAFT, jitter=0.01))
    assert heard.named == ""


def test_one_hard_knock_names_nothing():
    wave = noise() + shaft()
    wave[30_000:30_080] += 300 * np.exp(-np.arange(80) / 12)
    assert judged(wave).named == ""


def test_a_mains_hum_names_nothing():
    time = np.arange(int(8 * RATE)) / RATE
    hum = sum(4 * np.cos(2 * np.pi * 100 * m * time) for m in range(1, 12))
    assert judged(noise() + shaft() + hum).named == ""


def test_a_single_line_at_the_right_place_is_not_enough():
    time = np.arange(int(8 * RATE)) / RATE
    wave = noise() * (1 + 0.4 * np.cos(2 * np.pi * 3.57 * SHAFT * time))
    assert judged(wave + shaft()).named == ""


def test_a_wrong_stated_speed_is_put_right_and_said():
    rate = 3.5848 * 0.995 * SHAFT
    heard = judged(noise() + shaft() + struck(rate, jitter=0.01), shaft_hz=SHAFT * 1.04)
    assert heard.shaft_hz == pytest.approx(SHAFT, rel=1e-3)
    assert heard.named == "outer"
    assert heard.contradiction


def test_no_speed_given_and_none_heard_cannot_tell():
    heard = hear_bearing(noise().astype(np.float32), RATE, shaft_hz=None, families=FAMILIES)
    assert heard.verdict == "cannot tell"


def test_a_short_take_cannot_tell_and_says_how_long_would_do():
    wave = (noise(0.4) + struck(105.0, seconds=0.4)).astype(np.float32)
    heard = hear_bearing(wave, RATE, shaft_hz=SHAFT, families=FAMILIES)
    assert heard.verdict == "cannot tell"
    assert "s would do" in heard.reasons[0]


def test_a_race_on_a_whole_multiple_cannot_be_told_from_the_shaft():
    families = bearing_families(elements=8, orders={"outer": 2.998})
    wave = noise() + shaft() + struck(2.9995 * SHAFT, jitter=0.0, height=6.0)
    heard = hear_bearing(wave.astype(np.float32), RATE, shaft_hz=SHAFT, families=families)
    assert heard.named == ""


def test_gain_changes_no_verdict():
    wave = noise() + shaft() + struck(3.5848 * 0.992 * SHAFT, jitter=0.01)
    one, other = judged(wave), judged(1e-4 * wave)
    assert one.named == other.named == "outer"
    assert one.posterior["outer"] == pytest.approx(other.posterior["outer"], abs=1e-3)


def test_evidence_from_two_takes_adds_up():
    wave = noise() + shaft() + struck(3.5848 * 0.992 * SHAFT, jitter=0.01)
    score = judged(wave).element("outer").score
    assert score.log10_e > 1
    assert score.log10_e < score.log10_p


@pytest.mark.parametrize("rate_hz", [1_000.0, 12_000.0, 192_000.0])
@pytest.mark.parametrize("shaft_hz", [1.0, 30.0, 300.0, None])
@pytest.mark.parametrize(
    "wave",
    [
        np.zeros(40_000),
        np.ones(40_000),
        np.sin(np.arange(40_000) * 0.3),
        np.sign(np.sin(np.arange(40_000) * 0.01)),
        noise(0.03),
        1e12 * noise(3.0),
        np.r_[noise(2.0), np.zeros(24_000)],
    ],
    ids=["silence", "constant", "sine", "square", "short", "huge", "half silent"],
)
def test_odd_recordings_name_nothing_and_break_nothing(wave, shaft_hz, rate_hz):
    heard = hear_bearing(wave.astype(np.float32), rate_hz, shaft_hz=shaft_hz, families=FAMILIES)
    assert heard.named == ""


def test_silence_cannot_tell():
    heard = judged(np.zeros(80_000))
    assert heard.verdict == "cannot tell"
    assert "silent" in heard.reasons[0]


@pytest.mark.parametrize(
    ("wave", "found"), [(np.ones(50), "only 50 samples"), (np.r_[np.nan, noise()], "not a number")]
)
def test_recordings_that_cannot_be_used_are_refused(wave, found):
    with pytest.raises(RecordingError, match=found):
        judged(wave)


def test_a_sideband_of_a_stronger_family_is_not_named():
    # a bearing whose outer race falls where another one's inner race, less two turns, lies
    other = 5.4152 - 2.0
    families = bearing_families(elements=9, orders={"outer": other, "inner": 9 - other})
    wave = noise() + shaft() + struck(5.4152 * SHAFT, jitter=0.005, height=8.0, load_hz=SHAFT)
    heard = hear_bearing(wave.astype(np.float32), RATE, shaft_hz=SHAFT, families=families)
    assert heard.named == ""
