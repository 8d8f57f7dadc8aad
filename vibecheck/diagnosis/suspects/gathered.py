"""From what was heard to suspects, each with the readings or the odds that speak for it."""

from __future__ import annotations

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.keys import Key
from vibecheck.diagnosis.readings.knock_readings import KNOCK_LAW
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.swells import gear_swells
from vibecheck.diagnosis.readings.turn_readings import HALVES_LAW, halves_readings
from vibecheck.diagnosis.suspects.belts import belt_suspects
from vibecheck.diagnosis.suspects.joint import Readings
from vibecheck.diagnosis.suspects.knocks import gear_suspects, shaft_suspects, steady_readings
from vibecheck.diagnosis.suspects.pumps import pump_suspects
from vibecheck.diagnosis.suspects.rolling import rolling_suspects
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.suspects.swells import swell_suspects
from vibecheck.diagnosis.suspects.turns import turn_suspects, turns_heard


def readings_of(heard: Listened) -> Readings:
    """All shared readings of a sweep."""
    values: dict[Key, float] = {k: v.lead for k, v in heard.knocks.knocks.items()}
    rows = {f"knock {name}": keys for name, keys in heard.knocks.rows.items()}
    ratios = [take.turning_ratios() for take in heard.takes]
    halves, half_rows = halves_readings(heard.turns, ratios)
    values.update(halves)
    rows.update({f"halves {name}": keys for name, keys in half_rows.items()})
    return Readings(
        values=values,
        rows=rows,
        laws={"knock": KNOCK_LAW, "halves": HALVES_LAW},
        leaks=heard.knocks.leaks,
        speeds={key: key[2] * heard.takes[key[1]].base_hz for key in values},
        alone=steady_readings(heard.machine, heard.takes, heard.knocks),
    )


def every_suspect(heard: Listened) -> list[Suspect]:
    """All parts and fault modes this sweep can speak of."""
    machine, knocks = heard.machine, heard.knocks
    swells, turns = gear_swells(heard.takes, heard.spectra), turns_heard(heard)
    return [
        *gear_suspects(machine, heard.takes, knocks, fault("broken or damaged tooth").prior),
        *shaft_suspects(
            heard.takes, knocks, 0.3 * fault("loose on its shaft or in its seat").prior
        ),
        *swell_suspects(swells, turns),
        *turn_suspects(heard, turns, swells),
        *rolling_suspects(heard),
        *belt_suspects(heard),
        *pump_suspects(heard),
    ]
