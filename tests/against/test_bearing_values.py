"""Bearing orders against what others published; each row says where it comes from.

"read" means the source itself was read, "second-hand" that a copy of it was.
"""

import pytest

from vibecheck.machine.bearings import BearingOrders, orders_of
from vibecheck.machine.parts import Bearing, Known

# name, elements, element, pitch (one unit), angle, {element: order}, relative tolerance, source
ROWS = [
    (
        "6205-2RS, drive end", 9, 0.3126, 1.537, 0.0,
        {"outer": 3.5848, "inner": 5.4152, "roller": 4.7135, "cage": 0.39828}, 2e-4,
        "Case Western Reserve University bearing data centre; Smith & Randall 2015, Mech. Syst. "
        "Signal Process. 64-65:100-131, table 2 (second-hand)",
    ),
    (
        "6203-2RS, fan end", 8, 0.2656, 1.122, 0.0,
        {"outer": 3.0530, "inner": 4.9469, "roller": 3.9874, "cage": 0.3817}, 3e-4,
        "the same (second-hand)",
    ),
    (
        "ER-16K", 9, 7.9375, 38.50, 0.0,
        {"outer": 3.572, "inner": 5.428, "roller": 2 * 2.32, "cage": 0.3969}, 1.5e-3,
        "G. Forbes, Curtin University data set, 2012 (read)",
    ),
    (
        "ER-10K", 8, 0.3125, 1.319, 0.0,
        {"outer": 3.0523, "inner": 4.9477, "roller": 2 * 1.9919, "cage": 0.3815}, 2e-4,
        "geometry: PHM Society 2009 challenge apparatus (read); orders by definition",
    ),
    (
        "MaFaulDa", 8, 0.7145, 2.8519, 0.0,
        {"outer": 2.998, "inner": 5.002, "roller": 2 * 1.871, "cage": 0.375}, 1.5e-3,
        "description of the MaFaulDa data set, UFRJ (second-hand)",
    ),
    (
        "6203, Paderborn, one maker", 8, 6.75, 29.05, 0.0, {"outer": 3.0706}, 1e-4,
        "data sheet of the Paderborn University data set (second-hand)",
    ),
    (
        "6203, Paderborn, other maker", 8, 6.75, 28.55, 0.0, {"outer": 3.0543}, 1e-4,
        "data sheet of the Paderborn University data set (second-hand)",
    ),
    (
        "6203, Ottawa", 8, 6.77, 28.50, 0.0, {"outer": 3.0498}, 1e-4,
        "UORED-VAFCLS data set, University of Ottawa (second-hand)",
    ),
]  # fmt: skip

# name, elements, element, pitch, angle, shaft Hz, {element: Hz}, relative tolerance, source
IN_HERTZ = [
    (
        "ZA-2115", 16, 0.331, 2.815, 15.17, 2000 / 60,
        {"outer": 236.4, "inner": 296.9, "roller": 2 * 139.9, "cage": 14.8}, 3e-3,
        "IMS Cincinnati; Qiu et al. 2006, J. Sound Vib. 289:1066-1090 (second-hand)",
    ),
    (
        "UER204", 8, 7.92, 34.55, 0.0, 35.0,
        {"outer": 107.91, "inner": 172.09, "roller": 2 * 72.33, "cage": 13.49}, 5e-4,
        "XJTU-SY; Wang et al. 2020, IEEE Trans. Reliability 69(1):401-412 (second-hand)",
    ),
    (
        "MFPT", 8, 0.235, 1.245, 0.0, 25.0, {"outer": 81.125, "inner": 118.875}, 2e-4,
        "MFPT fault data sets: geometry second-hand, hertz from memory",
    ),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_orders_are_those_published(row):
    _, count, size, pitch, angle, published, tolerance, _ = row
    found = dict(BearingOrders.of_geometry(count, size, pitch, angle).items())
    for element, order in published.items():
        assert found[element] == pytest.approx(order, rel=tolerance), element


@pytest.mark.parametrize("row", IN_HERTZ, ids=lambda row: row[0])
def test_rates_are_those_published(row):
    _, count, size, pitch, angle, shaft_hz, published, tolerance, _ = row
    found = dict(BearingOrders.of_geometry(count, size, pitch, angle).items())
    for element, rate_hz in published.items():
        assert found[element] * shaft_hz == pytest.approx(rate_hz, rel=tolerance), element


def test_a_thrust_bearing_is_struck_alike_by_both_races():
    """By definition: at a contact angle of 90 degrees outer = inner = n/2, cage = 1/2."""
    bearing = Bearing(
        name="thrust",
        shaft="spindle",
        kind="thrust",
        elements=Known.exactly(12),
        element_mm=Known.exactly(10),
        pitch_mm=Known.exactly(60),
    )
    orders = orders_of(bearing)
    assert (orders.outer, orders.inner, orders.cage) == pytest.approx((6.0, 6.0, 0.5))


def test_one_designation_is_not_one_geometry():
    """Four bearings all called 6203 (rows above) differ by 0.7 % in outer order."""
    orders = [
        BearingOrders.of_geometry(row[1], row[2], row[3], row[4]).outer
        for row in ROWS
        if "6203" in row[0]
    ]
    assert (min(orders), max(orders)) == pytest.approx((3.0498, 3.0706), abs=1e-4)


def test_a_makers_list_of_multipliers_gives_the_count():
    published = {"outer": 3.5848, "inner": 5.4152, "spin": 2.357, "cage": 0.39828}
    orders = BearingOrders.of_multipliers(published)
    assert orders.elements == 9
    assert orders.roller == pytest.approx(4.714)
