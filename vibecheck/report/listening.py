"""The sounds that go onto a page: a few seconds of the suspect with a click at every turn."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import replace

from vibecheck.diagnosis.findings import Diagnosis, Finding
from vibecheck.machine.parts import Machine
from vibecheck.recording import Recording, Take
from vibecheck.report.drawn import KNOCKING, Pairing, paired
from vibecheck.report.figures import named_findings
from vibecheck.report.page import Listening
from vibecheck.report.sound import stretch_of, wav, with_clicks
from vibecheck.report.words import part_names, who

LENGTH_S = 5.0
MOST_HZ = 16000.0
SLOWEST_HZ, FASTEST_HZ = 0.5, 12.0
"""Clicks slower or faster than this cannot be counted by ear."""


def sounds_of(
    diagnosis: Diagnosis, machine: Machine | None, takes: Sequence[Take]
) -> tuple[Listening, ...]:
    """What of a diagnosis can be heard by ear; empty when nothing knocks."""
    names = part_names(machine)
    for finding in named_findings(diagnosis):
        pair = _slowest(finding, paired(takes, diagnosis))
        if finding.fault in KNOCKING and pair is not None:
            rate = pair.rate_hz(finding) or SLOWEST_HZ
            sound = with_clicks(_light(stretch_of(pair.take.recording, 0.0, LENGTH_S)), rate)
            title = (
                f"{pair.label}: left the sound, right a click each time {who(finding, names)} "
                "should strike. A knock that keeps step with the clicks is its own."
            )
            return (Listening(title=title, wav_base64=base64.b64encode(wav(sound)).decode()),)
    return ()


def _slowest(finding: Finding, pairs: Sequence[Pairing]) -> Pairing | None:
    """The take in which single strikes are easiest to count."""
    able = [
        pair
        for pair in pairs
        if pair.among(finding.heard) is not None
        and SLOWEST_HZ <= (pair.rate_hz(finding) or 0.0) <= FASTEST_HZ
    ]
    return min(able, key=lambda pair: pair.rate_hz(finding) or 0.0, default=None)


def _light(recording: Recording) -> Recording:
    """The same sound at no more samples a second than a page should carry."""
    import scipy.signal

    step = -(-recording.rate_hz // MOST_HZ)
    if step <= 1:
        return recording
    samples = scipy.signal.resample_poly(recording.channel(0), 1, int(step)).astype("float32")
    return replace(recording, samples=samples, rate_hz=recording.rate_hz / step)
