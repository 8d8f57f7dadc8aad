"""Tones that no lever moves, as faults of their own: chatter, or what stands in the structure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from vibecheck.diagnosis.readings.fixed_tones import FixedTone
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.since.levels import Trace
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature, alone
from vibecheck.diagnosis.verdicts.carriers import at_true_mains, carried, electric, mains_multiple
from vibecheck.diagnosis.verdicts.fixed_findings import STEADY, tied_to_none

FIXED = "fixed tone of structure or room"
FEWEST = 4
"""Positions under cut from which on a tone may be chatter: no two cuts are quite alike."""
AT_VANES, MOST_VANES = 0.004, 8.5
"""A tone so near a multiple of a pump's vanes, relative, up to that one, is the pump's."""
LIKELIEST = 3.0
"""Of tones that no lever moves only so many are worth as much as any other fault (judgement)."""


def tone_signatures(
    heard: Listened, tones: Mapping[str, FixedTone], found_at: Mapping[Trace, Rise]
) -> list[Signature]:
    """Tones that no lever moves and that nothing in the machine makes: chatter, or what stands.

    Parameters
    ----------
    heard : Listened
    tones : mapping of str to FixedTone
        By the name of their trace.
    found_at : mapping of Trace to Rise
    """
    found = []
    for name, tone in tones.items():
        if _vanes(heard, tone.hz):
            continue
        electrical = mains_multiple(at_true_mains(heard), tone.hz) or electric(heard, tone)
        if electrical or (carried(heard, tone) and not tied_to_none(tone)):
            continue
        sung = found_at.get(("howl", name))
        howl = sung is not None and len(sung.by_place) >= FEWEST
        still = ("tone", name) in found_at
        if howl and (still or tone.spread > STEADY):
            found.append(alone("chatter", "tool", "tool", "howl", trace=name))
        if still:
            found.append(alone(FIXED, "structure", "structure", "tone", trace=name))
        elif howl and tone.spread <= STEADY:
            found.append(alone(FIXED, "structure", "structure", "howl", trace=name))
    each = min(1.0, LIKELIEST / max(1, len(found)))
    return [replace(signature, share=each) for signature in found]


def _vanes(heard: Listened, hz: float) -> bool:
    """Whether a tone is a multiple of a pump's vanes, whose shaft may never change speed."""
    rates = [
        pump.vanes.value * turn
        for take in heard.takes
        for pump in heard.machine.pumps
        if pump.vanes.value and (turn := take.rotor_hz(pump.shaft))
    ]
    times = [hz / rate for rate in rates]
    near = [t for t in times if 0.5 < t < MOST_VANES and abs(t / round(t) - 1.0) < AT_VANES]
    return 2 * len(near) > len(rates) > 0
