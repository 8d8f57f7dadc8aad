"""Which finding explains the marks, over diagnoses made by hand.

The marks are worked out from the definition: waves a turn = count plus or minus feed over
spacing.
"""

from dataclasses import replace

import pytest

from vibecheck.diagnosis.findings import Diagnosis, Finding
from vibecheck.finish.marks import Cut, Marks, Reading, read
from vibecheck.report.marks_joined import joined, marks_json

AT = "A2 B2 CL"
RPM = 44.5


def marks(waves: float, position: str | None = AT, rpm: float = RPM, **more: object) -> Reading:
    """Marks that something striking ``waves`` times a turn leaves at 0.1 mm a turn."""
    cut = Cut(rpm=rpm, feed_mm=0.1, position=position)
    count = round(waves)
    spacing = 0.1 / abs(waves - count)
    hand = "left" if waves > count else "right"
    return read(
        Marks(**{"pattern": "slanted", "count": count, "spacing_mm": spacing, "hand": hand} | more),
        cut,
    )


def hum(**more: object) -> Finding:
    values = {
        "part": "mains", "part_kind": "mains", "fault": "mains hum", "verdict": "likely",
        "probability": 0.9, "rates_hz": {AT: 120.0},
    }  # fmt: skip
    return Finding(**values | more)


def test_the_gear_that_strikes_as_often_as_the_marks_say_explains_them(made, machine):
    found = joined([marks(4.11)], made["broken_tooth"], machine)
    assert found.answer == "explained"
    assert "62-tooth gear" in found.by[0]
    assert "fits the marks on the work" in " ".join(found.sentences)


def test_a_finding_that_does_not_fit_is_said_not_to(made, machine):
    found = joined([marks(6.75)], made["broken_tooth"], machine)
    assert found.answer == "not explained"
    said = " ".join(found.sentences)
    assert "would not cure these marks" in said
    assert "vibecheck finish" in said


def test_a_gear_out_of_mesh_does_not_explain_marks_that_would_fit_it_elsewhere(made, machine):
    found = joined([marks(4.11, "A2 B1 CL", 131.6)], made["broken_tooth"], machine)
    assert found.answer == "not explained"


def test_a_clean_drive_sends_the_search_to_finish_and_to_idle_and_cutting_takes(made, machine):
    found = joined([marks(4.11)], made["healthy"], machine)
    assert found.answer == "drive clean"
    said = " ".join(found.sentences)
    assert "must come from elsewhere" in said
    assert "vibecheck finish" in said
    assert "idle and while cutting" in said
    assert found.cautions


def test_the_drive_is_not_called_clean_where_no_take_was_heard(made, machine):
    healthy = made["healthy"]
    elsewhere = replace(healthy, takes=tuple(t for t in healthy.takes if t.position != AT))
    deaf = replace(healthy, takes=tuple(replace(t, spindle_rpm=None) for t in healthy.takes))
    for diagnosis in (elsewhere, deaf):
        found = joined([marks(4.11)], diagnosis, machine)
        assert found.answer == "cannot tell"
        assert AT in found.sentences[-1]
        assert "elsewhere" not in " ".join(found.sentences)


def test_a_finding_left_open_keeps_the_drive_from_being_called_clean(made, machine):
    diagnosis = made["not_separable"]
    here = replace(diagnosis, findings=diagnosis.findings[1:])
    found = joined([marks(4.11, "A1 B2 CL", 61.2)], here, machine)
    assert found.answer == "cannot tell"
    assert "front bearing" in next(iter(found.left_open))
    assert "comes first" in found.sentences[-1]


def test_without_a_hand_both_tones_are_told_and_why(made, machine):
    found = joined([marks(4.11, hand="unknown")], made["broken_tooth"], machine)
    assert len(found.hz[0]) == 2
    assert "lean was not told" in found.sentences[1]


def test_a_rate_heard_in_air_is_carried_over_to_the_speed_of_the_cut(made, machine):
    assert joined([marks(4.11, rpm=43.0)], made["broken_tooth"], machine).answer == "explained"


