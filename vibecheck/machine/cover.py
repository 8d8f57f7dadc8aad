"""The fewest lever positions that part every pair of suspects any position parts."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from vibecheck.machine.parts import Machine
from vibecheck.machine.signature import Sign, moves_alike, parted_here, seconds_to_part
from vibecheck.machine.turning import turning

SHORTEST_S = 20.0
SPINDLE_TURNS = 20.0
LONGEST_S = 120.0
NOTHING = "nothing wrong"


class Cover:
    """Which position parts which pair of suspects; pairs are bits of a number."""

    def __init__(
        self, machine: Machine, signs: dict[str, tuple[Sign, ...]], relative: float
    ) -> None:
        self.machine, self.relative = machine, relative
        self.labels = [position.label for position in machine.positions]
        nothing = tuple(Sign(state="still", rate_hz=None) for _ in self.labels)
        self.signs = {**signs, NOTHING: nothing}
        self.pairs = list(combinations(self.signs, 2))
        count = len(self.labels)
        self.single = [self._single(index) for index in range(count)]
        self.double = {(a, b): self._double(a, b) for a, b in combinations(range(count), 2)}
        self.turns = [self._turns_seconds(index) for index in range(count)]

    def _single(self, index: int) -> int:
        bits = 0
        for bit, (a, b) in enumerate(self.pairs):
            x, y = self.signs[a][index], self.signs[b][index]
            if parted_here(x, y, self.relative, LONGEST_S):
                bits |= 1 << bit
        return bits

    def _double(self, i: int, j: int) -> int:
        """Pairs whose rates, known only up to a factor, keep another ratio at two positions."""
        bits = 0
        for bit, (a, b) in enumerate(self.pairs):
            rows = [(self.signs[n][i], self.signs[n][j]) for n in (a, b)]
            if not moves_alike(rows[0], rows[1], self.relative):
                bits |= 1 << bit
        return bits

    def parted(self, picked: Sequence[int]) -> int:
        """The pairs parted by takes at these positions."""
        bits = 0
        for index in picked:
            bits |= self.single[index]
        for pair in combinations(sorted(picked), 2):
            bits |= self.double[pair]
        return bits

    def smallest(self) -> tuple[int, ...]:
        """Fewest positions that part all that can be parted; of those, the quickest to record."""
        everything = range(len(self.labels))
        goal = self.parted(tuple(everything))
        for size in range(1, 4 if len(self.labels) > 24 else 5):
            found = [c for c in combinations(everything, size) if self.parted(c) == goal]
            if found:
                return min(found, key=self._cost)
        return self._greedy(goal)

    def _cost(self, picked: tuple[int, ...]) -> float:
        """Roughly the time: spindle turns and shortest length; closeness is added afterwards."""
        return sum(self.turns[index] for index in picked)

    def _greedy(self, goal: int) -> tuple[int, ...]:
        picked: list[int] = []
        while self.parted(picked) != goal:
            steps = [
                step
                for size in (1, 2)
                for step in combinations(range(len(self.labels)), size)
                if not set(step) & set(picked)
            ]
            best = max(
                steps,
                key=lambda s: (
                    (self.parted([*picked, *s]) & goal).bit_count() / len(s),
                    -self._cost(s),
                ),
            )
            picked += best
        needed = [i for i in picked if self.parted([k for k in picked if k != i]) != goal]
        return tuple(sorted(needed if self.parted(needed) == goal else picked))

    def _turns_seconds(self, index: int) -> float:
        here = turning(self.machine, self.machine.positions[index])
        spindle = here.nominal_hz(self.machine.spindle)
        return max(SHORTEST_S, SPINDLE_TURNS / spindle if spindle else SHORTEST_S)

    def seconds_of(self, index: int, bit: int) -> float:
        """Length of take that parts one pair at one position by their rates."""
        a, b = self.pairs[bit]
        return seconds_to_part(self.signs[a][index], self.signs[b][index], self.relative)
