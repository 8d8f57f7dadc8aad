import datetime
import tomllib

import numpy as np
import pytest
import soundfile

from vibecheck.errors import JobError
from vibecheck.files.job import Work, add_reading, add_work, find_jobs, load_job, new_job
from vibecheck.files.job_check import check_job
from vibecheck.files.sensor import Sensor
from vibecheck.files.storing import add_take, free_stem
from vibecheck.files.sweep import job_takes, load_sweep, open_sweep
from vibecheck.finish.readings import Reading

DAY = datetime.date(2031, 4, 5)
SENSOR = Sensor(kind="accelerometer", mount="magnet", axis="radial", place="front bearing cap",
                per_full_scale=50.0, unit="m/s^2", calibrated="maker's sheet")  # fmt: skip


@pytest.fixture
def job(tmp_path):
    table = tmp_path / "lathe.toml"
    table.write_text('name = "invented"\n')
    return new_job(
        tmp_path / "grey lathe", customer='A "B" C\\D', complaint="knocks in low,\nchuck fine",
        machine=table, known_problems=["drips oil"], opened=DAY,
    )  # fmt: skip


def sound(path, seconds=1.0, seed=1):
    samples = np.random.default_rng(seed).normal(0, 0.1, int(8000 * seconds))
    soundfile.write(path, samples, 8000, subtype="PCM_16")
    return path


def test_a_job_is_read_back_as_it_was_told(job):
    again = load_job(job.folder)
    assert again == job
    assert again.customer == 'A "B" C\\D'
    assert again.complaint == "knocks in low,\nchuck fine"
    assert again.opened == DAY
    assert again.machine_path.read_text() == 'name = "invented"\n'
    assert find_jobs(job.folder.parent) == [job.folder]


def test_a_folder_with_something_in_it_is_never_made_a_job(job, tmp_path):
    with pytest.raises(JobError, match="already there"):
        new_job(job.folder)
    (tmp_path / "file").touch()
    with pytest.raises(JobError, match="already there"):
        new_job(tmp_path / "file")


def test_readings_and_work_are_added_and_what_a_person_wrote_stays(job):
    lift = Reading(kind="spindle lift", value_mm=0.0127, place="nose", date=DAY, pull_n=222.0)
    add_reading(job, lift)
    path = job.folder / "readings.toml"
    path.write_text(path.read_text() + "# checked twice\n")
    slide = Reading(kind="slide lift", value_mm=0.23, end_mm=0.0, place="saddle", date=DAY)
    again = add_reading(job, slide)
    again = add_work(again, Work(what="new 62T", date=DAY, parts=("gear 62T", "two bearings")))
    assert again.readings == (lift, slide)
    assert again.readings[0].suspicion == "not the suspect"
    assert again.work[0].parts == ("gear 62T", "two bearings")
    assert "# checked twice" in path.read_text()


def test_a_later_schema_is_refused_and_a_broken_file_named(job):
    path = job.folder / "job.toml"
    path.write_text(path.read_text().replace("schema = 1", "schema = 2"))
    with pytest.raises(JobError, match="later version"):
        load_job(job.folder)
    path.write_text("schema = \n")
    with pytest.raises(JobError, match=r"job\.toml: not valid TOML"):
        load_job(job.folder)


def test_takes_come_back_scaled_placed_and_limited_by_the_mount(job, tmp_path):
    sweep = open_sweep(job, "before", SENSOR, {"chuck": "off"})
    add_take(sweep, sound(tmp_path / "a.wav"), {"position": "A3 B2 CL", "tach_rpm": 30.1})
    add_take(sweep, sound(tmp_path / "b.wav"), {"kind": "background"})
    first, second = job_takes(load_job(job.folder), "before")
    assert (first.position, first.tach_rpm, second.kind) == ("A3 B2 CL", 30.1, "background")
    assert first.recording.unit == "m/s^2"
    assert np.std(first.recording.samples) == pytest.approx(5.0, rel=0.05)
    assert first.recording.top_hz == 4000.0
    assert first.recording.support.high_hz == 5000.0
    assert first.conditions["mount"] == "magnet"
    assert first.conditions["chuck"] == "off"


