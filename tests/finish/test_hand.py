import numpy as np
import pytest

from vibecheck.errors import UsageError
from vibecheck.finish.hand import feed_hand, hand_of, lean


def rises_right(direction, spindle, waves=None):
    """Hand of a helix from its points in space, not from the rules under test.

    The bar lies along z, headstock at -z. A forward spindle turns anticlockwise seen from +z. The
    tool's place on the turning work is traced; with ``waves`` only the crests are kept, and the
    nearest crest of the next turn is joined to each.
    """
    way = 1.0 if spindle == "forward" else -1.0
    along = -0.1 if direction == "to headstock" else 0.1
    turns = np.arange(0, 6, 1e-4) if waves is None else np.arange(0, 40) / waves
    angle, z = -way * 2 * np.pi * turns, along * turns
    if waves is None:
        return bool(np.polyfit(angle, z, 1)[0] > 0)
    first = 0
    step = np.angle(np.exp(1j * (angle - angle[first])))
    later = np.flatnonzero((turns >= 0.5) & (turns <= 1.5))
    other = later[np.argmin(np.abs(step[later]))]
    return bool((z[other] - z[first]) / step[other] > 0)


@pytest.mark.parametrize("direction", ["to headstock", "to tailstock"])
@pytest.mark.parametrize("spindle", ["forward", "reverse"])
def test_feed_marks_have_the_hand_of_their_helix_in_space(direction, spindle):
    # On a helix about z a right-hand one has z growing with the angle.
    assert feed_hand(direction, spindle) == ("right" if rises_right(direction, spindle) else "left")


@pytest.mark.parametrize("direction", ["to headstock", "to tailstock"])
@pytest.mark.parametrize("spindle", ["forward", "reverse"])
@pytest.mark.parametrize("waves", [11.3, 7.702, 4.1, 2.9, 20.25])
def test_crests_have_the_hand_of_their_helix_in_space(direction, spindle, waves):
    found = "right" if rises_right(direction, spindle, waves) else "left"
    assert hand_of(waves - round(waves), direction, spindle) == found


def test_feed_marks_of_ordinary_screw_cutting_are_right_hand():
    # Carriage toward the headstock, spindle forward, cuts an ordinary right-hand screw.
    assert feed_hand("to headstock", "forward") == "right"


def test_words_of_a_face_are_refused_on_a_bar():
    with pytest.raises(UsageError, match="clockwise"):
        lean("clockwise", "to headstock")
    with pytest.raises(UsageError, match="clockwise"):
        lean("right", "to centre")


def test_with_and_against_need_no_direction():
    assert lean("with", "to centre", "reverse") == "with"
    assert lean("against", "to tailstock") == "against"
