from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main
from vibecheck.cli.gathering import bearing_of, bearing_of_multipliers, gather
from vibecheck.cli.progress import Progress
from vibecheck.cli.written import free_path, must_be_free, write_whole
from vibecheck.errors import UsageError
from vibecheck.machine.bearings import orders_of

RATE_HZ = 8000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three takes of noise, two named by their lever position."""
    random = np.random.default_rng(5)
    for name in ("A1_B1_CL", "A2_B1_CL", "A1_B2_CH"):
        samples = 0.1 * random.standard_normal(3 * RATE_HZ)
        soundfile.write(tmp_path / f"{name}.wav", samples, RATE_HZ)
    return tmp_path


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["diagnose", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_bearing_numbers_give_the_published_orders() -> None:
    """6205: outer 3.585, inner 5.415 a turn, by the numbers of the CWRU bearing data centre."""
    orders = orders_of(bearing_of("9,7.94,39.04,0"))
    assert orders is not None
    assert (orders.outer, orders.inner) == pytest.approx((3.585, 5.415), abs=1e-3)


def test_an_angle_left_out_is_none() -> None:
    assert bearing_of("9;7.94;39.04").angle_deg.value == 0.0


def test_published_multipliers_are_taken_as_they_stand() -> None:
    orders = orders_of(bearing_of_multipliers("3.58, 5.42, 4.71, 0.398"))
    assert orders is not None
    assert (orders.outer, orders.inner, orders.roller, orders.cage) == (3.58, 5.42, 4.71, 0.398)


@pytest.mark.parametrize("text", ["9", "9,a,3", "2,1,3,0", "9,40,39,0", "9.5,1,3,0", "nan,1,3,0"])
def test_numbers_that_make_no_bearing_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match=r"number|bearing"):
        bearing_of(text)


@pytest.mark.parametrize("text", ["3", "5.4,3.6", "0,5", "1,2,3,4,5"])
def test_multipliers_that_make_no_bearing_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match="multipliers"):
        bearing_of_multipliers(text)


def test_a_folder_is_read_in_the_order_of_the_chart(folder: Path) -> None:
    found = gather(str(folder), table="lathe-12-speed")
    assert [take.position for take in found.takes] == ["A2 B1 CL", "A1 B1 CL", "A1 B2 CH"]


def test_a_single_file_may_be_told_its_lever_position_and_speed(folder: Path) -> None:
    file = folder / "A1_B1_CL.wav"
    found = gather(str(file), table="lathe-12-speed", position="a3_b2_ch", rpm=240.0)
    assert (found.takes[0].position, found.takes[0].tach_rpm) == ("A3 B2 CH", 240.0)


def test_one_file_with_a_speed_alone_is_one_shaft(folder: Path) -> None:
    found = gather(str(folder / "A1_B1_CL.wav"), rpm=1480.0)
    assert found.machine is not None
    assert found.machine.name == "one shaft"


def test_one_file_alone_has_no_machine(folder: Path) -> None:
    assert gather(str(folder / "A1_B1_CL.wav")).machine is None


def test_mains_on_the_command_line_goes_before_the_tables(folder: Path) -> None:
    found = gather(str(folder), table="lathe-12-speed", mains_hz=60.0)
    assert found.machine is not None
    assert found.machine.supply.mains_hz == 60.0


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["nowhere"], 3, "no such file"),
        (["{folder}", "--table", "no-such-table"], 3, "no-such-table"),
        (["{folder}", "--table", "lathe-12-speed", "--position", "A1 B1 CL"], 2, "3 takes"),
        (["{file}", "--table", "lathe-12-speed", "--position", "A9 B9"], 2, "no lever position"),
        (["{file}", "--table", "lathe-12-speed", "--bearing", "9,1,5"], 2, "into the table"),
        (["{file}", "--channel", "2"], 2, "channel 2 of 1"),
        (["{file}", "--channel", "0"], 2, "count from 1"),
        (["{file}", "--picture", "x.gif"], 2, ".png or .svg"),
        (["{file}", "--page", "{file}"], 2, "already such a file"),
        (["{file}", "--page", "{folder}/no/page.html"], 2, "no such folder"),
        (["{file}", "--rpm", "-5"], 2, "rpm"),
        (["{file}", "--mains", "55"], 2, "mains"),
    ],
)
def test_a_mistake_is_told_in_one_line_with_its_exit_code(
    folder: Path, arguments: list[str], code: int, said: str
) -> None:
    filled = [a.format(folder=folder, file=folder / "A1_B1_CL.wav") for a in arguments]
    exit_code, _, stderr = run(*filled)
    assert exit_code == code
    assert said in stderr
    assert "Traceback" not in stderr


def test_progress_is_silent_where_nobody_watches(capsys: pytest.CaptureFixture[str]) -> None:
    progress = Progress()
    progress(1, 3, "A1")
    progress.clear()
    assert capsys.readouterr() == ("", "")


def test_progress_wipes_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    import io

    class Watched(io.StringIO):
        def isatty(self) -> bool:
            return True

    stream = Watched()
    progress = Progress(stream)
    progress(2, 4, "x" * 200)
    progress.clear()
    lines = stream.getvalue().split("\r")
    assert "[##########..........] 2/4" in lines[1]
    assert max(map(len, lines)) <= 79
    assert lines[-2].strip() == ""


def test_nothing_is_written_over(tmp_path: Path) -> None:
    write_whole(tmp_path / "page.html", "one")
    assert free_path(tmp_path / "page.html").name == "page_2.html"
    with pytest.raises(UsageError, match="already"):
        must_be_free(str(tmp_path / "page.html"), replace=False)
    must_be_free(str(tmp_path / "page.html"), replace=True)


def test_a_file_is_written_whole_and_leaves_nothing_beside(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.txt", "text \u00b1")
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_bytes() == "text \u00b1".encode()
