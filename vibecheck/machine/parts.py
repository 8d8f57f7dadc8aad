"""The parts of a drive, as a machinist would list them. No motion and no sound here.

Every number may be unknown or a range and says how it is known. Parts are joined by name; who
turns with whom follows from :mod:`vibecheck.machine.turning`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt
from typing import Literal

How = Literal["plate", "counted", "measured", "heard", "guessed", "unknown"]
When = Mapping[str, tuple[str, ...]]
"""Lever group -> the settings in which something holds; empty means always."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A number on a machine: a value, a range, or unknown, and how it is known.

    >>> Known.exactly(36).value
    36.0
    >>> Known.between(40, 60).value is None
    True
    """

    low: float | None = None
    high: float | None = None
    how: How = "unknown"

    @classmethod
    def exactly(cls, value: float, how: How = "counted") -> Known:
        """A number that is taken as it stands."""
        return cls(low=float(value), high=float(value), how=how)

    @classmethod
    def between(cls, low: float, high: float, how: How = "guessed") -> Known:
        """A number known to lie in a range."""
        return cls(low=float(low), high=float(high), how=how)

    @property
    def value(self) -> float | None:
        """The number, when it is one number."""
        return self.low if self.low is not None and self.low == self.high else None

    @property
    def middle(self) -> float | None:
        """Best single number: the value, or the geometric middle of the range."""
        if self.low is None or self.high is None:
            return None
        return self.low if self.low == self.high else sqrt(self.low * self.high)


UNKNOWN = Known()


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What feeds the motor: mains, a converter or an inverter drive."""

    hz: Known = UNKNOWN
    kind: Literal["single-phase", "three-phase", "converter", "inverter", "direct current"] = (
        "three-phase"
    )
    mains_hz: float = 50.0
    """Frequency of the building's mains, which lamps and transformers hum at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorSpeed:
    """One speed of a motor that has several, and the lever or switch setting that selects it."""

    plate_rpm: Known
    when: When = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """The motor; its rotor is the shaft named ``shaft``.

    ``plate_rpm`` holds for the mains frequency, whatever an inverter feeds it with. ``speeds``
    lists the speeds of a motor that is switched between several; it goes before ``plate_rpm``.
    """

    poles: Known = UNKNOWN
    plate_rpm: Known = UNKNOWN
    shaft: str = "motor"
    speeds: tuple[MotorSpeed, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Gear:
    """A gear (or toothed pulley, pinion, worm: anything with teeth or starts) on a shaft."""

    name: str
    shaft: str
    teeth: Known = UNKNOWN
    known_by: str = ""

    @property
    def label(self) -> str:
        """How a person points at it: "62T on III"."""
        teeth = self.teeth.value
        return f"{teeth:.0f}T on {self.shaft}" if teeth else self.name


MeshStyle = Literal["fixed", "sliding", "dog clutch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Two gears that meet.

    Attributes
    ----------
    driver, driven : str
        Gear names, in the direction the power flows.
    when : mapping
        Lever settings in which this pair drives.
    style : str
        "fixed": always meshed and driving; "sliding": apart unless ``when`` holds; "dog clutch":
        always meshed, driving only when ``when`` holds, else ``loose`` turns freely on its shaft.
    loose : str
        For "dog clutch": the gear that idles on its shaft when not clutched.
    ratio : Known
        Driven speed over driver speed when the teeth are not known but the ratio is.
    worm : bool
        Worm and wheel: the driver's ``teeth`` are its starts.
    called : str
        What a person calls the pair, "22/62 (B2)"; empty for "driver/driven".
    """

    driver: str
    driven: str
    when: When = field(default_factory=dict)
    style: MeshStyle = "fixed"
    loose: str = ""
    ratio: Known = UNKNOWN
    worm: bool = False
    called: str = ""

    @property
    def name(self) -> str:
        """The pair: what it is called, else "driver/driven"."""
        return self.called or f"{self.driver}/{self.driven}"


