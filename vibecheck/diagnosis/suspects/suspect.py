"""A suspect: a part with a way to go wrong, and which readings it would explain.

A reading is known by what was listened to (a rate in a take, a bearing element ...). Two suspects
that would explain the very same readings are one suspect with two names.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from vibecheck.diagnosis.readings.keys import Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One part and fault, or several parts that sound the same wherever they were recorded.

    Attributes
    ----------
    parts : tuple of str
    part_kind, fault : str
    rotor : str
        What turns once for every strike.
    claims : frozenset of Key
        Readings it would raise.
    raises : frozenset of Key
        Readings it may raise too, but need not.
    prior : float
        Prior odds.
    evidence : float
        Natural log odds from evidence that is no shared reading (bearing families ...).
    """

    parts: tuple[str, ...]
    part_kind: str
    fault: str
    rotor: str = ""
    claims: frozenset[Key] = frozenset()
    raises: frozenset[Key] = frozenset()
    prior: float = 2e-3
    evidence: float = 0.0
    detail: Mapping[str, object] = field(default_factory=dict)
