"""One recording, one bearing: what repeats in it, and what that says about each part.

The single take is the weakest of witnesses: it cannot see a line follow the levers. So a race is
named only when its family stands out from what chance families reach in the same recording *and*
its blows are deep enough to matter. Sound bearings also pass their balls audibly; that is shallow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.chance.matching import GRID, FamilyScore, score_families
from vibecheck.diagnosis.findings import Verdict, verdict_for
from vibecheck.diagnosis.single.odds import (
    EVEN_DEPTH,
    EVEN_LOG10_P,
    as_said,
    fault_odds,
    turning_load,
)
from vibecheck.diagnosis.single.shaft_lines import ShaftLines, shaft_lines
from vibecheck.diagnosis.single.take_findings import ElementFinding as ElementFinding
from vibecheck.diagnosis.single.take_findings import OneTake as OneTake
from vibecheck.diagnosis.single.take_findings import contradiction
from vibecheck.spectra.bands import envelope_spectra
from vibecheck.spectra.envelope import Transform, transformed
from vibecheck.spectra.spectrum import Floats
from vibecheck.spectra.speed import BELIEVED, SpeedFound, speed_from_comb, speeds_unaided

GUESSED_SPEED = 4.0
JOINT_LOG10 = 9.0
"""At a speed neither stated nor clearly heard, a family may have these odds at the most, unless its
own surprise and the comb's together reach this many tens: some thousand speeds could be tried."""
UNSURE_SPEED = 0.01
"""A stated speed this near to the mains or half of it may be theirs."""
MAINS_HZ = (25.0, 30.0, 50.0, 60.0)
"""The mains and half of it have combs of their own."""
OTHER_NUMBERS = 0.10
"""Bearings of one name differ by up to this share in their outer order: another make, other balls
(four published 6203s span 3.050 to 3.071; 0.4 n misses by -9.8 to +6.7 % on ten bearings)."""
FEWEST_TURNS = 18.0
TOP_ORDER = 36.0


def hear_bearing(
    samples: Floats | Transform,
    rate_hz: float = 0.0,
    *,
    shaft_hz: float | None,
    families: Sequence[Family],
    search: float = 0.10,
    low_hz: float = 0.0,
    high_hz: float = 0.0,
    quantity: str = "acceleration",
) -> OneTake:
    """Judge one bearing from one take.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames,), or Transform
    rate_hz : float
        Needed with samples.
    shaft_hz : float or None
        Stated speed of the ring that turns; the true one is looked for within ``search`` of it,
        or over 3 to 120 Hz when None.
    families : sequence of Family
        See :func:`vibecheck.diagnosis.chance.families.bearing_families`.
    low_hz, high_hz : float
        What the sensor can be believed for; 0 for no limit.
    quantity : str
        "acceleration", "velocity", "pressure" ...; a microphone's once-a-turn line is no measure
        of unbalance.
    """
    whole = samples if isinstance(samples, Transform) else transformed(samples, rate_hz)
    if not np.any(whole.lines[1:]):
        nobody = SpeedFound(hz=0.0, uncertainty_hz=0.0, chance=1.0, reason="silence")
        return _nothing(whole, nobody, families, "the recording is silent")
    believed_hz = (low_hz, high_hz)
    if shaft_hz is None:
        speed = _unaided(whole, families, believed_hz)
    else:
        mains = [each for each in MAINS_HZ if abs(each / shaft_hz - 1.0) > UNSURE_SPEED]
        speed = speed_from_comb(whole, nominal_hz=shaft_hz, search=search, avoid_hz=mains)
    used = speed.hz if speed.found else shaft_hz
    if used is None:
        return _nothing(whole, speed, families, "no running speed was given and none was heard")
    if whole.seconds * used < FEWEST_TURNS:
        return _nothing(
            whole,
            speed,
            families,
            f"{whole.seconds * used:.1f} turns are too few to part the lines;"
            f" {FEWEST_TURNS / used:.1f} s would do",
            used,
        )
    ground = _ground(whole, used, speed, believed_hz)
    scores, guessed = score_families(ground, families), shaft_hz is None
    if not speed.found and abs(speed.candidate_hz / used - 1.0) > 0.003:
        elsewhere = _ground(whole, speed.candidate_hz, speed, believed_hz)
        other = score_families(elsewhere, families)
        if _best_odds(other) > 2.0 * _best_odds(scores):
            scores, used, ground, guessed = other, speed.candidate_hz, elsewhere, True
    odds = {score.family.name: _odds(score, speed if guessed else None) for score in scores}
    lines = shaft_lines(whole, used, quantity=quantity)
    told = _summed_up(whole, speed, shaft_hz, used, scores, odds, lines)
    if max(odds.values(), default=1.0) < 1.0 and speed.found:
        return _other_numbers(told, ground, families)
    return told