def test_a_steady_hum_explains_by_its_hertz_at_a_position_never_recorded(made, machine):
    diagnosis = replace(made["healthy"], findings=(hum(),), takes=made["healthy"].takes[:4])
    at = {"position": "A1 B1 CH", "rpm": 1463.6}
    fits = marks(120 / (1463.6 / 60), **at)
    other = marks(110 / (1463.6 / 60), **at)
    assert joined([fits], diagnosis, machine).answer == "explained"
    assert joined([other], diagnosis, machine).answer == "not explained"


def test_a_hum_heard_at_a_multiple_still_shakes_at_twice_the_mains(made, machine):
    third = hum(rates_hz={AT: 360.2})
    diagnosis = replace(made["healthy"], findings=(third,))
    at = {"position": "A1 B1 CH", "rpm": 1463.6}
    assert joined([marks(120 / (1463.6 / 60), **at)], diagnosis, machine).answer == "explained"


def test_a_second_cut_that_disagrees_takes_the_explanation_back(made, machine):
    cuts = [marks(4.11), marks(4.40, "A1 B2 CL", 61.2)]
    agreeing = [cuts[0], marks(4.11, "A1 B2 CL", 61.2)]
    assert joined(agreeing, made["broken_tooth"], machine).answer == "explained"
    assert joined(cuts, made["broken_tooth"], machine).answer == "not explained"


def test_a_fit_that_chance_would_give_is_said_to_be_worth_little(made, machine):
    vague = marks(4.11, spacing_uncertainty_mm=0.9)
    found = joined([vague], made["broken_tooth"], machine)
    assert found.answer == "explained"
    assert found.by_chance is not None
    assert found.by_chance > 0.05
    assert "by chance" in found.sentences[-1]


def test_marks_that_cannot_be_read_are_refused_with_the_remedy(made, machine):
    refused = read(
        Marks(pattern="slanted", count=98, spacing_mm=5.2),
        Cut(rpm=44.5, feed_mm=0.1, position=AT),
    )
    found = joined([refused], made["broken_tooth"], machine)
    assert found.answer == "cannot tell"
    assert found.sentences[-1].startswith("Next: Measure the speed")


def test_without_a_table_the_one_take_counts_when_its_speed_was_heard(made):
    take = replace(made["nothing_known"].takes[0], spindle_rpm=1480.0)
    tone = Finding(
        part="single tones", fault="heard, and by itself no fault", verdict="cannot tell",
        probability=0.1, rates_hz={"phone memo": 2.3 * 1480 / 60},
    )  # fmt: skip
    known = Diagnosis(machine="", takes=(take,), findings=(tone,))
    cut = {"position": None, "rpm": 1480.0}
    assert joined([marks(2.3, **cut)], known).answer == "explained"
    unknown = replace(known, takes=made["nothing_known"].takes)
    found = joined([marks(2.3, **cut)], unknown)
    assert found.answer == "cannot tell"
    assert "speed of the take" in next(iter(found.left_open.values()))


def test_the_values_for_programs_are_those_of_the_sentences(made, machine):
    found = joined([marks(4.11)], made["broken_tooth"], machine)
    values = marks_json(found)
    assert values["answer"] == "explained"
    assert values["explained_by"] == list(found.by)
    assert values["hz"] == [[pytest.approx(4.11 * RPM / 60, abs=2e-3)]]


def test_on_a_clean_drive_sound_parts_whose_tone_fits_are_still_named(made, machine):
    """Twice the mains of 50 Hz at 1463.6 rpm; no tone of this head is 17.3 waves a turn."""
    at = {"position": "A1 B1 CH", "rpm": 1463.6}
    fits = joined([marks(100 / (1463.6 / 60), **at)], made["healthy"], machine)
    assert "twice mains" in " ".join(fits.sentences)
    bare = joined([marks(17.3, **at)], made["healthy"], machine)
    assert bare.answer == "drive clean"
    assert "Sound parts" not in " ".join(bare.sentences)