def test_repeats_get_new_names_and_nothing_is_overwritten(job, tmp_path):
    sweep = open_sweep(job, "before", SENSOR)
    source = sound(tmp_path / "a.wav")
    names = [add_take(sweep, source, {"position": "60/150 low"}).name for _ in range(3)]
    assert names == ["60_150_low.wav", "60_150_low_2.wav", "60_150_low_3.wav"]
    own = sweep.folder / "60_150_low_4.part"
    own.write_bytes(source.read_bytes())
    assert free_stem(sweep.folder, "60/150 low", "idle") == "60_150_low_5"
    aside = add_take(sweep, own, {"position": "60/150 low"}, keep=False)
    assert aside.parent.name == "set aside"
    assert len(load_sweep(job, "before").takes) == 3
    assert free_stem(sweep.folder, "60/150 low", "idle") == "60_150_low_5"


def test_a_sweep_goes_on_only_with_the_sensor_it_was_begun_with(job):
    open_sweep(job, "before", SENSOR)
    assert open_sweep(job, "before").sensor == SENSOR
    with pytest.raises(JobError, match="another sensor"):
        open_sweep(job, "before", Sensor(kind="microphone"))


def test_the_check_tells_changed_missing_loose_and_cut_off_takes(job, tmp_path):
    sweep = open_sweep(job, "before", SENSOR)
    kept = [add_take(sweep, sound(tmp_path / "a.wav", seed=n), {"position": f"A{n}"})
            for n in (1, 2, 3)]  # fmt: skip
    again = load_job(job.folder)
    assert check_job(again) == []
    with kept[0].open("r+b") as file:
        file.seek(1000)
        file.write(b"!!")
    kept[1].unlink()
    sound(sweep.folder / "A4.wav")
    (sweep.folder / "A5.part").touch()
    found = "\n".join(check_job(again))
    for words in ("A1.wav: changed", "A2.wav: missing", "A4.wav: put there by hand", "A5.part"):
        assert words in found


def test_files_put_in_by_hand_count_by_their_names(job):
    sweep = open_sweep(job, "after", SENSOR)
    sound(sweep.folder / "a3_b2_cl.wav")
    [take] = job_takes(job, "after", ["A3 B2 CL"])
    assert take.position == "A3 B2 CL"
    assert take.recording.unit == "m/s^2"


def test_every_file_of_a_job_is_plain_toml_or_sound(job, tmp_path):
    sweep = open_sweep(job, "before", SENSOR)
    add_take(sweep, sound(tmp_path / "a.wav"), {"position": "A1", "judgement": ("clipped",)})
    add_reading(job, Reading(kind="other", value_mm=-0.1, place="x", date=DAY))
    for path in job.folder.rglob("*"):
        if path.suffix == ".toml":
            tomllib.loads(path.read_text())
        elif path.is_file():
            soundfile.info(path)
    assert load_sweep(job, "before").takes[0].judgement == ("clipped",)


def test_a_job_moved_elsewhere_is_the_same_job(job, tmp_path):
    sweep = open_sweep(job, "before", SENSOR)
    add_take(sweep, sound(tmp_path / "a.wav"), {"position": "A1"})
    moved = job.folder.rename(tmp_path / "elsewhere")
    assert check_job(load_job(moved)) == []


@pytest.mark.parametrize("name", ["../out", "a/b", "", ".hidden", "x" * 70])
def test_a_sweep_name_cannot_leave_the_job(job, name):
    with pytest.raises(JobError, match="no name for a folder"):
        open_sweep(job, name)


def test_a_full_disk_leaves_the_old_entries_whole(job, monkeypatch):
    add_work(job, Work(what="oil", date=DAY))
    before = (job.folder / "work.toml").read_text()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(JobError, match="No space left"):
        add_work(job, Work(what="belt", date=DAY))
    assert (job.folder / "work.toml").read_text() == before
    assert not list(job.folder.glob(".*"))
