import numpy as np
import pytest
import soundfile

from vibecheck.errors import JobError
from vibecheck.files.naming import named
from vibecheck.files.takes import find_takes, read_takes

LABELS = ["A1 B1 CH", "A1 B1 CL", "A3 B2 CL", "A3 B2 CH"]


@pytest.fixture
def put(tmp_path):
    sound = np.random.default_rng(1).normal(0, 0.1, 8000)

    def write(*names):
        for name in names:
            soundfile.write(tmp_path / name, sound, 8000)
        return tmp_path

    return write


@pytest.mark.parametrize(
    ("stem", "position", "kind", "repeat"),
    [
        ("A3_B2_CL", "A3 B2 CL", "idle", None),
        ("a3-b2-cl_2", "A3 B2 CL", "idle", 2),
        ("sweep A3 B2 CL", "A3 B2 CL", "idle", None),
        ("A3B2CL-3", "A3 B2 CL", "idle", 3),
        ("background", None, "background", None),
        ("motor-alone 2", None, "motor alone", 2),
        ("reverse_A1_B1_CH", "A1 B1 CH", "reverse", None),
        ("A1 B1 CH coast-down", "A1 B1 CH", "coast-down", None),
        ("chuck off A1 B1 CH", "A1 B1 CH", "chuck off", None),
        ("A1B1CH_cutting_1", "A1 B1 CH", "cutting", 1),
        ("tap", None, "tap", None),
        ("neutral", None, "neutral", None),
        ("take 7", None, "idle", None),
    ],
)
def test_a_file_name_tells_position_kind_and_repeat(stem, position, kind, repeat):
    told = named(stem, LABELS)
    assert (told.position, told.kind, told.repeat) == (position, kind, repeat)


def test_the_longer_label_wins_over_one_it_contains():
    assert named("60_150_low", ["60/150", "60/150 low"]).position == "60/150 low"
    assert named("60_150", ["60/150", "60/150 low"]).position == "60/150"


def test_bare_numbers_are_positions_before_they_are_repeats():
    told = named("3_2", ["1", "2", "3"])
    assert (told.position, told.repeat) == ("3", 2)


def test_a_name_that_speaks_of_two_positions_is_refused():
    with pytest.raises(JobError, match=r"'A1 B1 CH' and 'A3 B2 CL'"):
        named("A1 B1 CH and A3 B2 CL", LABELS)


def test_a_folder_comes_back_in_the_order_of_the_chart(put):
    folder = put("A3_B2_CL.wav", "background.wav", "a1-b1-ch.flac", "A1_B1_CL 450rpm.wav")
    takes = read_takes(folder, LABELS)
    assert [take.position for take in takes] == ["A1 B1 CH", "A1 B1 CL", "A3 B2 CL", None]
    assert takes[-1].kind == "background"
    assert takes[1].conditions["named rpm"] == "450"


def test_numbered_repeats_are_kept_and_unnumbered_doubles_refused(put):
    folder = put("A1_B1_CH_1.wav", "A1_B1_CH_2.wav")
    assert [take.conditions["repeat"] for take in read_takes(folder, LABELS)] == ["1", "2"]
    put("a1b1ch.flac")
    with pytest.raises(JobError, match=r"3 takes for A1 B1 CH: .*_1, _2"):
        read_takes(folder, LABELS)


def test_a_folder_without_takes_says_how_to_name_them(put):
    folder = put()
    (folder / "notes.txt").write_text("hello")
    with pytest.raises(JobError, match=r"no takes here .*A1_B1_CH\.wav"):
        read_takes(folder, LABELS)


def test_a_missing_source_is_refused(tmp_path):
    with pytest.raises(JobError, match="no such file or folder"):
        read_takes(tmp_path / "none")


def test_an_unmatched_file_is_warned_of_and_has_no_position(put):
    found = find_takes(put("A1_B1_CH.wav", "memo 12.wav"), LABELS)
    assert [take.position for take in found.takes] == ["A1 B1 CH", None]
    assert found.warnings == ("memo 12.wav names no lever position of this machine",)


def test_one_file_alone_may_be_any_name(put):
    [take] = read_takes(put("memo.wav") / "memo.wav", LABELS)
    assert take.position is None


def test_a_csv_list_says_which_file_is_which(put):
    folder = put("memo1.wav", "memo2.wav", "memo3.wav", "spare.wav")
    (folder / "takes.csv").write_text(
        "file,position,kind,rpm,conditions,load\n"
        "memo1.wav,a3 b2 cl,,30.1,mount=magnet; axis=radial,none\n"
        "memo2.wav,,background,,,\n"
        "memo3.wav,A1 B1 CH,motor-alone,,,\n"
    )
    found = find_takes(folder, LABELS)
    first = next(take for take in found.takes if take.position == "A3 B2 CL")
    assert first.tach_rpm == pytest.approx(30.1)
    assert first.conditions["mount"] == "magnet"
    assert first.conditions["load"] == "none"
    assert {take.kind for take in found.takes} == {"idle", "background", "motor alone"}
    assert found.warnings == ("spare.wav is not in takes.csv and was not used",)


def test_a_toml_list_with_semicolons_nowhere_works_too(put):
    folder = put("memo1.wav")
    (folder / "takes.toml").write_text(
        '[[take]]\nfile = "memo1.wav"\nposition = "A3 B2 CL"\nrpm = 30\nlength_s = 0.5\n'
        '[take.conditions]\nchuck = "off"\n'
    )
    [take] = read_takes(folder, LABELS)
    assert take.recording.seconds == pytest.approx(0.5)
    assert take.conditions["chuck"] == "off"


def test_all_faults_of_a_list_are_told_at_once(put):
    folder = put("memo1.wav")
    (folder / "takes.csv").write_text(
        "file;position;kind;rpm\nmemo1.wav;A3 B2 CX;;fast\nmemo9.wav;A3 B2 CL;idel;\n;A1 B1 CL;;\n"
    )
    with pytest.raises(JobError) as error:
        read_takes(folder, LABELS)
    for words in ("did you mean 'A3 B2 CL'", "rpm is 'fast'", "no file memo9.wav",
                  "did you mean 'idle'", "take 3: no file named"):  # fmt: skip
        assert words in error.value.text
