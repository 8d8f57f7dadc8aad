"""Everything in a gear table that is not a lever: motor, belts, named gears, bearings, pumps."""

from __future__ import annotations

from typing import Any, get_args

from vibecheck.files.table_draft import Draft, read_when
from vibecheck.files.table_levers import ORDINARY_SLIP, PLATE_RPM, SLIP, read_between
from vibecheck.files.table_numbers import (
    DIAMETER,
    LENGTH,
    RATIO,
    STARTS,
    TEETH,
    Rule,
    Unreadable,
)
from vibecheck.files.table_pairs import LOOSE, Joint, add_train, read_pulleys, read_teeth_pair
from vibecheck.files.table_section import Section, nearest
from vibecheck.machine.parts import (
    Belt,
    Coupling,
    FeedTrain,
    Gear,
    Known,
    Mesh,
    MeshStyle,
    Motor,
    Planetary,
    Pump,
    Supply,
    When,
)

POLES = Rule(what="motor poles", low=2, high=24, whole=True, how="plate")
SUPPLY_HZ = Rule(what="a supply frequency", low=5, high=400, unit="Hz", how="plate")
MODULE = Rule(what="a module", low=0.1, high=50, unit="mm")
VANES = Rule(what="vanes", low=1, high=100, whole=True, how="counted")
SUPPLIES = ("single-phase", "three-phase", "converter", "inverter", "direct current")
MEMBERS: tuple[Any, ...] = ("ring", "sun", "carrier")


def read_supply(section: Section, motor: Section) -> Supply:
    """The supply; mains frequency worked out from the motor plate when it is not given."""
    kind: Any = section.text("kind", "three-phase", SUPPLIES)
    mains = section.known("mains_hz", SUPPLY_HZ).value
    fed = section.known("hz", SUPPLY_HZ)
    section.close()
    if mains is None:
        mains = _mains_from_plate(motor)
        why = "from the motor plate" if mains else "as nothing says otherwise"
        mains = mains or 50.0
        section.notes.remark(
            f"mains frequency not given: {mains:g} Hz taken, {why}. "
            f"Put mains_hz = {mains:g} under [supply] if that is right."
        )
    if fed.low is None and kind not in ("inverter", "direct current"):
        fed = Known.exactly(mains, "plate")
    return Supply(kind=kind, mains_hz=mains, hz=fed)


def _mains_from_plate(motor: Section) -> float | None:
    poles, rpm = motor.values.get("poles"), motor.values.get("plate_rpm")
    if not isinstance(poles, int) or not isinstance(rpm, int | float):
        return None
    synchronous = poles * rpm / 120.0
    return next((f for f in (50.0, 60.0) if 0.9 * f <= synchronous <= f), None)


def read_motor(section: Section) -> Motor | None:
    """The motor; None when the table has none."""
    if not section.values:
        return None
    motor = Motor(
        poles=section.known("poles", POLES),
        plate_rpm=section.known("plate_rpm", PLATE_RPM),
        shaft=section.text("shaft", "motor"),
    )
    section.close()
    poles = motor.poles.value
    if poles and poles % 2:
        section.fault("poles", f"{poles:g} poles; poles come in pairs", "Give 2, 4, 6 or 8.")
    return motor


def read_gears(draft: Draft, sections: list[tuple[str, Section]]) -> None:
    """Gears that have a name of their own, because several pairs or remarks point at them."""
    for name, section in sections:
        if "/" in name or not name or name.replace(".", "").isdigit():
            section.fault("", f'"{name}" cannot name a gear', "Use a word without a stroke.")
        shaft = section.text("shaft")
        if not shaft:
            section.fault("shaft", "missing", "Say which shaft the gear sits on.")
        draft.gears[name] = Gear(
            name=name,
            shaft=shaft or "I",
            teeth=section.known("teeth", STARTS if section.flag("worm") else TEETH),
            known_by=section.text("known_by"),
        )
        section.close()


