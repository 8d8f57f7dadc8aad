import datetime

import pytest

from vibecheck.finish.chatter import Line, Listening, decide
from vibecheck.finish.readings import Reading
from vibecheck.finish.tap import Mode

SHAFTS = {1153.1: (("III", 9.418), ("IV", 12.378)), 925.0: (("III", 7.555), ("IV", 9.930))}
HUM = Line(hz=58.0, level_db=-40)


def take(rpm, *lines, name="take"):
    return Listening(name=name, rpm=rpm, lines=[HUM, *lines], shafts=SHAFTS.get(rpm, ()))


SINGS = [take(1153.1, Line(hz=312.4, level_db=0, uncertainty_hz=2)),
         take(925.0, Line(hz=315.5, level_db=0, uncertainty_hz=2))]  # fmt: skip
SILENT = [take(1153.1)]
AT_IT = [Mode(hz=305.0, damping=0.03, hz_uncertainty=2)]


def test_all_three_signs_together_show_chatter():
    verdict = decide(SINGS, SILENT, AT_IT)
    assert (verdict.kind, verdict.confidence) == ("self-excited", "shown")


def test_cutting_takes_alone_never_show_it_and_ask_for_idle_and_tap():
    verdict = decide(SINGS)
    assert verdict.confidence == "possible"
    assert any("in air" in test for test in verdict.next_tests)
    assert any("tap" in test for test in verdict.next_tests)


def test_one_cutting_take_tells_nothing():
    assert decide(SINGS[:1]).kind == "cannot tell"


def test_a_line_that_follows_a_shaft_is_forced_even_when_silent_in_air():
    following = [take(1153.1, Line(hz=730.3, level_db=0)), take(925.0, Line(hz=585.8, level_db=0))]
    verdict = decide(following, SILENT, [Mode(hz=700, damping=0.03)])
    assert (verdict.kind, verdict.confidence) == ("forced", "likely")
    assert "38 x spindle" in verdict.signs.follows
    assert "59 x IV" in verdict.signs.follows


def test_a_line_there_in_air_is_forced():
    in_air = [take(1153.1, Line(hz=312.0, level_db=-3, uncertainty_hz=2))]
    assert decide(SINGS, in_air, AT_IT).kind == "forced"


def test_a_line_much_weaker_in_air_decides_nothing():
    faint = [take(1153.1, Line(hz=312.0, level_db=-18, uncertainty_hz=2))]
    verdict = decide(SINGS, faint, AT_IT)
    assert verdict.signs.in_air is None
    assert verdict.confidence != "shown"


def test_twice_mains_is_forced():
    hums = [take(1153.1, Line(hz=120.02, level_db=0, uncertainty_hz=0.1)),
            take(925.0, Line(hz=119.98, level_db=0, uncertainty_hz=0.1))]  # fmt: skip
    verdict = decide(hums, mains_hz=60.0)
    assert (verdict.kind, verdict.signs.follows) == ("forced", "mains")


def test_a_tap_that_finds_no_mode_there_speaks_against_chatter():
    elsewhere = [Mode(hz=900.0, damping=0.02)]
    assert decide(SINGS, SILENT, elsewhere).confidence in ("possible", "")
    assert decide(SINGS, (), elsewhere).kind == "cannot tell"


def test_idle_at_another_speed_is_no_evidence():
    assert decide(SINGS[:1], [take(500.0)]).signs.in_air is None


def reading(kind, value_mm, **more):
    return Reading(
        kind=kind, value_mm=value_mm, place="nose", date=datetime.date(2024, 1, 2), **more
    )


def test_indicator_readings_move_or_remove_the_checks():
    loose = reading("spindle lift", 0.05, pull_n=222.0)
    sound = reading("slide lift", 0.01, end_mm=0.0)
    verdict = decide(SINGS, SILENT, AT_IT, indicated=[loose, sound])
    assert "spindle lift" in verdict.next_tests[0]
    assert not any("gibs" in test for test in verdict.next_tests)
    without = decide(SINGS, SILENT, AT_IT)
    assert any("gibs" in test for test in without.next_tests)


@pytest.mark.parametrize("rpm_uncertainty", [0.02, 0.05])
def test_a_speed_known_badly_never_makes_a_follower(rpm_uncertainty):
    listed = [
        Listening(name=t.name, rpm=t.rpm, lines=t.lines, shafts=t.shafts,
                  rpm_uncertainty=rpm_uncertainty)
        for t in SINGS
    ]  # fmt: skip
    assert decide(listed).signs.follows == ""


def test_no_line_while_cutting_is_said():
    silent = Listening(name="x", rpm=500, lines=[])
    verdict = decide([silent])
    assert verdict.kind == "cannot tell"
    assert verdict.reasons == ("no line stands out while cutting",)
