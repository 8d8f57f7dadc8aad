"""The machine as it grows while its table is read."""

from __future__ import annotations

from dataclasses import dataclass, field

from vibecheck.files.table_numbers import Unreadable
from vibecheck.files.table_section import Notes, nearest
from vibecheck.machine.parts import Belt, Coupling, Gear, Known, LeverGroup, Mesh, MotorSpeed, When


@dataclass(kw_only=True)
class Draft:
    """Parts found so far, in the order of the file."""

    notes: Notes
    groups: list[LeverGroup] = field(default_factory=list)
    feed_groups: list[LeverGroup] = field(default_factory=list)
    shafts: list[str] = field(default_factory=list)
    gears: dict[str, Gear] = field(default_factory=dict)
    meshes: list[Mesh] = field(default_factory=list)
    belts: list[Belt] = field(default_factory=list)
    couplings: list[Coupling] = field(default_factory=list)
    motor_speeds: list[MotorSpeed] = field(default_factory=list)

    def shaft(self, name: str) -> str:
        """The name itself, noted as a shaft of this machine."""
        if name not in self.shafts:
            self.shafts.append(name)
        return name

    def add_gear(self, teeth: Known, where: str, shaft: str, side: str) -> Gear:
        """A gear named as a person would point at it, "62T (B2, III)", never twice the same."""
        name = gear_name(teeth, where, self.shaft(shaft), side)
        number = 2
        while name in self.gears:
            name = f"{gear_name(teeth, where, shaft, side)} no. {number}"
            number += 1
        self.gears[name] = Gear(name=name, shaft=shaft, teeth=teeth)
        return self.gears[name]

    def pair_name(self, driver: Gear, driven: Gear, where: str) -> str:
        """ "22/62 (B2)", never twice the same."""
        first = name = pair_title(driver, driven, where)
        number = 2
        while any(mesh.called == name for mesh in self.meshes):
            name = f"{first} no. {number}"
            number += 1
        return name

    @property
    def levers(self) -> tuple[LeverGroup, ...]:
        """Every lever there is, those of the feed included."""
        return (*self.groups, *self.feed_groups)


def teeth_text(teeth: Known) -> str:
    """ "62", "60-64" or "?"."""
    if teeth.low is None or teeth.high is None:
        return "?"
    return f"{teeth.low:g}" if teeth.low == teeth.high else f"{teeth.low:g}-{teeth.high:g}"


def gear_name(teeth: Known, where: str, shaft: str, side: str) -> str:
    """What a machinist would call a gear: teeth, lever setting, shaft.

    >>> gear_name(Known.exactly(62), "B2", "III", "driven")
    '62T (B2, III)'
    >>> gear_name(Known(), "B2", "III", "driven")
    'driven gear (B2, III)'
    """
    place = f"{where}, {shaft}" if where else shaft
    head = f"{side} gear" if teeth.low is None else f"{teeth_text(teeth)}T"
    return f"{head} ({place})"


def pair_title(driver: Gear, driven: Gear, where: str) -> str:
    """What a machinist would call a pair: teeth over teeth, and where."""
    place = where or f"{driver.shaft} to {driven.shaft}"
    return f"{teeth_text(driver.teeth)}/{teeth_text(driven.teeth)} ({place})"


def when_text(when: When) -> str:
    """A condition as it is written in a table: "A1 A2 CL".

    >>> when_text({"A": ("1", "2"), "C": ("L",)})
    'A1 A2 CL'
    """
    return " ".join(f"{g}{s}" for g, settings in when.items() for s in settings)


def read_when(text: str, levers: tuple[LeverGroup, ...]) -> dict[str, tuple[str, ...]]:
    """The condition written as lever settings side by side; several of one lever are "or"."""
    found: dict[str, tuple[str, ...]] = {}
    for word in text.split():
        group, setting = lever_setting(word, levers)
        if setting not in found.get(group, ()):
            found[group] = (*found.get(group, ()), setting)
    return found


def lever_setting(word: str, levers: tuple[LeverGroup, ...]) -> tuple[str, str]:
    """Lever and setting of one word such as "B2"."""
    for lever in levers:
        for setting in lever.settings:
            if word == lever.name + setting:
                return lever.name, setting
    every = [lever.name + setting for lever in levers for setting in lever.settings]
    raise Unreadable(f'no lever has the setting "{word}"', nearest(word, every))
