"""Sounds and pictures of sound, tried on knocks and tones whose rates are known."""

from __future__ import annotations

import base64
import io
import wave
from dataclasses import replace

import numpy as np
import pytest

from vibecheck.diagnosis.findings import Diagnosis, Finding, TakeReport
from vibecheck.errors import RecordingError
from vibecheck.recording import Recording, Take
from vibecheck.report.drawn import blow_map, blows, folded, named_spectrum, paired, suspect_cycle
from vibecheck.report.listening import sounds_of
from vibecheck.report.sound import band_passed, slowed, tooth_tone, wav, with_clicks

RATE_HZ = 8000.0
TURN_HZ = 4.2


def knocking(turn_hz: float = TURN_HZ, seconds: float = 8.0, name: str = "A1 B2 CL") -> Recording:
    """Noise, a tooth tone at 62 a turn, and one knock a turn that rings at 870 Hz."""
    random = np.random.default_rng(3)
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    since = (time * turn_hz + 0.25) % 1.0 / turn_hz
    ring = np.sin(2 * np.pi * 870 * since) * np.exp(-since / 0.01)
    tone = 0.3 * np.sin(2 * np.pi * 62 * turn_hz * time)
    return Recording(
        samples=(0.1 * random.standard_normal(time.size) + tone + ring).astype(np.float32),
        rate_hz=RATE_HZ,
        name=name,
    )


@pytest.fixture
def pairs():
    speeds = {"A1 B2 CL": 4.2, "A2 B2 CL": 3.05}
    takes = [
        Take(recording=knocking(hz, name=label), position=label) for label, hz in speeds.items()
    ]
    reports = tuple(
        TakeReport(
            name=label, position=label, kind="idle", seconds=8.0, speeds_hz={"I": _i(label, hz)}
        )
        for label, hz in speeds.items()
    )
    return paired(takes, Diagnosis(machine="m", takes=reports, findings=()))


def _i(label: str, iii_hz: float) -> float:
    """Speed of shaft I for a speed of shaft III, by the teeth of the invented head."""
    first = {"A1": 38 / 38, "A2": 32 / 44}[label[:2]]
    return iii_hz / (first * 22 / 62)


def suspect(**rates: float) -> Finding:
    return Finding(
        part="B2 driven",
        part_kind="gear",
        fault="broken or damaged tooth",
        verdict="shown",
        probability=0.99,
        rates_hz=rates,
    )


def test_blows_repeat_at_the_rate_they_were_made_at() -> None:
    rates, strengths = blows(knocking(), 20.0)
    beyond = rates > 1.0
    turns = rates[beyond][np.argmax(strengths[beyond])] / TURN_HZ
    assert turns == pytest.approx(round(turns), abs=0.03)
    at_turn = np.argmin(np.abs(rates - TURN_HZ))
    assert strengths[at_turn - 1 : at_turn + 2].max() > 10


def test_a_map_has_a_peak_at_every_expected_mark(pairs) -> None:
    finding = suspect(**{"A1 B2 CL": 4.2, "A2 B2 CL": 3.05})
    heard = blow_map(pairs, finding, "x")
    assert heard is not None
    for place, strip in zip(heard.lines[0].places, heard.strengths_db, strict=True):
        near = np.abs(heard.places - place) < 0.1
        assert strip[near].max() > 10


def test_a_finding_without_rates_has_no_map(pairs) -> None:
    assert blow_map(pairs, suspect(), "x") is None


def test_one_turn_is_folded_on_the_gears_own_teeth(pairs, machine) -> None:
    from vibecheck.machine.turning import turning

    assert turning(machine, machine.position("A1 B2 CL")).rotors["III"].group == "I"
    cycle = suspect_cycle(pairs[0], machine, "B2 driven", "x")
    assert cycle is not None
    assert cycle.teeth == 62
    assert cycle.turns == 33
    loudest = np.argmax(cycle.levels) / cycle.levels.size
    assert loudest == pytest.approx(0.75, abs=0.02)
    assert cycle.levels.max() > 5


def test_a_predicted_tooth_tone_stands_where_it_was_made(pairs, machine) -> None:
    heard = named_spectrum(pairs[0], machine, {}, suspects=["B2 driven"])
    line = next(line for line in heard.lines if line.suspect)
    assert line.hz == pytest.approx(62 * TURN_HZ)
    near = np.abs(heard.places_hz - line.hz) < 1.0
    assert heard.strengths_db[near].max() > 20