def condition(draft: Draft, section: Section) -> When:
    """The lever settings in which a part works; empty for always."""
    try:
        return read_when(section.text("when"), draft.levers)
    except Unreadable as problem:
        section.fault("when", problem.found, problem.remedy)
        return {}


def read_pairs(draft: Draft, sections: list[Section]) -> None:
    """Pairs that no lever line describes: always in mesh, tumblers, change gears, worms."""
    for section in sections:
        when = condition(draft, section)
        style: Any = section.text("style", "sliding" if when else "fixed", get_args(MeshStyle))
        worm, ratio = section.flag("worm"), section.known("ratio", RATIO)
        if "driver" in section.values or "driven" in section.values:
            _named_pair(draft, section, when, style, worm, ratio)
        else:
            _counted_pair(draft, section, when, style, worm, ratio)
        section.close()


def _named_pair(
    draft: Draft, section: Section, when: When, style: MeshStyle, worm: bool, ratio: Known
) -> None:
    names = section.text("driver"), section.text("driven")
    for key, name in zip(("driver", "driven"), names, strict=True):
        if name not in draft.gears:
            section.fault(key, f'no gear is called "{name}"', nearest(name, draft.gears))
    loose = section.text("loose", names[1] if style == "dog clutch" else "")
    if loose and loose not in names:
        section.fault("loose", f'"{loose}" is not one of the pair', nearest(loose, names))
    called = section.text("called")
    if all(name in draft.gears for name in names):
        if called == "":
            gears = [draft.gears[name] for name in names]
            called = draft.pair_name(gears[0], gears[1], section.values.get("when", ""))
        mesh = Mesh(
            driver=names[0],
            driven=names[1],
            when=when,
            style=style,
            loose=loose,
            worm=worm,
            ratio=ratio,
            called=called,
        )
        draft.meshes.append(mesh)


def _counted_pair(
    draft: Draft, section: Section, when: When, style: MeshStyle, worm: bool, ratio: Known
) -> None:
    start, end = read_between(draft, section, None)
    raw = section.raw("pair")
    joint = Joint(
        start=start,
        end=end,
        where=section.text("name", section.values.get("when", "")),
        when=when,
        style=style,
        loose=section.text("loose", "driven", LOOSE),
        worm=worm,
        ratio=ratio,
    )
    try:
        add_train(draft, "?/?" if raw is None and ratio.low is not None else raw, joint)
    except Unreadable as problem:
        section.fault("pair", problem.found, problem.remedy)


def read_belts(draft: Draft, sections: list[tuple[str, Section]], first_shaft: str) -> None:
    """Belts that stay on their pulleys; the ordinary one runs from the motor to shaft I."""
    for key, section in sections:
        start, end = read_between(draft, section, ["motor", first_shaft])
        pulleys = _pair_of(section, "pulleys", read_pulleys)
        teeth = _pair_of(section, "teeth", read_teeth_pair)
        each_mm = [section.known(f"{end}_mm", DIAMETER) for end in ("driver", "driven")]
        each_teeth = [section.known(f"{end}_teeth", TEETH) for end in ("driver", "driven")]
        toothed = teeth is not None or "driver_teeth" in section.values
        _check_belt_ends(section)
        mm, counts = pulleys or each_mm, teeth or each_teeth
        belt = Belt(
            name=section.text("name", key),
            driver=start,
            driven=end,
            driver_mm=mm[0],
            driven_mm=mm[1],
            driver_teeth=counts[0],
            driven_teeth=counts[1],
            belt_teeth=section.known("belt_teeth", TEETH),
            length_mm=section.known("length_mm", LENGTH),
            slip=section.known("slip", SLIP, ORDINARY_SLIP),
            toothed=toothed,
            count=section.count("count", 1),
            when=condition(draft, section),
        )
        section.close()
        draft.belts.append(belt)


