"""Of two takes exchanged, one may tell where the other was made."""

from __future__ import annotations

from types import SimpleNamespace
from unittest import mock

import pytest

from vibecheck.diagnosis.speeds import fit
from vibecheck.diagnosis.speeds.found import TakeSpeed


def take(position: str):
    return SimpleNamespace(take=SimpleNamespace(position=position))


def speed(filed: str, heard: str | None, support: float = 9.0) -> TakeSpeed:
    turning = SimpleNamespace(label=heard) if heard else None
    return TakeSpeed(turning=turning, filed=filed, found=heard is not None, support=support)  # type: ignore[arg-type]


def asked_for(second: TakeSpeed, first: TakeSpeed) -> tuple[list[str], list[TakeSpeed]]:
    """Positions at which the second take was sought, and what came of both."""
    trials = {"A1": "a", "A2": "b", "A3": "c"}
    given = [(take("A1"), None, trials), (take("A2"), None, trials)]
    asked: list[str] = []

    def sought(take, frames, only, *rest, **more):
        asked.extend(only)
        return speed(take.take.position, next(iter(only)))

    with mock.patch.object(fit, "take_speed", sought):
        told = fit._exchanged(given, [first, second], {}, [1.0, 1.0])  # type: ignore[arg-type]
    return asked, told


def test_a_take_without_a_speed_is_sought_where_its_position_s_take_was_filed() -> None:
    asked, told = asked_for(speed("A2", None), speed("A1", "A2"))
    assert asked == ["A1"]
    assert told[1].found
    assert told[1].misfiled


@pytest.mark.parametrize(
    ("second", "first"),
    [
        (speed("A2", "A2"), speed("A1", "A2")),
        (speed("A2", None), speed("A1", "A1")),
        (speed("A2", None), speed("A1", "A3")),
    ],
    ids=["it has a speed", "nothing is misfiled", "another position is claimed"],
)
def test_other_takes_are_left_alone(second: TakeSpeed, first: TakeSpeed) -> None:
    asked, told = asked_for(second, first)
    assert asked == []
    assert told == [first, second]
