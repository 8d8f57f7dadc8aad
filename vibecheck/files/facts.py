"""What a file is, before anyone believes it: coding, losses, bit rate, length."""

from __future__ import annotations

from dataclasses import dataclass

LOSSY_TOPS = ((96_000.0, 15_000.0), (48_000.0, 10_000.0), (20_000.0, 6_000.0), (0.0, 3_400.0))
"""Bits a second per channel at least -> frequency below which lossy sound may be believed, Hz.
Common practice of sound coding, from memory; coders differ, so the figures are cautious."""

LOSSY_WORDS = {
    "VORBIS": "Vorbis",
    "OPUS": "Opus",
    "MPEG_LAYER_I": "MPEG layer 1",
    "MPEG_LAYER_II": "MPEG layer 2",
    "MPEG_LAYER_III": "MP3",
    "ULAW": "mu-law, 8 bit",
    "ALAW": "A-law, 8 bit",
    "IMA_ADPCM": "4-bit ADPCM",
    "MS_ADPCM": "4-bit ADPCM",
    "GSM610": "GSM 6.10",
    "G721_32": "G.721",
    "NMS_ADPCM_16": "2-bit ADPCM",
    "NMS_ADPCM_24": "3-bit ADPCM",
    "NMS_ADPCM_32": "4-bit ADPCM",
}
BITS = {
    "PCM_S8": 8,
    "PCM_U8": 8,
    "PCM_16": 16,
    "PCM_24": 24,
    "PCM_32": 32,
    "FLOAT": 32,
    "DOUBLE": 64,
    "ALAC_16": 16,
    "ALAC_20": 20,
    "ALAC_24": 24,
    "ALAC_32": 32,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFacts:
    """What a file says and shows about itself.

    Attributes
    ----------
    container, codec : str
        How the samples are wrapped and coded, in words.
    lossy : bool
        Whether coding threw some of the sound away.
    bits : int
        Bits a sample, 0 where the coding has no such number.
    bits_per_second : float
        From the bytes on disk over the length.
    processing : tuple of str
        Processing known to have been on while recording ("automatic gain" ...).
    notes : tuple of str
        Anything else found worth saying.
    """

    container: str
    codec: str
    lossy: bool
    rate_hz: float
    channels: int
    seconds: float
    bits: int = 0
    bits_per_second: float = 0.0
    processing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """One line for a person."""
        loss = "lossy" if self.lossy else "lossless"
        depth = f", {self.bits} bit" if self.bits else ""
        return (
            f"{self.container}, {self.codec} ({loss}){depth}, {self.rate_hz:g} Hz, "
            f"{self.channels} channel(s), {self.seconds:.1f} s, "
            f"{self.bits_per_second / 1000:.0f} kbit/s"
        )

    @property
    def step(self) -> float:
        """Size of one quantising step as a fraction of full scale, 0 when there is none."""
        return 2.0 ** (1 - self.bits) if 0 < self.bits <= 24 else 0.0

    @property
    def lossy_top_hz(self) -> float:
        """Frequency below which lossy coding leaves tones in place, 0 when nothing was lost.

        >>> FileFacts(container="OGG", codec="Opus", lossy=True, rate_hz=48000.0, channels=1,
        ...           seconds=1.0, bits_per_second=24000.0).lossy_top_hz
        6000.0
        """
        if not self.lossy:
            return 0.0
        each = self.bits_per_second / max(self.channels, 1)
        return next(top for least, top in LOSSY_TOPS if each >= least)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why levels or bands from this file are limited, in words."""
        found = []
        if self.lossy:
            found.append(
                f"lossy coding ({self.codec}, {self.bits_per_second / 1000:.0f} kbit/s): tones "
                f"below {self.lossy_top_hz:.0f} Hz may be believed, levels may not"
            )
        if self.bits == 8:
            found.append("8-bit samples: quiet tones are lost in the quantising steps")
        found += [
            f"{what} was on while recording: levels may not be compared" for what in self.processing
        ]
        return (*found, *self.notes)
