from __future__ import annotations

import subprocess
import sys
from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from vibecheck.files.gear_table import read_machine
from vibecheck.files.shipped import shipped_names
from vibecheck.report.figures import excluded_parts, summary_figure, train_figure
from vibecheck.report.ink import DARK, LIGHT, Scheme, contrast, png, svg
from vibecheck.report.picture_cycle import Cycle, cycle_figure, loudest
from vibecheck.report.picture_evidence import evidence_figure, shade
from vibecheck.report.picture_orders import ExpectedLine, OrderMap, order_figure, thinned
from vibecheck.report.picture_spectrum import (
    NamedLine,
    NamedSpectrum,
    spectrum_figure,
    spread,
)
from vibecheck.report.train_layout import laid_out

BOTH = pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])


@BOTH
def test_words_are_readable_on_the_paper(scheme: Scheme) -> None:
    """4.5 to 1 for text, 3 to 1 for graphics: WCAG 2.2, criteria 1.4.3 and 1.4.11."""
    for text in (scheme.ink, scheme.quiet, scheme.suspect, scheme.cool):
        assert contrast(text, scheme.paper) >= 4.5
    assert contrast(scheme.paper, scheme.suspect) >= 3


@BOTH
def test_shades_rise_evenly_enough_to_be_told_apart_without_colour(scheme: Scheme) -> None:
    steps = [contrast(a, b) for a, b in pairwise(scheme.shades)]
    assert min(steps) > 1.12
    assert contrast(scheme.shades[0], scheme.shades[-1]) > 7


def test_no_two_colours_of_the_drawing_scheme_are_the_same() -> None:
    assert all(a != b for a, b in combinations(LIGHT.tokens().values(), 2))


def drawings(diagnosis, machine, scheme):
    places = np.linspace(0.0, 20.0, 800)
    strips = np.zeros((2, 800))
    strips[0, 100] = 20.0
    heard = OrderMap(
        positions=("A1", "A2"),
        places=places,
        strengths_db=strips,
        axis="blows a second",
        lines=(ExpectedLine(name="62T", places=(2.5, None), suspect=True),),
    )
    tones = NamedSpectrum(
        take="A1",
        places_hz=places,
        strengths_db=strips[0],
        lines=(NamedLine(name="22/62", hz=2.5), NamedLine(name="far", hz=900.0)),
    )
    cycle = Cycle(levels=np.array([1.0, 1, 5, 1]), teeth=4, turns=9, take="A1", name="x")
    return (
        train_figure(machine, suspects=["B2 driven"], excluded={"B2 driver": 1}, scheme=scheme),
        evidence_figure(diagnosis.table, scheme=scheme),
        order_figure(heard, scheme=scheme),
        spectrum_figure(tones, scheme=scheme),
        cycle_figure(cycle, scheme=scheme),
        summary_figure(diagnosis, machine, scheme=scheme),
    )


@BOTH
def test_every_picture_uses_its_scheme_and_nothing_else(scheme, made, machine) -> None:
    other = DARK if scheme is LIGHT else LIGHT
    for figure in drawings(made["broken_tooth"], machine, scheme):
        drawn = svg(figure, label="x", live=False)
        assert scheme.paper in drawn
        assert not any(colour in drawn for colour in other.tokens().values())


def test_a_picture_becomes_a_png(made, machine) -> None:
    figure = train_figure(machine)
    assert png(figure, dots_per_inch=50).startswith(b"\x89PNG")


def test_the_same_picture_is_the_same_text(machine) -> None:
    first, again = (svg(train_figure(machine), label="x", name="a") for _ in range(2))
    assert first == again


def test_a_description_may_hold_any_character(machine) -> None:
    drawn = svg(train_figure(machine), label='a "b" <c> & \\1')
    assert 'aria-label="a &quot;b&quot; &lt;c&gt; &amp; \\1"' in drawn


def test_pictures_never_load_the_part_of_the_library_that_opens_windows() -> None:
    code = "import vibecheck.report.pictures, sys; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_gears_of_a_pair_touch(machine) -> None:
    for pair in laid_out(machine).pairs:
        if pair.style == "sliding":
            gap = pair.driven.row - pair.driven.half_high - pair.driver.row - pair.driver.half_high
            assert gap == pytest.approx(0.0)


def test_the_suspect_is_filled_and_the_others_are_not(machine) -> None:
    figure = train_figure(machine, suspects=["B2 driven"])
    boxes = [p for p in figure.axes[0].patches if isinstance(p, Rectangle)]
    filled = [p for p in boxes if p.get_facecolor()[:3] == pytest.approx(_rgb(LIGHT.suspect))]
    assert len(filled) == 1


def _rgb(colour: str) -> tuple[float, ...]:
    return tuple(int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))


def test_reasons_are_numbered_as_the_parts_are(made) -> None:
    numbers, reasons = excluded_parts(made["broken_tooth"])
    assert numbers == {"B2 driver": 1, "B1 driven": 2, "CL driver": 3}
    assert "CL driver" in reasons[2]


@pytest.mark.parametrize("name", shipped_names("gear_tables", ".toml"))
def test_every_shipped_machine_can_be_drawn(name: str) -> None:
    machine = read_machine(name)
    layout = laid_out(machine)
    assert layout.pairs
    svg(train_figure(machine), label=name)


def test_nothing_to_draw_gives_no_sheet(made) -> None:
    assert summary_figure(made["nothing_known"], None) is None


def test_shades_count_the_steps_passed() -> None:
    assert [shade(db) for db in (-9.0, 2.9, 3.0, 8.0, 40.0)] == [0, 0, 1, 2, 5]


def test_thinning_keeps_every_peak() -> None:
    heights = np.zeros(10_000)
    heights[[17, 5000, 9999]] = 5.0
    _, kept = thinned(np.arange(10_000.0), heights, 300)
    assert kept.size <= 300
    assert np.count_nonzero(kept == 5.0) == 3


def test_names_over_close_lines_do_not_overlap_and_keep_their_order() -> None:
    shown = spread([10.0, 10.1, 10.2, 90.0], 0.0, 100.0, apart=0.05)
    assert sorted(shown) == shown
    assert min(b - a for a, b in pairwise(shown)) >= 5.0 - 1e-9


def test_the_loudest_place_is_told_in_teeth() -> None:
    cycle = Cycle(levels=np.array([1.0, 1, 5, 1]), teeth=40, turns=9, take="a", name="x")
    assert loudest(cycle) == (20.0, 5.0)
