"""Options that describe the sensor, the same wherever takes come into a job."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from vibecheck.files.sensor import Sensor

Command = TypeVar("Command", bound=Callable[..., Any])
NAMES = {
    "sensor_kind": "kind",
    "sensor_name": "name",
    "mount": "mount",
    "axis": "axis",
    "place": "place",
    "per_full_scale": "per_full_scale",
    "calibrated": "calibrated",
    "processing": "processing",
}
OPTIONS = (
    click.option("--sensor", "sensor_kind", help="microphone, phone microphone, phone motion, "
                 "accelerometer, contact pickup, other."),
    click.option("--sensor-name", help="Maker's number, or what you call it."),
    click.option("--mount", help="hand held, magnet, adhesive, stud, stand, laid on."),
    click.option("--axis", help="Which way it points, in words."),
    click.option("--place", help="Where it sits, in words."),
    click.option("--per-full-scale", type=float, help="Unit per full scale, from a calibration."),
    click.option("--calibrated", help="How that is known."),
    click.option("--processing", help="'off', or what the system does to the sound."),
)  # fmt: skip


def sensor_options(function: Command) -> Command:
    """Adds the options to a command."""
    for option in reversed(OPTIONS):
        function = option(function)
    return function


def sensor_told(told: Mapping[str, Any]) -> Sensor | None:
    """The sensor these options describe, None when none was given."""
    from vibecheck.files.sensor import sensor_from

    given = {key: told[name] for name, key in NAMES.items() if told.get(name) is not None}
    if "per_full_scale" in given:
        given["unit"] = told.get("unit") or "m/s^2"
    return sensor_from(given, "sensor") if given else None