def _other_numbers(told: OneTake, ground: Field, families: Sequence[Family]) -> OneTake:
    """Whether another bearing of the same kind would explain blows that this one does not.

    A family near a race's order but outside every slip, as surprising and deep as a flaw's, leaves
    the question open: the numbers given may be another make's. Which race it is stays unsaid.
    """
    wide = [
        replace(each, slip_low=-OTHER_NUMBERS, slip_high=OTHER_NUMBERS)
        for each in families
        if each.name in ("outer", "inner")
    ]
    if not any(_deep(ground, each) for each in wide):
        return told
    best = max(score_families(ground, wide), key=fault_odds, default=None)
    if best is None or fault_odds(best) < 1.0 or best.rivals or turning_load(best):
        return told
    odds = fault_odds(best)
    return replace(
        told,
        verdict="cannot tell",
        other_numbers=odds / (1.0 + odds),
        other_order=best.order_found,
        reasons=(
            *told.reasons,
            f"blows {best.order_found:.3f} times a turn stand out, {100 * best.slip:+.1f} % from"
            f" the {best.family.name} race of the numbers given, more than slip can do: another"
            " make may have other balls, so the race cannot be told",
        ),
        next_test="Read the make and number off the bearing, or measure its balls, and give those.",
    )


def _deep(ground: Field, family: Family) -> bool:
    """Whether the highest place in a family's window is deep at all: asked first, being cheap."""
    orders = np.exp(np.arange(np.log(family.lowest_order), np.log(family.highest_order), GRID))
    heights = ground.scores(replace(family, sidebands=()), orders).max(axis=0)
    return ground.depths(float(orders[int(np.argmax(heights))]))[0] > EVEN_DEPTH


def _unaided(
    whole: Transform, families: Sequence[Family], believed_hz: tuple[float, float]
) -> SpeedFound:
    """Of several combs the one at whose speed this bearing makes most sense, else the first."""
    found = speeds_unaided(whole)
    if found[0].chance > BELIEVED:
        return replace(found[0], hz=0.0, reason="no comb of whole multiples stands out anywhere")
    best = [
        _best_odds(score_families(_ground(whole, each.hz, each, believed_hz), families))
        if whole.seconds * each.hz >= FEWEST_TURNS
        else 0.0
        for each in found
    ]
    return found[int(np.argmax(best))] if max(best) > 1.0 else found[0]


def _ground(
    whole: Transform, used: float, speed: SpeedFound, believed_hz: tuple[float, float]
) -> Field:
    spectra = envelope_spectra(
        whole,
        top=TOP_ORDER * used,
        low=believed_hz[0],
        high=believed_hz[1],
        track=speed.track,
        mean_hz=used,
    )
    return Field(spectra, used, speed.uncertainty_hz if speed.found else 0.002 * used)


def _odds(score: FamilyScore, guessed: SpeedFound | None) -> float:
    plain = fault_odds(score)
    if guessed is None:
        return plain
    joint = score.log10_p - float(np.log10(max(guessed.chance, 1e-300)))
    return plain if joint >= JOINT_LOG10 else min(plain, GUESSED_SPEED)


def _best_odds(scores: Sequence[FamilyScore]) -> float:
    return max((fault_odds(score) for score in scores), default=0.0)


