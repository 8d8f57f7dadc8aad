"""Pictures and the paper gauge: true to scale, true to direction."""

import re

import numpy as np
import pytest

from vibecheck.finish.marks import Cut
from vibecheck.finish.prediction import predict
from vibecheck.finish.surface import Shake, turned_surface
from vibecheck.report.finish_figures import _polar, marks_figure
from vibecheck.report.finish_shading import by_eye, depth_mm, stretched
from vibecheck.report.gauge_strip import gauge_figure

POINT_MM = 25.4 / 72


def path_mm(svg, tag):
    """Width in mm of the line of that id in an SVG written in points."""
    body = re.search(rf'<g id="{tag}">\s*<path d="([^"]+)"', svg)[1]
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", body)]
    return (max(numbers[::2]) - min(numbers[::2])) * POINT_MM


@pytest.fixture(scope="module")
def gauge_svg(tmp_path_factory):
    path = tmp_path_factory.mktemp("gauge") / "gauge.svg"
    gauge_figure((10, 11, 12), 40.0, spacing_mm=1.3, hand="left").savefig(path)
    return path.read_text()


def test_the_gauge_prints_at_real_size(gauge_svg):
    width, height = re.search(r'width="([\d.]+)pt" height="([\d.]+)pt"', gauge_svg).groups()
    assert float(width) * POINT_MM == pytest.approx(297, abs=0.1)
    assert float(height) * POINT_MM == pytest.approx(210, abs=0.1)
    assert path_mm(gauge_svg, "bar-100-mm") == pytest.approx(100, abs=0.01)
    assert path_mm(gauge_svg, "bar-4-in") == pytest.approx(101.6, abs=0.01)


def test_a_strip_is_as_long_as_the_skin(gauge_svg):
    assert path_mm(gauge_svg, "strip-11") == pytest.approx(np.pi * 40, abs=0.02)


def test_the_pdf_page_is_real_size_too(tmp_path):
    path = tmp_path / "gauge.pdf"
    gauge_figure((4,), 60.0).savefig(path)
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", path.read_bytes())
    assert float(box[1]) * POINT_MM == pytest.approx(297, abs=0.1)
    assert float(box[2]) * POINT_MM == pytest.approx(210, abs=0.1)


@pytest.mark.parametrize(("hand", "way"), [("right", 1), ("left", -1)])
def test_the_lean_of_the_patch_is_the_hand_asked_for(hand, way):
    (axes,) = gauge_figure((5,), 60.0, spacing_mm=3.0, hand=hand).axes
    slanted = [
        line
        for line in axes.lines
        if line.get_xdata()[0] != line.get_xdata()[1] and line.get_ydata()[0] != line.get_ydata()[1]
    ]
    assert len(slanted) > 5
    for line in slanted:
        (x0, x1), (y0, y1) = line.get_xdata(), line.get_ydata()
        assert np.sign((y1 - y0) / (x1 - x0)) == way
        assert abs((y1 - y0) / (x1 - x0)) == pytest.approx(3.0 / (np.pi * 60 / 5))


def test_work_too_big_for_the_page_gets_part_of_a_strip():
    (axes,) = gauge_figure((6,), 300.0).axes
    assert max(max(line.get_xdata()) for line in axes.lines) < 280
    assert any("do not wrap" in text.get_text() for text in axes.texts)


def test_the_unrolled_strip_is_drawn_at_real_size():
    cut = Cut(rpm=637.2, feed_mm=0.1, diameter_mm=40)
    figure = marks_figure(predict(120.0, cut), cut)
    axes = figure.axes[0]
    box, (left, right) = axes.get_position(), axes.get_xlim()
    assert box.width * 297 == pytest.approx(np.pi * 40, abs=0.01)
    assert right - left == pytest.approx(np.pi * 40, abs=0.01)


def test_the_eye_sees_the_marks_and_not_the_feed_grooves():
    cut = Cut(rpm=600, feed_mm=0.1, diameter_mm=40)
    plain = turned_surface(cut, [], columns=120)
    assert depth_mm(by_eye(plain.heights_mm, 16)) < 0.02 * depth_mm(plain.heights_mm)
    marked = turned_surface(cut, [Shake(hz=50.3, amplitude_mm=0.001)], columns=120)
    assert depth_mm(by_eye(marked.heights_mm, 16)) > 0.0015
    assert np.ptp(stretched(np.zeros((4, 4)))) == 0


@pytest.mark.parametrize("direction", ["to centre", "from centre"])
@pytest.mark.parametrize("spindle", ["forward", "reverse"])
@pytest.mark.parametrize("hz", [50.06, 49.94])
def test_spokes_on_the_drawn_face_turn_the_way_foretold(direction, spindle, hz):
    cut = Cut(rpm=600, feed_mm=0.1, diameter_mm=80, direction=direction, spindle=spindle,
              rpm_uncertainty=1e-4)  # fmt: skip
    surface = turned_surface(cut, [Shake(hz=hz, amplitude_mm=0.001)], length_mm=30,
                             rows_a_feed=6, columns=720)  # fmt: skip
    face = _polar(stretched(by_eye(surface.heights_mm, 6)), cut, 40.0, 30.0)
    angles = np.linspace(0, 2 * np.pi, 2000, endpoint=False)

    def phase(radius):
        """Angle of the five-fold pattern at a radius, anticlockwise as seen on the page."""
        x, y = 700 + radius / 40 * 699 * np.cos(angles), 700 + radius / 40 * 699 * np.sin(angles)
        ring = face[np.round(y).astype(int), np.round(x).astype(int)]
        return -np.angle(np.sum(ring * np.exp(-5j * angles))) / 5

    inward = np.angle(np.exp(5j * (phase(27.0) - phase(30.0)))) / 5
    seen = "anticlockwise" if inward > 0 else "clockwise"
    assert seen == predict(hz, cut).hand
