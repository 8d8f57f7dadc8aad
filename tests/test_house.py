"""The house keeps its own rules: what stands where, who may look at whom, and what may be said."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from fnmatch import fnmatch
from importlib import import_module
from pathlib import Path

import click
import pytest

import vibecheck
from vibecheck.cli import COMMANDS
from vibecheck.files.gear_table import read_machine
from vibecheck.files.shipped import shipped_folder, shipped_names
from vibecheck.pipeline import positions_of

PACKAGE = Path(vibecheck.__file__).parent
TOP = PACKAGE.parent
ROOMS = ("cli", "report", "files", "capture", "diagnosis", "synth", "spectra", "machine", "finish")
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if "shipped" not in path.parts)
HEAVY = ("numpy", "scipy", "matplotlib", "librosa", "soundfile", "sounddevice", "starlette", "av")
TEXT = (".py", ".md", ".toml", ".txt", ".html", ".json", ".csv", ".svg", ".yml", "")
MEGABYTE = 1 << 20


def tree(*, text_only: bool = True) -> list[Path]:
    """Every file of the checkout that belongs to the project."""
    ignored = (TOP / ".gitignore").read_text().split()
    found = []
    for path in sorted(TOP.rglob("*")):
        parts = path.relative_to(TOP).parts
        if parts[0] == ".git" or not path.is_file():
            continue
        if any(fnmatch(part, mark.rstrip("/")) for part in parts for mark in ignored):
            continue
        if not text_only or path.suffix in TEXT:
            found.append(path)
    return found


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def relative(path: Path) -> str:
    return str(path.relative_to(TOP))


def loaded_by(code: str) -> set[str]:
    """Which heavy libraries a fresh process has imported after running ``code``."""
    said = f"{code}\nimport sys\nprint('loaded', *sorted(set(sys.modules) & set({HEAVY!r})))"
    done = subprocess.run(
        [sys.executable, "-c", said], capture_output=True, text=True, check=True, timeout=60
    )
    return set(done.stdout.splitlines()[-1].split()[1:])


def test_the_top_level_is_exactly_what_was_agreed() -> None:
    here = {relative(path).split("/")[0] for path in tree(text_only=False)}
    plain = {name for name in here if not name.startswith(".")}
    assert plain == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "vibecheck",
        "tests",
        "recordings",
        "gear_tables",
    }
    assert here - plain <= {".ci", ".gitignore", ".github"}


def test_the_package_holds_the_agreed_rooms_and_halls() -> None:
    folders = {p.name for p in PACKAGE.iterdir() if p.is_dir() and (p / "__init__.py").is_file()}
    files = {p.stem for p in PACKAGE.glob("*.py")} - {"__init__", "__main__"}
    assert folders == set(ROOMS)
    assert files == {"pipeline", "recording", "units", "errors"}


def test_nobody_looks_up_the_stairs() -> None:
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports())"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=120
    )
    assert done.returncode == 0, done.stdout


def test_every_room_has_its_storey() -> None:
    contracts = tomllib.loads((TOP / "pyproject.toml").read_text())["tool"]["importlinter"]
    layers = next(each for each in contracts["contracts"] if each["type"] == "layers")
    assert layers["exhaustive"] is True
    named = {room.strip() for layer in layers["layers"] for room in layer.split("|")}
    assert named == {*ROOMS, "pipeline", "recording", "units", "errors", "__main__"}


def test_the_readme_lists_every_command_and_no_other() -> None:
    table = re.findall(r"^\| `vibecheck ([\w-]+)`", (TOP / "README.md").read_text(), re.MULTILINE)
    assert sorted(table) == sorted(COMMANDS)


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_command_spoken_of_exists(page: str) -> None:
    said = re.findall(
        r"(?:^ {4}|`)vibecheck ([a-z][a-z-]+)", (TOP / page).read_text(), re.MULTILINE
    )
    assert set(said) <= set(COMMANDS)


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_its_file_and_explains_itself(name: str) -> None:
    module = import_module(f"vibecheck.cli.{name.replace('-', '_')}")
    assert isinstance(module.command, click.Command)
    help_text = module.command.get_help(click.Context(module.command, info_name=name))
    assert module.command.help
    assert max(len(line) for line in help_text.splitlines()) <= 80


def test_every_file_with_a_command_is_listed() -> None:
    made = {
        path.stem.replace("_", "-")
        for path in (PACKAGE / "cli").glob("*.py")
        for node in parsed(path).body
        if isinstance(node, ast.FunctionDef) and node.name == "command"
    }
    assert made == set(COMMANDS)


@pytest.mark.parametrize("name", shipped_names("gear_tables", ".toml"))
def test_every_shipped_table_loads_and_turns_at_every_position(name: str) -> None:
    machine = read_machine(name)
    turnings = positions_of(machine)
    assert len(turnings) == len(machine.positions)
    assert all(machine.spindle in turning.rotors for turning in turnings.values())


def test_help_imports_nothing_heavy() -> None:
    code = "from vibecheck.cli import main\nmain(['--help'], standalone_mode=False)"
    assert loaded_by(code) == set()


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_help_of_a_command_imports_nothing_heavy(name: str) -> None:
    code = f"from vibecheck.cli import main\nmain([{name!r}, '--help'], standalone_mode=False)"
    assert loaded_by(code) == set()


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_every_module_says_what_it_is_for(path: Path) -> None:
    said = ast.get_docstring(parsed(path))
    assert said is not None
    assert len(said.split()) >= 3


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_only_the_command_line_prints_or_exits(path: Path) -> None:
    if "cli" in path.parts or path.name == "__main__.py":
        return
    called = {
        node.func.id
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not called & {"print", "exit", "quit", "input"}


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_pictures_are_made_without_a_window(path: Path) -> None:
    assert "pyplot" not in re.sub(r"#.*|\"\"\".*?\"\"\"", "", path.read_text(), flags=re.DOTALL)


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_the_number_sixty_has_one_home(path: Path) -> None:
    if path.name == "units.py":
        return
    at = [
        node.lineno
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult | ast.Div)
        for side in (node.left, node.right)
        if isinstance(side, ast.Constant) and side.value == 60
        if "frequency_hz" not in ast.unparse(node)
    ]
    assert at == []


def test_nothing_in_the_tree_speaks_of_where_or_how_it_was_written() -> None:
    slash = "/"
    marks = [
        rf"{slash}work\b",
        rf"{slash}tmp\b",
        rf"{slash}root\b",
        rf"{slash}home{slash}\w",
        r"\bissue #?\d",
        r"\b(?:sub-?)?agents?\b",
        r"\bhelpers?\b",
        r"(?-i:\bTODO\b|\bFIXME\b|\bXXX\b)",
    ]
    forbidden = re.compile("|".join(marks), re.IGNORECASE)
    found = [
        f"{relative(path)}:{number}: {line.strip()[:80]}"
        for path in tree()
        if path != Path(__file__)
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if forbidden.search(line)
    ]
    assert found == []


def test_no_room_is_called_after_odds_and_ends() -> None:
    bad = re.compile(r"util|helper|manager|handler|common|misc", re.IGNORECASE)
    assert [relative(path) for path in MODULES if bad.search(path.stem)] == []


def test_what_is_shipped_is_small() -> None:
    size = sum(p.stat().st_size for p in shipped_folder("recordings").rglob("*") if p.is_file())
    assert 0 < size < 4 * MEGABYTE
    assert all(path.stat().st_size < MEGABYTE for path in tree(text_only=False))


def test_licence_travels_in_the_package() -> None:
    assert (PACKAGE / "LICENCE.txt").read_text().strip()
