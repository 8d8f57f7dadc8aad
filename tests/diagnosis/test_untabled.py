"""Recordings of which nothing else is known: tones and their nature, and no accusation.

Shaft rates of the measured records: their sets' own notes (see measured.py). Strikes a turn of the
bearings there: Smith & Randall 2015, table 2 (second-hand), and the geometry of the HIT set.
"""

import json

import measured
import numpy as np
import pytest

from vibecheck.diagnosis.untabled.judged import hear_untabled
from vibecheck.pipeline import diagnose
from vibecheck.recording import Recording, Take
from vibecheck.report.schema import to_json
from vibecheck.report.text import to_text

RATE_HZ = 12_000.0


def take(samples, rate_hz=RATE_HZ, name="a take", **more):
    recording = Recording(samples=np.asarray(samples, dtype=np.float32), rate_hz=rate_hz, name=name)
    return Take(recording=recording, **more)


def noise(seconds, seed=1):
    return np.random.default_rng(seed).normal(size=int(seconds * RATE_HZ))


def shaft(turns_hz, seconds=10.0, seed=1):
    """A shaft with ten multiples in noise."""
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    tones = sum(np.sin(2 * np.pi * k * turns_hz * time + k * k) / k for k in range(1, 11))
    return tones + noise(seconds, seed)


def strikes(rate_hz, seconds=10.0):
    """Blows that ring at 3 kHz, their spacing wandering a little as rolling bearings' do."""
    wander = 1.0 + 0.003 * np.random.default_rng(7).normal(size=int(seconds * rate_hz))
    beats = np.cumsum(wander / np.mean(wander)) / rate_hz
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    since = time - np.r_[0.0, beats][np.searchsorted(beats, time, side="right")]
    return 12.0 * np.exp(-since * 900.0) * np.sin(2 * np.pi * 3000.0 * since)


def kinds(finding):
    return {each.kind for each in finding.evidence}


def finding_of(diagnosis, part_kind):
    return next(f for f in diagnosis.findings if f.part_kind == part_kind)


def every_record():
    """Each measured record once, one channel, as (name, loader)."""
    rows = [
        (f"cwru {n}", lambda n=n: (measured.cwru(n).first, measured.cwru(n).rate_hz))
        for n in (97, 105, 119, 130, 158, 279, 294, 3001, 3005)
    ]
    named = (
        [(f"hit {n}", measured.hit, n) for n in ("Normal", "IR2", "OR2")]
        + [(f"uestc {n}", measured.uestc, n) for n in "IO"]
        + [
            (f"simulator {n}", measured.adi, n)
            for n in (
                "GoB_GS_BaLo_MA",
                "GoB_GS_BaLo_WA",
                "GoB_GS_HImL_WA",
                "GoB_GS_VHIL_WA",
                "GoB_GS_VLIL_WA",
                "HIR_GS_BaLo_WA",
                "HOR_GS_BaLo_WA",
            )
        ]
        + [(f"gearbox {n}", measured.gearbox, n) for n in ("h30hz0", "h30hz90", "b30hz90")]
        + [
            (f"motor {n}", measured.motor_sound, n)
            for n in (
                "Healthy_Hi-Fi",
                "Healthy_NewBearingHi-Fi_7",
                "DamagedBearing_SevereHi-Fi_07",
                "UnbalancedRotor_4WeightsHi-Fi_04",
            )
        ]
        + [(f"snapshot {n}", measured.snapshot, n) for n in (1, 2800)]
    )
    return rows + [
        (name, lambda load=load, key=key: (load(key).first, load(key).rate_hz))
        for name, load, key in named
    ]


@pytest.mark.parametrize(("name", "load"), every_record(), ids=[n for n, _ in every_record()])
def test_every_measured_record_is_listened_to_and_nothing_is_accused(name, load):
    samples, rate_hz = load()
    heard = diagnose(None, [take(samples, rate_hz, name)])
    assert not heard.faults_named
    assert all(f.probability < 0.85 for f in heard.findings)
    assert [w.kind for w in heard.warnings] == ["no_table"]
    assert heard.next_test is not None
    json.dumps(to_json(heard), allow_nan=False)
    assert max(len(line) for line in to_text(heard).splitlines()) <= 80


