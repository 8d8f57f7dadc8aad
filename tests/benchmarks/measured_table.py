"""What is said of every measured record, one row a file, as a table for the developers' notes.

    python tests/benchmarks/measured_table.py

One bearing's numbers, the stated speed, one set of settings for all, through the same hall as the
command line. "nothing known" is what is said of the same record with no number given at all.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import measured

from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.diagnosis.untabled.tones import NO_FAULT
from vibecheck.machine.parts import Bearing, Known
from vibecheck.machine.single import one_shaft
from vibecheck.pipeline import diagnose
from vibecheck.recording import Quantity, Recording, Take


@dataclass(frozen=True)
class Row:
    """One record: how to load it, which channel, which bearing, and the truth."""

    name: str
    truth: str
    bearing: measured.Bearing
    load: Callable[[], measured.Record]
    channel: str = ""
    quantity: Quantity = "acceleration"
    rpm: float = 1797.0


def _cwru(number: int, channel: str, truth: str) -> Row:
    bearing = measured.FAN_END if channel == "FE" else measured.DRIVE_END
    return Row(f"CWRU {number} {channel}", truth, bearing, lambda: measured.cwru(number), channel)


def _motor(part: str, truth: str) -> Row:
    return Row(
        f"motor, microphone: {part}",
        truth,
        measured.MOTOR,
        lambda: measured.motor_sound(part),
        quantity="pressure",
    )


ROWS = (
    _cwru(97, "DE", "sound"),
    _cwru(97, "FE", "sound"),
    _cwru(105, "DE", "inner race"),
    _cwru(3001, "DE", "inner race"),
    _cwru(279, "FE", "inner race"),
    _cwru(130, "DE", "outer race"),
    _cwru(158, "DE", "outer race"),
    _cwru(294, "FE", "outer race"),
    _cwru(119, "DE", "rolling element (not diagnosable)"),
    _cwru(3005, "DE", "rolling element (weak)"),
    *(
        Row(f"HIT {name}", truth, measured.HIT, lambda name=name: measured.hit(name))
        for name, truth in (("Normal", "sound"), ("IR2", "inner race"), ("OR2", "outer race"))
    ),
    *(
        Row(f"UESTC {name}", truth, measured.UESTC, lambda name=name: measured.uestc(name))
        for name, truth in (("I", "inner race"), ("O", "outer race"))
    ),
    *(
        Row(f"simulator {code} X", truth, measured.ADI, lambda code=code: measured.adi(code), "X")
        for code, truth in (
            ("GoB_GS_BaLo_WA", "sound, balanced"),
            ("GoB_GS_VLIL_WA", "unbalance, light"),
            ("GoB_GS_HImL_WA", "unbalance, heavy"),
            ("GoB_GS_VHIL_WA", "unbalance, very heavy"),
            ("GoB_GS_BaLo_MA", "misaligned"),
            ("HIR_GS_BaLo_WA", "inner race"),
            ("HOR_GS_BaLo_WA", "outer race"),
        )
    ),
    *(
        Row(f"gearbox {name} a1", truth, measured.ADI, lambda name=name: measured.gearbox(name))
        for name, truth in (
            ("h30hz0", "sound"),
            ("h30hz90", "sound"),
            ("b30hz0", "a broken tooth, which gear is not known"),
            ("b30hz90", "a broken tooth, which gear is not known"),
        )
    ),
    _motor("Healthy_Hi-Fi", "sound"),
    _motor("Healthy_NewBearingHi-Fi_7", "sound, after the repair"),
    _motor("UnbalancedRotor_4WeightsHi-Fi_04", "unbalance"),
    _motor("DamagedBearing_SevereHi-Fi_07", "bearing, which race is not known"),
)


def said(diagnosis: Diagnosis) -> str:
    """The best finding with its verdict, or that there is none."""
    worth = [f for f in diagnosis.findings if f.verdict != "not shown"]
    if not worth:
        return "nothing shown"
    best = worth[0]
    if best.fault == NO_FAULT:
        return best.verdict
    number = "" if best.verdict == "cannot tell" else f" ({100 * best.probability:.0f} %)"
    return f"{best.fault}: {best.verdict}{number}"


def main() -> None:
    """Print the table."""
    heads = ("record", "truth", "rpm stated", "rpm heard", "with one bearing", "nothing known")
    print("| " + " | ".join(heads) + " |")
    print("|---" * len(heads) + "|")
    for row in ROWS:
        record = row.load()
        samples = record[row.channel] if row.channel else record.first
        rpm = record.stated_rpm or row.rpm
        recording = Recording(
            samples=samples, rate_hz=record.rate_hz, name=row.name, quantity=row.quantity
        )
        bearing = Bearing(
            name="bearing",
            shaft="shaft",
            elements=Known.exactly(row.bearing.elements),
            element_mm=Known.exactly(row.bearing.ball),
            pitch_mm=Known.exactly(row.bearing.pitch),
            angle_deg=Known.exactly(0.0),
        )
        take = Take(recording=recording)
        known = diagnose(one_shaft(rpm, (bearing,)), [take])
        heard = known.takes[0].spindle_rpm
        print(
            f"| {row.name} | {row.truth} | {rpm:.0f} | {f'{heard:.1f}' if heard else '-'} "
            f"| {said(known)} | {said(diagnose(None, [take]))} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