BeltStep = tuple[str, float | None, float | None]
"""A belt's name and both its pulleys (mm): one step of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Belt:
    """A belt between two shafts: V, flat (slips) or toothed (does not).

    One belt that is moved between pulley steps is one entry for each step, all of one name, whose
    ``when`` exclude each other.
    """

    name: str
    driver: str
    driven: str
    driver_mm: Known = UNKNOWN
    driven_mm: Known = UNKNOWN
    driver_teeth: Known = UNKNOWN
    driven_teeth: Known = UNKNOWN
    belt_teeth: Known = UNKNOWN
    length_mm: Known = UNKNOWN
    slip: Known = field(default_factory=lambda: Known.between(0.0, 0.03))
    toothed: bool = False
    count: int = 1
    when: When = field(default_factory=dict)

    @property
    def step(self) -> BeltStep:
        """What tells one step of a belt's pulleys from another: its name and both pulleys."""
        return self.name, self.driver_mm.middle, self.driven_mm.middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Coupling:
    """Two shafts turning as one: direct drive, a bull-gear pin, a clutch."""

    driver: str
    driven: str
    when: When = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Planetary:
    """A planetary stage with one member held."""

    name: str
    input: str
    output: str
    sun_teeth: Known
    ring_teeth: Known
    planet_teeth: Known = UNKNOWN
    planets: int = 3
    held: Literal["ring", "sun", "carrier"] = "ring"
    input_member: Literal["sun", "carrier", "ring"] = "sun"
    when: When = field(default_factory=dict)


BearingKind = Literal[
    "ball",
    "cylindrical roller",
    "tapered roller",
    "angular contact",
    "double row",
    "thrust",
    "plain",
    "unknown",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """A rolling (or plain) bearing at one place on one shaft.

    Known by geometry (``elements``, ``element_mm``, ``pitch_mm``, ``angle_deg``), by published
    ``multipliers`` (outer, inner, roller spin, cage orders of its shaft), by ``bore_mm``,
    ``outside_mm`` and perhaps ``elements``, or not at all.
    """

    name: str
    shaft: str
    kind: BearingKind = "unknown"
    elements: Known = UNKNOWN
    element_mm: Known = UNKNOWN
    pitch_mm: Known = UNKNOWN
    angle_deg: Known = UNKNOWN
    bore_mm: Known = UNKNOWN
    outside_mm: Known = UNKNOWN
    multipliers: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """An oil or coolant pump; ``vanes`` pulses a turn."""

    name: str
    shaft: str
    vanes: Known = UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedTrain:
    """What the carriage rides on; lengths at the carriage, millimetres."""

    rack_module_mm: Known = UNKNOWN
    rack_pinion_teeth: Known = UNKNOWN
    feed_rod_mm_per_turn: Known = UNKNOWN
    leadscrew_pitch_mm: Known = UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class LeverGroup:
    """One lever and the settings it has, in chart order."""

    name: str
    settings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """One line of the speed chart: where each lever stands, and the rpm the chart promises."""

    levers: Mapping[str, str]
    chart_rpm: Known = UNKNOWN

    @property
    def label(self) -> str:
        """ "A3 B2 CL": how the position is written everywhere, file names included."""
        return " ".join(f"{group}{setting}" for group, setting in self.levers.items())

    def fits(self, when: When) -> bool:
        """Whether something that needs ``when`` holds here."""
        return all(self.levers.get(group) in allowed for group, allowed in when.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine as its owner described it. Checked by whoever builds it (the gear table).

    ``groups`` are the levers of the speed chart. ``feed_groups`` are levers that no chart line
    mentions (tumbler, quick-change box): at rest unless a position names them. ``rides_on`` says
    which rotor turns on which other one (a cone on the spindle).
    """

    name: str
    description: str = ""
    supply: Supply = field(default_factory=Supply)
    motor: Motor | None = None
    shafts: tuple[str, ...] = ()
    spindle: str = "spindle"
    gears: tuple[Gear, ...] = ()
    meshes: tuple[Mesh, ...] = ()
    belts: tuple[Belt, ...] = ()
    couplings: tuple[Coupling, ...] = ()
    planetaries: tuple[Planetary, ...] = ()
    bearings: tuple[Bearing, ...] = ()
    pumps: tuple[Pump, ...] = ()
    feed: FeedTrain = field(default_factory=FeedTrain)
    groups: tuple[LeverGroup, ...] = ()
    positions: tuple[Position, ...] = ()
    feed_groups: tuple[LeverGroup, ...] = ()
    rides_on: Mapping[str, str] = field(default_factory=dict)

    def gear(self, name: str) -> Gear:
        """The gear of that name; KeyError when there is none."""
        for gear in self.gears:
            if gear.name == name:
                return gear
        raise KeyError(name)

    def position(self, label: str) -> Position:
        """The position of that label; KeyError when there is none."""
        for position in self.positions:
            if position.label == label:
                return position
        raise KeyError(label)