def test_folding_a_steady_sound_is_flat() -> None:
    levels, turns = folded(np.ones(1000, dtype=np.float32), 100.0, 3.3, parts=8)
    assert turns == 33
    assert levels == pytest.approx(np.ones(8))


def test_a_band_keeps_what_is_in_it_and_nothing_else() -> None:
    kept = band_passed(knocking(), 800.0, 950.0).channel(0)
    power = np.abs(np.fft.rfft(kept)) ** 2
    places = np.fft.rfftfreq(kept.size, 1 / RATE_HZ)
    inside = (places > 740) & (places < 1030)
    assert power[inside].sum() > 0.999 * power.sum()


def test_a_band_beyond_the_recording_is_refused() -> None:
    with pytest.raises(RecordingError, match="no band"):
        band_passed(knocking(), 5000.0, 6000.0)


def test_the_tooth_tone_alone_is_the_tooth_tone() -> None:
    kept = tooth_tone(knocking(), 62 * TURN_HZ, TURN_HZ).channel(0)
    places = np.fft.rfftfreq(kept.size, 1 / RATE_HZ)
    assert places[np.argmax(np.abs(np.fft.rfft(kept)))] == pytest.approx(62 * TURN_HZ, abs=0.2)


def test_clicks_fall_on_the_knocks() -> None:
    both = with_clicks(knocking(), TURN_HZ)
    starts = np.flatnonzero(np.diff((np.abs(both.channel(1)) > 1e-6).astype(int)) > 0)
    separate = starts[np.r_[True, np.diff(starts) > 0.1 * RATE_HZ]] / RATE_HZ
    assert np.diff(separate) == pytest.approx(1 / TURN_HZ, abs=2e-3)
    off = (separate * TURN_HZ + 0.25) % 1.0
    assert np.minimum(off, 1 - off).max() < 0.04


def test_slowing_draws_the_knocks_apart_and_keeps_their_pitch() -> None:
    slow = slowed(knocking(seconds=3.0), 3.0)
    assert slow.seconds == pytest.approx(9.0, rel=0.02)
    rates, strengths = blows(slow, 6.0)
    beyond = rates > 0.7
    peak = rates[beyond][np.argmax(strengths[beyond])]
    assert (peak / (TURN_HZ / 3)) % 1.0 == pytest.approx(0, abs=0.12) or peak == pytest.approx(
        TURN_HZ / 3, rel=0.1
    )
    power = np.abs(np.fft.rfft(slow.channel(0))) ** 2
    places = np.fft.rfftfreq(slow.frames, 1 / RATE_HZ)
    assert places[np.argmax(power)] == pytest.approx(870, abs=90)


def test_a_wav_file_holds_what_was_put_into_it() -> None:
    sound = with_clicks(knocking(seconds=1.0), TURN_HZ)
    with wave.open(io.BytesIO(wav(sound))) as file:
        assert (file.getnchannels(), file.getframerate(), file.getnframes()) == (2, 8000, 8000)
        back = np.frombuffer(file.readframes(8000), dtype="<i2").reshape(-1, 2).T / 32767
    assert back == pytest.approx(sound.samples, abs=2e-5)


def test_a_page_carries_the_slowest_knock_to_listen_to(pairs, machine) -> None:
    rates = {"A1 B2 CL": 4.2, "A2 B2 CL": 3.05}
    finding = replace(suspect(**rates), heard=tuple(rates))
    diagnosis = Diagnosis(
        machine="m", takes=tuple(pair.report for pair in pairs), findings=(finding,)
    )
    sounds = sounds_of(diagnosis, machine, [pair.take for pair in pairs])
    assert len(sounds) == 1
    assert sounds[0].title.startswith("A2 B2 CL")
    with wave.open(io.BytesIO(base64.b64decode(sounds[0].wav_base64))) as file:
        assert (file.getnchannels(), file.getnframes()) == (2, 5 * RATE_HZ)


def test_what_does_not_knock_is_not_played(pairs, machine) -> None:
    finding = replace(suspect(**{"A1 B2 CL": 4.2}), fault="imbalance", heard=("A1 B2 CL",))
    diagnosis = Diagnosis(
        machine="m", takes=tuple(pair.report for pair in pairs), findings=(finding,)
    )
    assert sounds_of(diagnosis, machine, [pair.take for pair in pairs]) == ()
