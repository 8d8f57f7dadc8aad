"""Which traces each fault of each part would raise over the same machine when sound."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.since.levels import STRANGE, Trace
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.sizes import (
    ALWAYS_MEETS,
    BELT,
    BUZZ_SHARE,
    BUZZES,
    CARRIED,
    COMES_ROUND,
    COMES_SHARE,
    GEAR_LOOSE,
    HUMS,
    LOOSE,
    MEETS_SHARE,
    RATTLES_AT_WORK,
    STIRRED,
    STRIKES,
    SWELLS_TOO,
    TONE,
    TOOTH_SIZES,
    TURNS_BY,
    WAYS_OF_SHAFTS,
    WEARS,
    WEARS_SHARE,
    WORN_SIZES,
    Size,
)
from vibecheck.diagnosis.suspects.rolling import ELEMENT_FAULT
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing, Machine

NOT_KNOWN = "bearing worn, race not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """One fault of one part, or of several that sound the same: the traces that it raises.

    ``rotor`` is what it turns with ("" for what does not turn), ``element`` the family of a
    bearing; ``share`` its share of the prior of several that are one thing at different places.
    """

    parts: tuple[str, ...]
    part_kind: str
    fault: str
    rotor: str = ""
    element: str = ""
    raises: Mapping[Trace, Size] = field(default_factory=dict)
    share: float = 1.0

    @property
    def prior(self) -> float:
        """Prior odds."""
        return self.share * fault(self.fault).prior

    @property
    def only_heaves(self) -> bool:
        """Whether it is a loose part that pushes once a turn, as one out of balance does."""
        must = {what for (what, _), size in self.raises.items() if size.sure}
        return self.fault == LOOSE and must == {"once"}


AT_GEARS: Mapping[str, tuple[str, ...]] = {
    "knock": ("blow", "rest"),
    "once": ("once at work",),
    "halves": ("halves at work",),
    "many": ("many at work",),
}
"""What is read of a shaft, and the same at the positions where a gear of it works or rests."""
FAILS_THERE = 0.1
"""How often what a shaft must raise is not heard over some of the positions (judgement)."""
READ_AGAIN_DB = 3.5
"""What a fault need not raise is looked for there only where it has risen by this."""
ANY_ORDER = 0.3
"""What is sought at thousands of orders is worth less than what is sought at one (judgement)."""
CHANCE_MEETING = 0.07
"""How often a bearing of unknown numbers strikes by chance just where some known one would."""


def signatures(
    machine: Machine,
    traces: Mapping[Trace, Rise],
    coupled: Mapping[str, Collection[str]],
    steps: Sequence[Sequence[str]],
    in_step: Mapping[str, Collection[str]],
    explained: Collection[Trace] = (),
) -> list[Signature]:
    """Every fault that some trace would tell of.

    Parameters
    ----------
    machine : Machine
    traces : mapping of Trace to Rise
        Those that both sweeps have.
    coupled : mapping of str to collection of str
        Rotors that turn alike at every position recorded, by the name of each.
    steps : sequence of sequence of str
        Names of the belts, all steps of one together.
    in_step : mapping of str to collection of str
        Rotors whose speeds keep one ratio over all takes, but for what belts slip.
    explained : collection of Trace
        Of bearings of unknown numbers, that a known one explains as well.
    """
    found = [
        *_of_shafts(machine, coupled, traces),
        *_of_gears(machine, traces),
        *_of_bearings(machine, traces),
        *_of_unknown(machine, in_step, explained),
        *(_of_belt(names) for names in steps),
        *(alone("pump pulsation", "pump", p.name, "vane", rotor=p.shaft) for p in machine.pumps),
        *_of_mains(),
    ]
    return [each for each in found if all(t in traces for t, s in each.raises.items() if s.sure)]


def _of_shafts(
    machine: Machine, coupled: Mapping[str, Collection[str]], traces: Mapping[Trace, Rise]
) -> Iterator[Signature]:
    shafts = [name for name in machine.shafts if name in coupled]
    done: set[str] = set()
    for shaft in dict.fromkeys(shafts):
        if shaft in done:
            continue
        alike = [shaft, *(name for name in shafts if name != shaft and name in coupled[shaft])]
        done.update(alike)
        for name, sizes, share in WAYS_OF_SHAFTS:
            yield Signature(
                parts=tuple(dict.fromkeys(alike)),
                part_kind="shaft",
                fault=name,
                rotor=shaft,
                raises={
                    **{(what, shaft): size for what, size in sizes.items()},
                    **_at_gears(machine, alike, sizes, traces),
                },
                share=share,
            )


def _at_gears(
    machine: Machine,
    shafts: Collection[str],
    sizes: Mapping[str, Size],
    traces: Mapping[Trace, Rise],
) -> dict[Trace, Size]:
    """What a shaft raises, or has raised, as it is read where each of its gears works or rests."""
    turning = [gear.name for gear in machine.gears if gear.shaft in shafts]
    return {
        (there, gear): replace(size, sure=False, fails=FAILS_THERE if size.sure else size.fails)
        for what, size in sizes.items()
        if size.sure
        or any((what, s) in traces and traces[what, s].db >= READ_AGAIN_DB for s in shafts)
        for there in AT_GEARS.get(what, ())
        for gear in turning
        if (there, gear) in traces and ("knock", gear) not in traces
    }


def _of_gears(machine: Machine, traces: Mapping[Trace, Rise]) -> Iterator[Signature]:
    for gear in machine.gears:
        for name, sizes in (
            ("broken or damaged tooth", TOOTH_SIZES),
            ("eccentric or worn gear", WORN_SIZES),
        ):
            yield Signature(
                parts=(gear.name,),
                part_kind="gear",
                fault=name,
                rotor=gear.shaft,
                raises={(what, gear.name): size for what, size in sizes.items()},
            )
        rotor = gear.name if ("knock", gear.name) in traces else gear.shaft
        if ("rest", gear.name) not in traces:
            yield Signature(
                parts=(gear.name,),
                part_kind="gear",
                fault="broken or damaged tooth",
                rotor=gear.shaft,
                raises={
                    **{(what, rotor): size for what, size in ALWAYS_MEETS.items()},
                    **_at_gears(machine, [gear.shaft], ALWAYS_MEETS, traces),
                    ("sides", gear.name): TOOTH_SIZES["sides"],
                },
                share=MEETS_SHARE,
            )
        yield Signature(
            parts=(gear.name,),
            part_kind="gear",
            fault=LOOSE,
            rotor=gear.shaft,
            raises={(what, gear.name): size for what, size in RATTLES_AT_WORK.items()},
            share=GEAR_LOOSE,
        )
    for mesh in machine.meshes:
        for name in (mesh.driver, mesh.driven):
            yield Signature(
                parts=(name,),
                part_kind="gear",
                fault="eccentric or worn gear",
                rotor=machine.gear(name).shaft,
                raises={("mesh", mesh.name): WEARS, ("sides", name): SWELLS_TOO},
                share=WEARS_SHARE,
            )


def _of_bearings(machine: Machine, traces: Mapping[Trace, Rise]) -> Iterator[Signature]:
    for bearing in machine.bearings:
        for element, name in ELEMENT_FAULT.items():
            yield Signature(
                parts=(bearing.name,),
                part_kind="bearing",
                fault=name,
                rotor=bearing.shaft,
                element=element,
                raises={
                    (element, bearing.name): STRIKES,
                    **_beside(element, bearing.name),
                    **(_turned_by(machine, bearing, traces) if element == "inner" else {}),
                },
            )
        yield Signature(
            parts=(bearing.name,),
            part_kind="bearing",
            fault=ELEMENT_FAULT["roller"],
            rotor=bearing.shaft,
            element="roller",
            raises={("cage", bearing.name): COMES_ROUND, ("roller", bearing.name): STIRRED},
            share=COMES_SHARE,
        )


def _turned_by(
    machine: Machine, bearing: Bearing, traces: Mapping[Trace, Rise]
) -> dict[Trace, Size]:
    """An inner race's knock once a turn, and the same as it is read where gears work or rest."""
    sizes = {"knock": TURNS_BY}
    here = {("knock", bearing.shaft): TURNS_BY}
    return here | _at_gears(machine, [bearing.shaft], sizes, traces)


