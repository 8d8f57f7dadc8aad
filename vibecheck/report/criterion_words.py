"""Sentences about an agreed criterion."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from vibecheck.diagnosis.compared.criterion import Judgement


def criterion_said(judgements: Sequence[Judgement]) -> tuple[str, ...]:
    """One paragraph for each demand: met, not met or cannot tell, and what decided it."""
    if not judgements:
        return ()
    said = ["Agreed before the repair:"]
    for judgement in judgements:
        why = "; ".join(judgement.reasons[:3])
        more = len(judgement.reasons) - 3
        tail = f"; and {more} more" if more > 0 else ""
        said.append(f"- {judgement.demand.text}: {judgement.met.upper()}. {why}{tail}.")
    return tuple(said)


def criterion_json(judgements: Sequence[Judgement]) -> dict[str, Any]:
    """The same for a program."""
    return {
        "demands": [
            {
                "text": judgement.demand.text,
                "met": judgement.met,
                "reasons": list(judgement.reasons),
            }
            for judgement in judgements
        ]
    }
