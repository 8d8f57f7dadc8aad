import pytest
from hypothesis import given
from hypothesis import strategies as st

from vibecheck.diagnosis.chance.families import (
    bearing_families,
    bearing_orders,
    seconds_to_separate,
    shaft_family,
)


def by_name(families):
    return {family.name: family for family in families}


@given(
    elements=st.integers(5, 40),
    ratio=st.floats(0.03, 0.45),
    angle=st.floats(0, 60),
    slip=st.floats(-0.03, 0.01),
)
def test_races_add_up_to_the_element_count_whatever_the_slip(elements, ratio, angle, slip):
    # definition: outer + inner = n
    found = by_name(
        bearing_families(elements=elements, ball_mm=ratio, pitch_mm=1.0, angle_deg=angle)
    )
    outer, inner = found["outer"], found["inner"]
    assert outer.order + inner.order == pytest.approx(elements)
    moved = outer.order * (1 + slip)
    assert inner.lowest_order - 1e-9 <= elements - moved <= inner.highest_order + 1e-9


@pytest.mark.parametrize(
    ("elements", "ball", "pitch", "angle", "outer", "inner", "spin", "cage"),
    [
        # CWRU drive and fan end: Smith & Randall 2015, MSSP 64-65:100-131, table 2 (second-hand)
        (9, 0.3126, 1.537, 0, 3.5848, 5.4152, 2.357, 0.39828),
        (8, 0.2656, 1.122, 0, 3.0530, 4.9469, 3.9874 / 2, 0.3817),
        # G. Forbes, Curtin University data set, 2012
        (9, 7.9375, 38.50, 0, 3.572, 5.428, 2.32, 0.3969),
        # Qiu et al. 2006, J. Sound Vib. 289:1066: Hz at 2000 r/min (second-hand)
        (16, 0.331, 2.815, 15.17, 236.4 / 33.333, 296.9 / 33.333, 139.9 / 33.333, 0.4433),
    ],
)
def test_orders_agree_with_published_ones(elements, ball, pitch, angle, outer, inner, spin, cage):
    found = bearing_orders(elements, ball, pitch, angle)
    assert found["outer"] == pytest.approx(outer, rel=1e-3)
    assert found["inner"] == pytest.approx(inner, rel=1e-3)
    assert found["cage"] == pytest.approx(cage, rel=2e-3)
    assert found["roller"] / 2 == pytest.approx(spin, rel=5e-3)


def test_published_multipliers_serve_as_well_as_geometry():
    _, inner, *_ = bearing_families(elements=9, orders={"outer": 3.572})
    assert inner.order == pytest.approx(5.428)


def test_inner_carries_shaft_sidebands_and_roller_cage_sidebands():
    found = by_name(bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04))
    assert 1.0 in found["inner"].sidebands
    assert found["roller"].sidebands == (pytest.approx(found["cage"].order),)
    assert found["outer"].sidebands == ()


def test_seconds_to_part_an_outer_race_from_the_eleventh_multiple():
    # trade example: orders 10.947 and 11 at 1844 r/min lie 1.63 Hz apart: 3 bins in 1.8 s
    assert seconds_to_separate(10.947, 11.0, 1844 / 60) == pytest.approx(3 / 1.629, rel=1e-2)


def test_half_multiples_form_a_shaft_family_too():
    assert shaft_family(step=0.5).lines()[2] == (3, 0.0)
