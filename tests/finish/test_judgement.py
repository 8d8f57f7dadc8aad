import pytest

from vibecheck.errors import UsageError
from vibecheck.finish.explaining import explain
from vibecheck.finish.judgement import Finish, judge
from vibecheck.finish.marks import Cut, Marks, read
from vibecheck.finish.naming import Candidate


def finish(**more):
    return Finish(**({"feed_mm": 0.2, "nose_mm": 0.8} | more))


@pytest.mark.parametrize(
    ("ra_um", "opinion"),
    [(1.7, "feed marks"), (2.3, "feed marks"), (4.0, "more than feed marks"),
     (0.8, "smoother than possible")],
)  # fmt: skip
def test_measured_roughness_is_set_against_the_feed_marks(ra_um, opinion):
    assert judge(finish(measured_ra_mm=ra_um / 1000)).opinion == opinion


def test_marks_one_feed_apart_are_the_feed_marks_whatever_was_measured():
    assert judge(finish(measured_ra_mm=0.01, spacing_mm=0.2)).opinion == "feed marks"


@pytest.mark.parametrize("edge", ["wiper", "chamfer"])
def test_other_edges_are_out_of_scope_and_say_so(edge):
    found = judge(finish(edge=edge, measured_ra_mm=0.0008))
    assert found.opinion == "cannot tell"
    assert "does not hold" in found.reasons[0]


def test_cautions_fit_the_cut():
    slow = judge(finish(speed_m_min=15, facing=True, feed_mm=0.03))
    text = " ".join(slow.cautions)
    assert "built-up edge" in text
    assert "centre height" in text
    assert "rubs" in text
    assert "as far as chuck and work allow" in text
    assert "rubs" not in " ".join(judge(finish(speed_m_min=200)).cautions)


def test_a_feed_the_nose_cannot_cover_is_refused():
    with pytest.raises(UsageError, match="twice the nose radius"):
        judge(finish(feed_mm=2.0))


CUT = Cut(rpm=637.2, feed_mm=0.1)
MARKS = read(Marks(pattern="slanted", count=11, spacing_mm=0.33, hand="left"), CUT)


def finding(name, *hz):
    return name, [[Candidate(name=f"{name} {i}", hz=value)] for i, value in enumerate(hz)]


def test_the_finding_that_fits_is_named_and_the_other_is_cleared():
    found = explain([MARKS], [finding("motor mount", 120.0), finding("62T", 4.2)])
    assert (found.answer, found.by, found.not_by) == ("explained", ("motor mount",), ("62T",))
    assert "would not cure" in found.sentence


def test_a_clean_drive_sends_the_search_elsewhere():
    assert explain([MARKS], []).answer == "drive clean"


def test_findings_that_do_not_fit_are_not_stretched():
    assert explain([MARKS], [finding("62T", 4.2)]).answer == "not explained"


def test_marks_that_cannot_be_read_explain_nothing():
    refused = read(Marks(pattern="slanted", count=98, spacing_mm=5.2), Cut(rpm=61.2, feed_mm=0.1))
    assert explain([refused], [finding("62T", 100.0)]).answer == "cannot tell"
