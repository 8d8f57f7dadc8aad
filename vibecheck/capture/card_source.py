"""A PortAudio input as a source of blocks."""

from __future__ import annotations

from typing import Any

from vibecheck.capture.devices import Device, sound_library
from vibecheck.capture.sound_card import Deliver
from vibecheck.capture.wave_stream import SampleFormat
from vibecheck.errors import DeviceError


class CardSource:
    """A PortAudio input as a source."""

    def __init__(
        self, device: Device, rate_hz: int, channels: int, sample_format: SampleFormat
    ) -> None:
        self._sd = sound_library()
        self._device, self._rate_hz = device, rate_hz
        self._channels, self._format = channels, sample_format
        self._stream: Any = None
        self._ended = False

    def start(self, deliver: Deliver) -> None:
        """Open the device and begin."""

        def callback(data: Any, frames: int, times: Any, status: Any) -> None:
            deliver(bytes(data), bool(status.input_overflow))

        def finished() -> None:
            self._ended = True

        try:
            self._stream = self._sd.RawInputStream(
                samplerate=self._rate_hz,
                device=self._device.index,
                channels=self._channels,
                dtype=self._format,
                callback=callback,
                finished_callback=finished,
            )
            self._stream.start()
        except (self._sd.PortAudioError, ValueError) as error:
            raise DeviceError(
                f"it cannot record {self._channels} channel(s) of {self._format} at "
                f"{self._rate_hz} Hz ({error})",
                "Try another rate (--rate), format (--format) or device (--device).",
                self._device.name,
            ) from None

    def alive(self) -> bool:
        """Whether the device is still there."""
        return self._stream is not None and not self._ended and bool(self._stream.active)

    def close(self) -> None:
        """Let the device go; a vanished one may refuse, which changes nothing."""
        if self._stream is not None:
            try:
                self._stream.close(ignore_errors=True)
            except self._sd.PortAudioError:
                return