def _beside(element: str, bearing: str) -> dict[Trace, Size]:
    """What a bad ball or roller, or a cage, raises besides its own."""
    if element == "roller":
        return {("cage", bearing): CARRIED}
    return {("roller", bearing): STIRRED} if element == "cage" else {}


def _of_unknown(
    machine: Machine, in_step: Mapping[str, Collection[str]], explained: Collection[Trace]
) -> Iterator[Signature]:
    unknown = [b for b in machine.bearings if orders_of(b) is None and b.kind != "plain"]
    for shaft in dict.fromkeys(bearing.shaft for bearing in unknown):
        yield Signature(
            parts=(
                *(bearing.name for bearing in unknown if bearing.shaft == shaft),
                *(
                    b.name
                    for b in unknown
                    if b.shaft != shaft and b.shaft in in_step.get(shaft, ())
                ),
            ),
            part_kind="bearing",
            fault=NOT_KNOWN,
            rotor=shaft,
            raises={(STRANGE, shaft): STRIKES},
            share=CHANCE_MEETING if (STRANGE, shaft) in explained else ANY_ORDER,
        )


def _of_belt(names: Sequence[str]) -> Signature:
    return Signature(
        parts=tuple(names),
        part_kind="belt",
        fault="lumpy or set belt",
        raises={("belt", names[0]): BELT},
    )


def _of_mains() -> Iterator[Signature]:
    """A hum, or the buzz of its multiples beside one that was always there."""
    for sizes, share in ((HUMS, 1.0 - BUZZ_SHARE), (BUZZES, BUZZ_SHARE)):
        yield Signature(
            parts=("mains",),
            part_kind="mains",
            fault="mains hum",
            raises={(what, "mains"): size for what, size in sizes.items()},
            share=share,
        )


def alone(
    name: str, kind: str, part: str, what: str, rotor: str = "", trace: str = ""
) -> Signature:
    """A fault that one trace tells of, its part's unless another is named."""
    raises = {(what, trace or part): TONE}
    return Signature(parts=(part,), part_kind=kind, fault=name, rotor=rotor, raises=raises)
