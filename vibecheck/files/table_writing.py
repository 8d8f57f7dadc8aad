"""A machine written as a gear table, as short as it can be said and still read back alike."""

from __future__ import annotations

from vibecheck.files import table_bearings as bearings
from vibecheck.files import table_levers as levers
from vibecheck.files import table_parts as parts
from vibecheck.files.table_draft import gear_name, pair_title, when_text
from vibecheck.files.table_numbers import DIAMETER, LENGTH, RATIO, TEETH, write_known
from vibecheck.files.table_section import in_quotes as _text
from vibecheck.files.table_section import quoted
from vibecheck.machine.parts import (
    UNKNOWN,
    Bearing,
    Belt,
    Coupling,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Motor,
    Planetary,
    Supply,
    When,
)

Line = tuple[str, str]


def write_machine(machine: Machine) -> str:
    """A gear table (TOML) that reads back as the same machine, its parts perhaps reordered."""
    short = _Short(machine)
    blocks = [
        _lines(_head(machine)),
        _block("supply", _supply(machine.supply)),
        *([_block("motor", _motor(machine.motor))] if machine.motor else []),
        *(_belt_block(i, belt, machine) for i, belt in enumerate(machine.belts, start=1)),
        *(short.lever(g, "levers") for g in machine.groups),
        _block("feed", _feed(machine)),
        *(short.lever(g, "feed.levers") for g in machine.feed_groups),
        *(_block(_path("gears", g.name), _gear(g, machine)) for g in short.named_gears),
        *(_block("pairs", _pair(m), listed=True) for m in short.other_meshes),
        *(_block("couplings", _coupling(c), listed=True) for c in machine.couplings),
        *(_block(_path("planetary", s.name), _planetary(s)) for s in machine.planetaries),
        *(_block(_path("bearings", b.name), _bearing(b)) for b in machine.bearings),
        *(
            _block(
                _path("pumps", p.name),
                [("shaft", _text(p.shaft)), *_known("vanes", p.vanes, "counted")],
            )
            for p in machine.pumps
        ),
        _block("rides_on", [(quoted(k), _text(v)) for k, v in machine.rides_on.items()]),
        _block("chart_rpm", _chart(machine)),
    ]
    return "\n".join(block for block in blocks if block)