def _summed_up(
    whole: Transform,
    speed: SpeedFound,
    stated_hz: float | None,
    used: float,
    scores: Sequence[FamilyScore],
    odds: Mapping[str, float],
    lines: ShaftLines,
) -> OneTake:
    weights = {
        "healthy": 1.0,
        **_cage_explained(odds),
        "imbalance": lines.imbalance_odds,
        "looseness": lines.looseness_odds,
    }
    total = sum(weights.values())
    posterior = {name: weight / total for name, weight in weights.items()}
    elements = tuple(
        _element(score, as_said(posterior[score.family.name]), used) for score in scores
    )
    best = max((name for name in posterior if name != "healthy"), key=lambda name: posterior[name])
    verdict = verdict_for(as_said(posterior[best]))
    if verdict == "not shown" and any(each.verdict == "cannot tell" for each in elements):
        verdict = "cannot tell"
    if verdict == "not shown" and stated_hz is None:
        verdict = "cannot tell"
    said = contradiction(stated_hz, speed)
    reasons = [said] if said else []
    if stated_hz is None:
        reasons.append("no speed was given: nothing can be ruled out at a speed only guessed")
    elif not speed.found:
        reasons.append(f"{speed.reason}; the stated speed was used")
    return OneTake(
        shaft_hz=used,
        speed=speed,
        stated_hz=stated_hz,
        contradiction=said,
        elements=elements,
        posterior=posterior,
        shaft=lines,
        verdict=verdict,
        named=best if verdict in ("shown", "likely") else "",
        reasons=tuple(reasons),
        next_test=_next_test(best, verdict),
    )


def _cage_explained(odds: Mapping[str, float]) -> dict[str, float]:
    """A flaw that comes and goes with the load zone makes lines at the cage's rate as well: where
    a better family stands, they need no fault of the cage."""
    best = max((value for name, value in odds.items() if name != "cage"), default=0.0)
    return {name: value / (1.0 + best) if name == "cage" else value for name, value in odds.items()}


def _element(score: FamilyScore, probability: float, shaft_hz: float) -> ElementFinding:
    verdict = verdict_for(probability)
    reasons = [
        f"{score.family.name} at {score.order_found:.4f} x shaft"
        f" ({score.order_found * shaft_hz:.2f} Hz, slip {100 * score.slip:+.2f} %):"
        f" chance {score.p_value:.1e}, depth {score.depth:.2f}"
    ]
    if turning_load(score):
        reasons.append("shaft-rate sidebands outweigh it: a turning load explains it as well")
    if score.rivals:
        reasons += list(score.rivals)
        verdict = "cannot tell" if score.log10_p > EVEN_LOG10_P else verdict
    if score.family.name == "cage" and score.log10_p > EVEN_LOG10_P:
        reasons.append("heard, but a slow shaft, a belt or a shifting load explains it as well")
    elif verdict == "not shown" and score.log10_p > EVEN_LOG10_P:
        reasons.append("heard, but as shallow as in sound bearings")
    return ElementFinding(
        name=score.family.name,
        part=score.family.part,
        probability=probability,
        verdict=verdict,
        score=score,
        reasons=tuple(reasons),
    )


def _next_test(best: str, verdict: Verdict) -> str:
    if verdict in ("shown", "likely"):
        return "Record at a second speed: the same multiple of the shaft must come back."
    if verdict == "possible" and best == "imbalance":
        return "Compare with the same place and speed after balancing, or with the chuck off."
    if verdict == "possible":
        return "Record for four times as long, sensor on the bearing's housing, at two speeds."
    return ""


def _nothing(
    whole: Transform,
    speed: SpeedFound,
    families: Sequence[Family],
    why: str,
    used: float = 0.0,
) -> OneTake:
    return OneTake(
        shaft_hz=used,
        speed=speed,
        stated_hz=used or None,
        contradiction="",
        elements=(),
        posterior={"healthy": 1.0},
        shaft=ShaftLines(),
        verdict="cannot tell",
        named="",
        reasons=(why,),
        next_test="Record for longer, and give the speed from a tachometer.",
    )
