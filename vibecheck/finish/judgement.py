"""Is it vibration at all? What was measured, set against what feed and nose must leave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vibecheck.finish import roughness

Edge = Literal["round", "wiper", "chamfer"]
Opinion = Literal["feed marks", "more than feed marks", "smoother than possible", "cannot tell"]

ORDINARY_RATIO = 1.5
"""Measured over computed Ra that ordinary sound turning reaches (common practice, from memory)."""
DOUBTFUL_RATIO = 0.75
"""Below this the nose, feed or measurement cannot be as stated."""
LOW_SPEED_M_MIN = 40.0
"""Below this, built-up edge is usual in steel with carbide (common practice, from memory)."""
FINE_FEED_MM = 0.05
"""Below this a honed insert edge rubs rather than cuts (common practice, from memory)."""
GRADES_UM = {f"N{i + 1}": ra for i, ra in enumerate(
    (0.025, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.3, 12.5, 25.0, 50.0)
)}  # fmt: skip
"""Roughness grade -> Ra in micrometres (ISO 1302:1992, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """What is known about one turned surface.

    Attributes
    ----------
    feed_mm, nose_mm : float
        Feed a turn and nose radius.
    measured_ra_mm : float or None
        Measured or judged Ra, None when nobody did.
    edge : str
        "round" for a plain nose; for a "wiper" or "chamfer" the formulas do not hold.
    speed_m_min : float or None
        Surface speed.
    spacing_mm : float or None
        Spacing of the marks complained of, measured along the feed.
    facing : bool
        Whether the surface is a face.
    """

    feed_mm: float
    nose_mm: float
    measured_ra_mm: float | None = None
    edge: Edge = "round"
    speed_m_min: float | None = None
    spacing_mm: float | None = None
    facing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishOpinion:
    """Whether feed marks alone explain a finish.

    Attributes
    ----------
    opinion : str
        "feed marks": they explain it. "more than feed marks": something adds to them, which may
        or may not be vibration. "smoother than possible": a number given is wrong.
    rt_mm, rt_short_mm, ra_mm, ra_short_mm : float
        What feed and nose must leave; meaningless (nan) for a wiper or chamfered edge.
    ratio : float or None
        Measured Ra over computed Ra.
    reasons, cautions : tuple of str
        Why, and what else makes marks that are not vibration.
    """

    opinion: Opinion
    rt_mm: float
    rt_short_mm: float
    ra_mm: float
    ra_short_mm: float
    ratio: float | None
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]


def judge(finish: Finish) -> FinishOpinion:
    """Compare a finish with what its feed and nose radius must leave.

    Returns
    -------
    FinishOpinion
        "cannot tell" when nothing was measured or the edge is no plain round nose.

    Raises
    ------
    UsageError
        When feed and nose radius cannot belong together.
    """
    roughness.check(finish.feed_mm, finish.nose_mm)
    nan = float("nan")
    if finish.edge != "round":
        reason = (
            f"a {finish.edge} edge flattens the grooves; feed^2 / nose radius does not hold for it"
        )
        return FinishOpinion(
            opinion="cannot tell", rt_mm=nan, rt_short_mm=nan, ra_mm=nan, ra_short_mm=nan,
            ratio=None, reasons=(reason,), cautions=cautions(finish),
        )  # fmt: skip
    ra_mm = roughness.average_mm(finish.feed_mm, finish.nose_mm)
    ratio = finish.measured_ra_mm / ra_mm if finish.measured_ra_mm else None
    opinion, reasons = _opinion(finish, ratio)
    return FinishOpinion(
        opinion=opinion,
        rt_mm=roughness.peak_to_valley_mm(finish.feed_mm, finish.nose_mm),
        rt_short_mm=roughness.peak_to_valley_short_mm(finish.feed_mm, finish.nose_mm),
        ra_mm=ra_mm,
        ra_short_mm=roughness.average_short_mm(finish.feed_mm, finish.nose_mm),
        ratio=ratio,
        reasons=reasons,
        cautions=cautions(finish),
    )


def _opinion(finish: Finish, ratio: float | None) -> tuple[Opinion, tuple[str, ...]]:
    spacing = finish.spacing_mm
    if spacing is not None and abs(spacing / finish.feed_mm - 1) <= 0.1:
        same = f"the marks are {spacing:g} mm apart, which is the feed: they are the feed marks"
        return "feed marks", (same,)
    if ratio is None:
        return "cannot tell", ("no measured or judged roughness was given to compare",)
    if ratio < DOUBTFUL_RATIO:
        return "smoother than possible", (
            f"measured Ra is {ratio:.2f} of the least that feed and nose radius can leave; "
            "check the nose radius, the feed, a wiper edge, or the tester's cut-off",
        )
    if ratio <= ORDINARY_RATIO:
        return "feed marks", (
            f"measured Ra is {ratio:.2f} times what the feed marks alone leave, and ordinary "
            f"sound turning reaches up to about {ORDINARY_RATIO:g}",
        )
    return "more than feed marks", (
        f"measured Ra is {ratio:.1f} times what the feed marks alone leave",
    )


def cautions(finish: Finish) -> tuple[str, ...]:
    """Plain causes of a poor finish that are not vibration, the ones that apply first."""
    found: list[str] = []
    speed = finish.speed_m_min
    if speed is not None and speed < LOW_SPEED_M_MIN:
        found.append(
            f"surface speed {speed:.0f} m/min is low: in steel a built-up edge tears the surface; "
            "before suspecting the machine try a faster speed, as far as chuck and work allow"
        )
    if finish.feed_mm < FINE_FEED_MM:
        found.append(
            f"feed {finish.feed_mm:g} mm is fine: a honed insert rubs instead of cutting; "
            "try a larger feed or a sharp ground edge"
        )
    if finish.feed_mm > roughness.SAFE_FEED_OF_NOSE * finish.nose_mm:
        found.append("feed is near the nose radius: the straight edges beside the nose cut too")
    if finish.facing:
        found.append(
            "facing: surface speed falls to nothing at the centre; poor finish only there is "
            "speed or centre height, not vibration"
        )
    if finish.spacing_mm is not None and finish.spacing_mm > 0.8:
        found.append(
            "a roughness tester set to the usual 0.8 mm cut-off hides marks this far apart; "
            "its reading says little about them"
        )
    return (
        *found,
        "a dull or chipped edge, a tool off centre height and a built-up edge all make marks "
        "that no recording explains: a fresh edge at centre height is the cheapest test",
    )
