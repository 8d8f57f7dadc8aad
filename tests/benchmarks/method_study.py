"""What each ingredient of the single-take engine is worth, on measured and on worsened records.

Run as ``python tests/benchmarks/method_study.py [ingredient ...]``. Every measured record with a
known answer is judged as it is and worsened: own-coloured noise as strong as the record, white
noise, three random knocks a second, a hum and a switched tone, a speed drifting by one per cent,
and only the last third. "right" counts bearing faults named rightly at ``likely`` or better;
"wrong" counts every bearing fault named that is not there.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import scipy.fft
import scipy.signal

sys.path.insert(0, str(Path(__file__).parents[1]))
import measured

from vibecheck.diagnosis.chance import field, matching
from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.single import odds, one_take
from vibecheck.spectra import bands, envelope
from vibecheck.spectra.envelope import transformed

FAULTS = (
    *((lambda n=n, c=c: (measured.cwru(n), c), b, a) for n, c, b, a in (
        (105, "DE", measured.DRIVE_END, "inner"),
        (105, "FE", measured.DRIVE_END, "inner"),
        (279, "FE", measured.FAN_END, "inner"),
        (130, "DE", measured.DRIVE_END, "outer"),
        (130, "BA", measured.DRIVE_END, "outer"),
        (158, "DE", measured.DRIVE_END, "outer"),
        (158, "FE", measured.DRIVE_END, "outer"),
        (294, "FE", measured.FAN_END, "outer"),
        (294, "BA", measured.FAN_END, "outer"),
    )),
    (lambda: (measured.hit("IR2"), None), measured.HIT, "inner"),
    (lambda: (measured.hit("OR2"), None), measured.HIT, "outer"),
    (lambda: (measured.uestc("I"), None), measured.UESTC, "inner"),
    (lambda: (measured.uestc("O"), None), measured.UESTC, "outer"),
    (lambda: (measured.adi("HIR_GS_BaLo_WA"), "X"), measured.ADI, "inner"),
    (lambda: (measured.adi("HOR_GS_BaLo_WA"), "X"), measured.ADI, "outer"),
)  # fmt: skip
SOUND = (
    (lambda: (measured.cwru(97), "DE"), measured.DRIVE_END, ""),
    (lambda: (measured.cwru(97), "FE"), measured.FAN_END, ""),
    (lambda: (measured.cwru(119), "DE"), measured.DRIVE_END, "roller"),
    (lambda: (measured.cwru(3005), "DE"), measured.DRIVE_END, "roller"),
    (lambda: (measured.hit("Normal"), None), measured.HIT, ""),
    (lambda: (measured.adi("GoB_GS_BaLo_WA"), "X"), measured.ADI, ""),
    (lambda: (measured.adi("GoB_GS_VHIL_WA"), "Y"), measured.ADI, ""),
    (lambda: (measured.motor_sound("Healthy_Hi-Fi"), None), measured.MOTOR, ""),
    (lambda: (measured.motor_sound("Healthy_NewBearingHi-Fi_7"), None), measured.MOTOR, ""),
    (lambda: (measured.gearbox("h30hz0"), "a1"), measured.ADI, ""),
    (lambda: (measured.gearbox("b30hz90"), "a2"), measured.DRIVE_END, ""),
)


def worsened(samples, rate_hz, seed=5) -> Iterator[tuple[str, np.ndarray]]:
    """The record as it is, and made worse in five ways."""
    rng = np.random.default_rng(seed)
    count, level = samples.size, float(samples.std())
    seconds = np.arange(count) / rate_hz
    lines = np.fft.rfft(samples)
    shape = np.convolve(np.abs(lines), np.ones(400) / 400, "same")
    own = np.fft.irfft(shape * np.exp(2j * np.pi * rng.random(lines.size)), count)
    knocked = samples.copy()
    tail = np.arange(int(0.01 * rate_hz)) / rate_hz
    ring = np.exp(-tail / 0.001) * np.sin(2 * np.pi * 0.23 * rate_hz * tail)
    for start in rng.integers(0, count - tail.size, rng.poisson(3 * count / rate_hz)):
        knocked[start : start + tail.size] += 15 * level * rng.standard_exponential() * ring
    hum = np.sin(2 * np.pi * 60 * seconds)
    hum += 2 * np.sign(np.sin(2 * np.pi * 120 * seconds)) * np.sin(2 * np.pi * 2000 * seconds)
    place = np.linspace(0, 1, count)
    place = (place * 0.995 + 0.005 * place**2) * (count - 1) * 0.999
    for name, wave in (
        ("as it is", samples),
        ("last third", samples[2 * count // 3 :]),
        ("own noise", samples + own * level / own.std()),
        ("white noise", samples + level * rng.standard_normal(count)),
        ("knocks", knocked),
        ("hum", samples + level * hum),
        ("drift", np.interp(place, np.arange(count), samples)),
    ):
        yield name, wave.astype(np.float32)


def score() -> dict[str, list[int]]:
    """Right, of, wrong for each kind of worsening."""
    totals: dict[str, list[int]] = {}
    for load, bearing, answer in (*FAULTS, *SOUND):
        record, channel = load()
        samples = record[channel] if channel else record.first
        families = bearing_families(
            elements=bearing.elements, ball_mm=bearing.ball, pitch_mm=bearing.pitch
        )
        elements = {family.name for family in families}
        for name, wave in worsened(samples, record.rate_hz):
            heard = one_take.hear_bearing(
                wave, record.rate_hz, shaft_hz=(record.stated_rpm or 1797) / 60, families=families
            )
            right, of, wrong = totals.setdefault(name, [0, 0, 0])
            fault = answer in ("inner", "outer")
            totals[name] = [
                right + (fault and heard.named == answer),
                of + fault,
                wrong + (heard.named in elements and heard.named != answer),
            ]
    return totals


def cepstral_whitened(transform, **_):
    """Every line at one height (Borghesani et al. 2013, Mech. Syst. Signal Process. 36:370-384)."""
    size = np.abs(transform.lines)
    size[size == 0] = 1.0
    return replace(transform, lines=(transform.lines / size).astype(np.complex64))


def without_steady_tones(samples, rate_hz, delay_s=0.05, block_s=0.5):
    """Discrete/random separation (Antoni & Randall 2004, Mech. Syst. Signal Process. 18:103)."""
    delay, size = round(delay_s * rate_hz), scipy.fft.next_fast_len(round(block_s * rate_hz))
    hann, cross, power = np.hanning(size), 0.0, 0.0
    for start in range(delay, samples.size - size, size // 2):
        now = scipy.fft.rfft(samples[start : start + size] * hann, n=2 * size)
        then = scipy.fft.rfft(samples[start - delay : start - delay + size] * hann, n=2 * size)
        cross, power = cross + now * np.conj(then), power + np.abs(then) ** 2
    taps = scipy.fft.irfft(cross / np.maximum(power, np.max(power) * 1e-9), n=2 * size)[:size]
    tonal = scipy.signal.oaconvolve(samples, taps)[: samples.size]
    left = samples.copy()
    left[delay:] -= tonal[: samples.size - delay]
    return left.astype(np.float32)


@contextmanager
def nothing() -> Iterator[None]:
    yield


def spectra_with(**settings) -> Callable[[], object]:
    """The engine with other settings of its envelope spectra."""
    real = one_take.envelope_spectra
    return lambda: mock.patch.object(
        one_take, "envelope_spectra", lambda whole, **given: real(whole, **{**given, **settings})
    )


def separated():
    """The engine on what cannot be foretold."""

    def split(samples, rate_hz, **_):
        return transformed(without_steady_tones(np.asarray(samples), rate_hz), rate_hz)

    return mock.patch.object(one_take, "transformed", split)


def unfollowed():
    real = one_take.speed_from_comb
    return mock.patch.object(
        one_take, "speed_from_comb", lambda *a, **given: real(*a, **{**given, "follow": False})
    )


INGREDIENTS: dict[str, Callable[[], object]] = {
    "as shipped": nothing,
    "tones not held down": spectra_with(whiten=-1.0),
    "floor levelled as well": spectra_with(whiten=1.0),
    "cepstral pre-whitening instead": lambda: mock.patch.object(
        bands, "floor_whitened", cepstral_whitened
    ),
    "discrete/random separation first": separated,
    "whole range only, no band tree": spectra_with(shares=(1,)),
    "log envelopes as well": spectra_with(forms=("squared", "logarithm")),
    "no knock guard": lambda: mock.patch.object(bands, "guarded", lambda given, **_: given),
    "strongest family left among decoys": lambda: mock.patch.object(
        field.Field, "without", lambda self, order, **_: self
    ),
    "speed not followed": unfollowed,
    "doubles and halves not asked for": lambda: mock.patch.object(
        matching, "_half_or_double", return_value=""
    ),
    "mains not avoided": lambda: mock.patch.object(one_take, "MAINS_HZ", ()),
    "depth not asked for": lambda: mock.patch.object(odds, "EVEN_DEPTH", 1e-9),
    "surprise not asked for": lambda: mock.patch.object(odds, "EVEN_LOG10_P", -300.0),
}


def main() -> None:
    """Print one line per ingredient."""
    assert envelope.LOUDEST > 0
    wanted = sys.argv[1:] or list(INGREDIENTS)
    for name in wanted:
        start = time.perf_counter()
        with INGREDIENTS[name]():
            totals = score()
        cells = "  ".join(f"{key} {r}/{of}" for key, (r, of, _) in totals.items())
        right, of, wrong = (sum(row[i] for row in totals.values()) for i in range(3))
        print(
            f"{name:36s} right {right:3d}/{of} wrong {wrong:2d}   {cells}"
            f"   {time.perf_counter() - start:.0f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()