def _check_belt_ends(section: Section) -> None:
    smooth = [k for k in ("pulleys", "driver_mm", "driven_mm") if k in section.values]
    toothed = [k for k in ("teeth", "driver_teeth", "driven_teeth") if k in section.values]
    if smooth and toothed:
        section.fault(
            toothed[0],
            f"given together with {smooth[0]}",
            "Give teeth for a toothed belt, diameters for any other.",
        )
    elif not smooth and not toothed:
        section.fault(
            "pulleys",
            "missing",
            'Write pulleys = "85/170 mm", or teeth = "26/48"; "?/?" will do.',
        )


def _pair_of(section: Section, key: str, read: Any) -> tuple[Known, Known] | None:
    text = section.text(key)
    if not text:
        return None
    try:
        found: tuple[Known, Known] = read(text)
        return found
    except Unreadable as problem:
        section.fault(key, problem.found, problem.remedy)
        return None


def read_couplings(draft: Draft, sections: list[Section]) -> None:
    """Shafts that turn as one."""
    for section in sections:
        start, end = read_between(draft, section, None)
        draft.couplings.append(Coupling(driver=start, driven=end, when=condition(draft, section)))
        section.close()


def read_planetaries(draft: Draft, sections: list[tuple[str, Section]]) -> list[Planetary]:
    """Planetary stages with one member held."""
    found = []
    for name, section in sections:
        start, end = read_between(draft, section, None)
        held: Any = section.text("held", "ring", MEMBERS)
        input_member: Any = section.text("input_member", "sun", MEMBERS)
        if held == input_member:
            section.fault("held", f"the {held} is both held and driven", "Hold another member.")
            held = "ring" if input_member != "ring" else "sun"
        stage = Planetary(
            name=name,
            input=start,
            output=end,
            sun_teeth=section.known("sun", TEETH),
            ring_teeth=section.known("ring", TEETH),
            planet_teeth=section.known("planet", TEETH),
            planets=section.count("planets", 3),
            held=held,
            input_member=input_member,
            when=condition(draft, section),
        )
        section.close()
        _check_planets(section, stage)
        found.append(stage)
    return found


def _check_planets(section: Section, stage: Planetary) -> None:
    sun, ring, planet = stage.sun_teeth.value, stage.ring_teeth.value, stage.planet_teeth.value
    if sun and ring and ring <= sun:
        section.fault("ring", f"{ring:g} teeth, not more than the sun's {sun:g}", "Count again.")
    elif sun and ring and (sun + ring) % stage.planets:
        section.notes.remark(
            f"{section.path}: sun and ring add to {sun + ring:g}, which {stage.planets} evenly "
            "spaced planets do not divide; count again, or they stand unevenly."
        )
    elif sun and ring and planet and abs(sun + 2 * planet - ring) > 2:
        section.notes.remark(
            f"{section.path}: sun + 2 x planet is {sun + 2 * planet:g}, the ring has {ring:g}; "
            "they are usually equal, give or take one."
        )


def read_pumps(sections: list[tuple[str, Section]]) -> list[Pump]:
    """Oil and coolant pumps."""
    found = []
    for name, section in sections:
        shaft = section.text("shaft")
        if not shaft:
            section.fault("shaft", "missing", "Say which shaft drives the pump.")
        found.append(Pump(name=name, shaft=shaft, vanes=section.known("vanes", VANES)))
        section.close()
    return found


def read_feed(section: Section) -> FeedTrain:
    """What the carriage rides on; the feed's levers are read elsewhere."""
    section.asked.append("levers")
    feed = FeedTrain(
        rack_module_mm=section.known("rack_module_mm", MODULE),
        rack_pinion_teeth=section.known("rack_pinion_teeth", TEETH),
        feed_rod_mm_per_turn=section.known("feed_rod_mm_per_turn", LENGTH),
        leadscrew_pitch_mm=section.known("leadscrew_pitch_mm", LENGTH),
    )
    section.close()
    return feed
