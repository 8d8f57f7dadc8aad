"""How long the program takes to say anything, against a bare interpreter that imports click.

    python tests/benchmarks/startup.py [RUNS]

Wanted: `--help` within 1.5 times `python -c "import click"`. Times are of whole fresh processes,
processor time of the child, the least of several runs: steadier on a busy machine than the clock.
"""

from __future__ import annotations

import resource
import subprocess
import sys
from collections.abc import Sequence

WANTED = 1.5
BARE = ("-c", "import click")
CALLS: dict[str, Sequence[str]] = {
    'python -c "import click"': BARE,
    "vibecheck --help": ("-m", "vibecheck", "--help"),
    "vibecheck --version": ("-m", "vibecheck", "--version"),
    "vibecheck diagnose --help": ("-m", "vibecheck", "diagnose", "--help"),
    "vibecheck record --help": ("-m", "vibecheck", "record", "--help"),
    "vibecheck speeds lathe-8-speed": ("-m", "vibecheck", "speeds", "lathe-8-speed"),
    "vibecheck plan lathe-8-speed": ("-m", "vibecheck", "plan", "lathe-8-speed"),
}


def processor_s(arguments: Sequence[str]) -> float:
    """Processor seconds of one fresh interpreter with these arguments."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def least(arguments: Sequence[str], runs: int) -> float:
    """The least of several runs; the first, which fills the caches, does not count."""
    processor_s(arguments)
    return min(processor_s(arguments) for _ in range(runs))


def main(runs: int = 9) -> None:
    """Print every call with its time and its ratio to the bare interpreter."""
    bare = least(BARE, runs)
    print(f"{'call':36s} {'ms':>8s} {'ratio':>7s}")
    for name, arguments in CALLS.items():
        seconds = least(arguments, runs)
        print(f"{name:36s} {1000 * seconds:8.0f} {seconds / bare:7.2f}")
    print(f"wanted: --help at most {WANTED} times the bare interpreter")


if __name__ == "__main__":
    main(*(int(number) for number in sys.argv[1:2]))