@pytest.mark.parametrize(
    ("number", "channel", "strikes_a_turn"),
    [(105, "DE", 5.4152), (130, "DE", 3.5848), (158, "DE", 3.5848), (294, "FE", 3.0530)],
)
def test_a_damaged_bearings_rate_and_its_shaft_are_found_with_nothing_known(
    number, channel, strikes_a_turn
):
    record = measured.cwru(number)
    heard = hear_untabled([take(record[channel], record.rate_hz, "t")])
    bearing, turning = finding_of(heard, "bearing"), finding_of(heard, "shaft")
    assert bearing.verdict == "possible"
    assert turning.rates_hz["t"] == pytest.approx(1796.5 / 60, rel=2e-3)
    order = bearing.rates_hz["t"] / turning.rates_hz["t"]
    assert order == pytest.approx(strikes_a_turn, rel=0.01)


@pytest.mark.parametrize(
    "load", [lambda: measured.cwru(97)["DE"], lambda: measured.cwru(119)["DE"]]
)
def test_no_bearing_is_even_possible_where_none_can_be_told(load):
    heard = hear_untabled([take(load(), 12_000.0)])
    assert all(f.part_kind != "bearing" or f.verdict == "cannot tell" for f in heard.findings)


def test_a_shaft_and_strikes_at_a_broken_multiple_of_it_are_parted():
    heard = hear_untabled([take(shaft(21.3) + strikes(21.3 * 4.63), name="t")])
    bearing = finding_of(heard, "bearing")
    assert bearing.verdict == "possible"
    assert "order_not_whole" in kinds(bearing)
    assert bearing.rates_hz["t"] == pytest.approx(21.3 * 4.63, rel=1e-3)
    assert finding_of(heard, "shaft").rates_hz["t"] == pytest.approx(21.3, rel=1e-3)


def test_hum_is_called_hum_and_not_a_shaft():
    time = np.arange(int(10 * RATE_HZ)) / RATE_HZ
    hum = sum(np.sin(2 * np.pi * 50.0 * k * time + k) for k in range(1, 11))
    heard = hear_untabled([take(hum + noise(10.0))])
    assert next(f.part_kind for f in heard.findings if f.rates_hz) == "mains"
    assert all(f.part_kind != "shaft" for f in heard.findings)


def test_noise_has_no_families():
    for seed in range(8):
        assert hear_untabled([take(noise(10.0, seed))]).findings == ()


def test_over_several_takes_what_moves_and_what_stays_is_told_apart():
    time = np.arange(int(10 * RATE_HZ)) / RATE_HZ
    whistle = np.sin(2 * np.pi * 1234.5 * time)
    takes = [
        take(shaft(hz, seed=k) + whistle, name=f"take {k}")
        for k, hz in enumerate((12.4, 19.7, 31.1))
    ]
    heard = hear_untabled(takes)
    assert "family_moves" in kinds(finding_of(heard, "shaft"))
    fixed = finding_of(heard, "structure")
    assert list(fixed.rates_hz.values()) == pytest.approx([1234.5] * 3, rel=1e-3)
    assert len(heard.takes) == 3


def test_silence_sends_one_back_to_record():
    heard = hear_untabled([take(np.zeros(48_000))])
    assert heard.findings == ()
    assert heard.next_test is not None
    assert heard.next_test.kind == "record_again"
    assert "too_quiet" in {remark.kind for remark in heard.takes[0].remarks}


def test_a_stated_speed_picks_the_family():
    heard = hear_untabled([take(shaft(24.0) + shaft(17.1, seed=5), tach_rpm=24.0 * 60)])
    assert heard.takes[0].speeds_hz["a shaft"] == pytest.approx(24.0, rel=1e-3)


def test_gain_changes_nothing():
    samples = shaft(21.3) + strikes(21.3 * 4.63)
    one, other = (hear_untabled([take(samples * gain)]) for gain in (1.0, 1e-3))
    assert [(f.part, f.verdict) for f in one.findings] == [
        (f.part, f.verdict) for f in other.findings
    ]
