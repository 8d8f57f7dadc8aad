"""Sound inputs by name, through PortAudio; imported only when one is wanted."""

from __future__ import annotations

import importlib
import sys
from dataclasses import dataclass
from typing import Any

from vibecheck.errors import DeviceError

INSTALL = {
    "linux": "Install it: 'apt install libportaudio2' (Debian, Ubuntu), 'dnf install portaudio' "
    "(Fedora), 'pacman -S portaudio' (Arch).",
    "darwin": "Install it: 'brew install portaudio'.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A sound input.

    Attributes
    ----------
    index : int
        PortAudio's number for it, good until something is plugged in or out.
    """

    index: int
    name: str
    channels: int
    rate_hz: float
    system: str = ""
    usual: bool = False


def sound_library() -> Any:
    """The ``sounddevice`` module, or an error that says what to install."""
    try:
        return importlib.import_module("sounddevice")
    except OSError:
        remedy = INSTALL.get(sys.platform, "Install PortAudio.")
        raise DeviceError(
            "the sound library PortAudio is missing",
            f"{remedy} Everything but recording works without it.",
        ) from None
    except ImportError:
        raise DeviceError(
            "the Python package sounddevice is missing", "Install it: 'pip install sounddevice'."
        ) from None


def input_devices() -> list[Device]:
    """Every sound input there is now; the system's usual one is marked."""
    sd = sound_library()
    try:
        found = list(sd.query_devices())
        usual = sd.default.device[0]
        systems = [str(system["name"]) for system in sd.query_hostapis()]
    except sd.PortAudioError as error:
        raise DeviceError(f"the sound system fails ({error})", "Restart it.") from None
    return [
        Device(
            index=index,
            name=str(one["name"]),
            channels=int(one["max_input_channels"]),
            rate_hz=float(one["default_samplerate"]),
            system=systems[one["hostapi"]],
            usual=index == usual,
        )
        for index, one in enumerate(found)
        if one["max_input_channels"] > 0
    ]


def refreshed() -> None:
    """Make PortAudio look again at what is plugged in."""
    sd = sound_library()
    sd._terminate()
    sd._initialize()


def device_named(name: str | None) -> Device:
    """The input of that name, or with that in its name; the usual one without a name.

    Raises
    ------
    DeviceError
        None there, none of that name, or several.
    """
    devices = input_devices()
    if not devices:
        raise DeviceError("there is no sound input", "Plug the microphone or sensor in.")
    if not name:
        return next((device for device in devices if device.usual), devices[0])
    exact = [device for device in devices if device.name.casefold() == name.casefold()]
    fitting = exact or [device for device in devices if name.casefold() in device.name.casefold()]
    if len(fitting) == 1 or exact:
        return fitting[0]
    there = "; ".join(device.name for device in fitting or devices)
    what = "several inputs are" if fitting else "no input is"
    raise DeviceError(f"{what} called {name!r}", f"The inputs are: {there}.")
