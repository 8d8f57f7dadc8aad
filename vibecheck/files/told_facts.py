"""Facts of a converted file that its new form cannot carry, kept beside it and put back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from vibecheck.errors import JobError
from vibecheck.recording import Recording, Support

KEYS = ("rate_hz", "unit", "quantity", "low_hz", "high_hz", "levels", "aliased", "reasons")


def facts_table(recording: Recording) -> dict[str, Any]:
    """What is known of a recording beside its samples, as written in TOML."""
    support = recording.support
    told = {
        "rate_hz": recording.rate_hz if recording.rate_hz != round(recording.rate_hz) else None,
        "unit": recording.unit if recording.unit != "FS" else None,
        "quantity": recording.quantity if recording.quantity != "unknown" else None,
        "low_hz": support.low_hz or None,
        "high_hz": support.high_hz or None,
        "levels": None if support.levels else False,
        "aliased": support.aliased or None,
        "reasons": list(support.reasons) or None,
    }
    return {key: value for key, value in told.items() if value is not None}


def with_facts(recording: Recording, facts: Mapping[str, Any], where: str = "") -> Recording:
    """The recording with the facts of the file it was made from."""
    if not facts:
        return recording
    unknown = sorted(set(facts) - set(KEYS))
    if unknown:
        raise JobError(f"unknown fact(s) {', '.join(unknown)}", f"Use {', '.join(KEYS)}.", where)
    had = recording.support
    reasons = dict.fromkeys((*facts.get("reasons", ()), *had.reasons))
    tops = [top for top in (had.high_hz, float(facts.get("high_hz", 0.0))) if top > 0]
    support = Support(
        low_hz=max(had.low_hz, float(facts.get("low_hz", 0.0))),
        high_hz=min(tops, default=0.0),
        levels=had.levels and bool(facts.get("levels", True)),
        aliased=had.aliased or bool(facts.get("aliased", False)),
        reasons=tuple(reasons),
    )
    return replace(
        recording,
        rate_hz=float(facts.get("rate_hz", recording.rate_hz)),
        unit=str(facts.get("unit", recording.unit)),
        quantity=facts.get("quantity", recording.quantity),
        support=support,
    )
