import pytest

from vibecheck.finish.carriage import Carriage, matching, repeats

APRON = Carriage(rack_module_mm=2.5, pinion_teeth=15, apron=((2, 40), (20, 62)))


def test_distances_follow_from_the_apron():
    # pi * 2.5 = 7.854; times 15 = 117.8; back through 20/62 and 2/40 to the rod: 1.900.
    found = {r.name: r.spacing_mm for r in repeats(APRON)}
    assert found["one tooth of rack and pinion"] == pytest.approx(7.854, abs=5e-4)
    assert found["one turn of the rack pinion"] == pytest.approx(117.81, abs=5e-3)
    assert found["one turn of the feed rod"] == pytest.approx(1.900, abs=5e-4)


def test_a_tooth_and_a_rod_turn_at_one_distance_are_both_named():
    assert {r.name for r in matching(1.90, 0.05, APRON)} == {
        "one turn of the feed rod",
        "one tooth of the apron pair 20/62",
    }


def test_an_inch_rack_is_read_from_its_diametral_pitch():
    # 10 DP: module 2.54 mm, circular pitch pi/10 in = 7.98 mm (definition).
    (tooth,) = repeats(Carriage(rack_module_mm=25.4 / 10))
    assert tooth.spacing_mm / 25.4 == pytest.approx(0.31416, abs=1e-5)


def test_nothing_known_gives_nothing():
    assert repeats(Carriage()) == ()
    assert matching(5.2, 0.1, APRON) == ()


def test_screws_are_named():
    found = [r.name for r in repeats(Carriage(screw_pitch_mm=6, cross_screw_pitch_mm=5))]
    assert found == ["one turn of the leadscrew", "one turn of the cross-slide screw"]