class _Short:
    """Sorts pairs into those a lever line says in short, and the others."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.uses: dict[str, int] = {}
        for mesh in machine.meshes:
            for name in (mesh.driver, mesh.driven):
                self.uses[name] = self.uses.get(name, 0) + 1
        self.between: dict[str, tuple[str, str]] = {}
        self.style: dict[str, str] = {}
        self.loose: dict[str, str] = {}
        self.said: dict[tuple[str, str], Mesh] = {}
        for group in (*machine.groups, *machine.feed_groups):
            for setting in group.settings:
                self._take(group.name, setting)
        taken = {id(mesh) for mesh in self.said.values()}
        self.other_meshes = [mesh for mesh in machine.meshes if id(mesh) not in taken]
        spoken = {n for mesh in self.said.values() for n in (mesh.driver, mesh.driven)}
        self.named_gears = [gear for gear in machine.gears if gear.name not in spoken]

    def _take(self, group: str, setting: str) -> None:
        here = [m for m in self.machine.meshes if dict(m.when) == {group: (setting,)}]
        if len(here) != 1:
            return
        mesh, where = here[0], group + setting
        driver, driven = self.machine.gear(mesh.driver), self.machine.gear(mesh.driven)
        side = "driver" if mesh.loose == driver.name else "driven"
        if not (self._plain(mesh, driver, driven, where) and driver.shaft != driven.shaft):
            return
        same = (
            self.between.get(group) in (None, (driver.shaft, driven.shaft))
            and self.style.get(group) in (None, mesh.style)
            and self.loose.get(group) in (None, side)
        )
        if same:
            self.between[group] = (driver.shaft, driven.shaft)
            self.style[group], self.loose[group] = mesh.style, side
            self.said[group, setting] = mesh

    def _plain(self, mesh: Mesh, driver: Gear, driven: Gear, where: str) -> bool:
        return (
            self.uses[driver.name] == self.uses[driven.name] == 1
            and driver.name == gear_name(driver.teeth, where, driver.shaft, "driving")
            and driven.name == gear_name(driven.teeth, where, driven.shaft, "driven")
            and mesh.called == pair_title(driver, driven, where)
            and mesh.ratio == UNKNOWN
            and not mesh.worm
            and not driver.known_by
            and not driven.known_by
            and _pair_text(driver.teeth, driven.teeth) is not None
            and (mesh.style == "dog clutch") == bool(mesh.loose)
            and mesh.loose in ("", driver.name, driven.name)
        )

    def lever(self, group: LeverGroup, section: str) -> str:
        shafts = self.between.get(group.name, ("", ""))
        lines: list[Line] = [("between", f"[{_text(shafts[0])}, {_text(shafts[1])}]")]
        if self.style.get(group.name, "sliding") != "sliding":
            lines.append(("style", _text(self.style[group.name])))
            if self.loose[group.name] != "driven":
                lines.append(("loose", _text(self.loose[group.name])))
        if group.name not in self.between:
            lines = []
        for setting in group.settings:
            mesh = self.said.get((group.name, setting))
            said = self._pair(mesh) if mesh else self._motor_speed(group.name, setting)
            lines.append((quoted(setting), said))
        return _block(_path(section, group.name), lines)

    def _motor_speed(self, group: str, setting: str) -> str:
        motor = self.machine.motor
        for speed in motor.speeds if motor else ():
            if dict(speed.when) == {group: (setting,)}:
                number, *how = write_known(speed.plate_rpm, "plate").strip('"').split()
                return _text(" ".join([number, "rpm", *how]))
        return _text("elsewhere")

    def _pair(self, mesh: Mesh) -> str:
        driver, driven = self.machine.gear(mesh.driver), self.machine.gear(mesh.driven)
        return _text(_pair_text(driver.teeth, driven.teeth) or "?/?")


def _pair_text(a: Known, b: Known) -> str | None:
    """ "22/62" or "22/20-25 guessed" where both are known in one way; None when they are not."""
    hows = {k.how for k in (a, b) if k.low is not None}
    texts = [_member(a), _member(b)]
    if len(hows) > 1 or None in texts:
        return None
    how = next(iter(hows), "counted")
    exact = [k.value is not None for k in (a, b) if k.low is not None]
    usual = "counted" if all(exact) else "guessed"
    if len(set(exact)) > 1:
        usual = ""
    tail = "" if how == usual else f" {how}"
    return f"{texts[0]}/{texts[1]}{tail}"


def _member(known: Known) -> str | None:
    if known.low is None or known.high is None:
        return "?"
    text = write_known(Known(low=known.low, high=known.high, how="guessed"), "guessed")
    return None if "{" in text else text.strip('"')


def _head(machine: Machine) -> list[Line]:
    lines = [("name", _text(machine.name))]
    if machine.description:
        lines.append(("description", _text(machine.description)))
    if machine.spindle != "spindle":
        lines.append(("spindle", _text(machine.spindle)))
    lines.append(("shafts", "[" + ", ".join(_text(s) for s in machine.shafts) + "]"))
    return lines


def _supply(supply: Supply) -> list[Line]:
    lines = [("mains_hz", _figure(supply.mains_hz)), ("kind", _text(supply.kind))]
    follows = supply.kind not in ("inverter", "direct current")
    usual = Known.exactly(supply.mains_hz, "plate") if follows else UNKNOWN
    if supply.hz != usual:
        lines.append(("hz", write_known(supply.hz, "plate")))
    return lines


def _motor(motor: Motor) -> list[Line]:
    lines = [
        ("poles", write_known(motor.poles, "plate")),
        ("plate_rpm", write_known(motor.plate_rpm, "plate")),
    ]
    return lines if motor.shaft == "motor" else [*lines, ("shaft", _text(motor.shaft))]


def _belt_block(number: int, belt: Belt, machine: Machine) -> str:
    alone = sum(other.name == belt.name for other in machine.belts) == 1
    key = belt.name if alone else f"{belt.name} step {number}"
    lines: list[Line] = [] if alone else [("name", _text(belt.name))]
    lines.append(("between", f"[{_text(belt.driver)}, {_text(belt.driven)}]"))
    if belt.toothed:
        lines += [
            ("driver_teeth", write_known(belt.driver_teeth, "counted")),
            ("driven_teeth", write_known(belt.driven_teeth, "counted")),
            *_known("belt_teeth", belt.belt_teeth, "counted"),
        ]
    else:
        lines += [
            ("driver_mm", write_known(belt.driver_mm, DIAMETER.how)),
            ("driven_mm", write_known(belt.driven_mm, DIAMETER.how)),
        ]
    lines += _known("length_mm", belt.length_mm, LENGTH.how)
    if belt.slip != levers.ORDINARY_SLIP:
        lines.append(("slip", write_known(belt.slip, levers.SLIP.how)))
    if belt.count != 1:
        lines.append(("count", str(belt.count)))
    return _block(_path("belts", key), [*lines, *_when(belt.when)])


def _feed(machine: Machine) -> list[Line]:
    feed = machine.feed
    return [
        *_known("rack_module_mm", feed.rack_module_mm, parts.MODULE.how),
        *_known("rack_pinion_teeth", feed.rack_pinion_teeth, TEETH.how),
        *_known("feed_rod_mm_per_turn", feed.feed_rod_mm_per_turn, LENGTH.how),
        *_known("leadscrew_pitch_mm", feed.leadscrew_pitch_mm, LENGTH.how),
    ]


def _gear(gear: Gear, machine: Machine) -> list[Line]:
    lines = [("shaft", _text(gear.shaft)), ("teeth", write_known(gear.teeth, "counted"))]
    if any(m.worm and gear.name in (m.driver, m.driven) for m in machine.meshes):
        lines.append(("worm", "true"))
    return [*lines, ("known_by", _text(gear.known_by))] if gear.known_by else lines


def _pair(mesh: Mesh) -> list[Line]:
    lines = [("driver", _text(mesh.driver)), ("driven", _text(mesh.driven)), *_when(mesh.when)]
    if mesh.style != ("sliding" if mesh.when else "fixed"):
        lines.append(("style", _text(mesh.style)))
    if mesh.loose != (mesh.driven if mesh.style == "dog clutch" else ""):
        lines.append(("loose", _text(mesh.loose)))
    if mesh.worm:
        lines.append(("worm", "true"))
    lines += _known("ratio", mesh.ratio, RATIO.how)
    return [*lines, ("called", _text(mesh.called))] if mesh.called else lines


def _coupling(coupling: Coupling) -> list[Line]:
    between = f"[{_text(coupling.driver)}, {_text(coupling.driven)}]"
    return [("between", between), *_when(coupling.when)]


def _planetary(stage: Planetary) -> list[Line]:
    return [
        ("between", f"[{_text(stage.input)}, {_text(stage.output)}]"),
        ("sun", write_known(stage.sun_teeth, "counted")),
        ("ring", write_known(stage.ring_teeth, "counted")),
        *_known("planet", stage.planet_teeth, "counted"),
        ("planets", str(stage.planets)),
        ("held", _text(stage.held)),
        ("input_member", _text(stage.input_member)),
        *_when(stage.when),
    ]


def _bearing(bearing: Bearing) -> list[Line]:
    lines = [("shaft", _text(bearing.shaft))]
    if bearing.kind != "unknown":
        lines.append(("kind", _text(bearing.kind)))
    lines += _known("elements", bearing.elements, bearings.ELEMENTS.how)
    for key in ("element_mm", "pitch_mm", "bore_mm", "outside_mm"):
        lines += _known(key, getattr(bearing, key), LENGTH.how)
    lines += _known("angle_deg", bearing.angle_deg, bearings.ANGLE.how)
    if bearing.multipliers:
        inside = ", ".join(f"{k} = {v!r}" for k, v in bearing.multipliers.items())
        lines.append(("orders", f"{{ {inside} }}"))
    return lines


def _chart(machine: Machine) -> list[Line]:
    return [(quoted(p.label), write_known(p.chart_rpm, "plate")) for p in machine.positions]


def _known(key: str, known: Known, how: str) -> list[Line]:
    return [] if known == UNKNOWN else [(key, write_known(known, how))]  # type: ignore[arg-type]


def _when(when: When) -> list[Line]:
    return [("when", _text(when_text(when)))] if when else []


def _figure(value: float) -> str:
    return str(int(value)) if value == int(value) else repr(value)


def _path(section: str, name: str) -> str:
    return f"{section}.{quoted(name)}"


def _lines(lines: list[Line]) -> str:
    return "".join(f"{key} = {value}\n" for key, value in lines)


def _block(path: str, lines: list[Line], listed: bool = False) -> str:
    if not lines:
        return ""
    head = f"[[{path}]]" if listed else f"[{path}]"
    return f"{head}\n{_lines(lines)}"
