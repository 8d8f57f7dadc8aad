"""How large a change must be to be called, by number of repeats and by how well the sensor sits.

Run: python tests/benchmarks/comparison_sensitivity.py
Statistic level: 8 positions of 40 lines, one line of one position changed. Also prints, for pairs
in which nothing changed, the share of intervals that hold 0 and of pairs with a false call.
"""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.compared.repeatability import repeatability_of
from vibecheck.diagnosis.compared.repeated_levels import Cell
from vibecheck.diagnosis.compared.resolved_changes import (
    change_chances,
    interval_factor,
    resolved,
    spread_of,
)

POSITIONS, LINES, NOISE_DB = 8, 40, 0.3
CHANGES_DB = (0, -2, -3, -4, -6, -8, -10, -14, -20)


def cells(rng, takes, seat, line, change):
    made = []
    for position in range(POSITIONS):
        levels = rng.normal(0, seat, 2 * takes) + rng.normal(
            0, np.hypot(line, NOISE_DB), (LINES, 2 * takes)
        )
        if position == 0:
            levels[0, takes:] += change
        noise = np.full((LINES, takes), NOISE_DB)
        made.append(
            Cell(
                before_db=levels[:, :takes],
                after_db=levels[:, takes:],
                before_noise_db=noise,
                after_noise_db=noise,
                fit=np.ones(LINES, dtype=bool),
            )
        )
    return made


def played(rng, pairs, takes, seat, line, change):
    hit = false = inside = 0.0
    for _ in range(pairs):
        made = cells(rng, takes, seat, line, change)
        known = repeatability_of(made, line_db=2.5)
        spreads = [spread_of(cell, known) for cell in made]
        chances = [
            change_chances(cell.change_db, spread, cell.fit)
            for cell, spread in zip(made, spreads, strict=True)
        ]
        called = resolved(np.concatenate(chances))
        hit += called[0]
        false += called[1:].any()
        held = [
            np.abs(cell.change_db[1:]) <= (interval_factor(s.dof) * s.standard_db)[1:]
            for cell, s in zip(made, spreads, strict=True)
        ]
        inside += np.mean(held)
    return hit / pairs, false / pairs, inside / pairs


def main():
    rng = np.random.default_rng(0)
    print("share of pairs in which the changed line is called; change in dB across")
    print("takes seat line  " + " ".join(f"{change:5d}" for change in CHANGES_DB) + "  false  95 %")
    for takes in (1, 2, 3, 5):
        for seat, line in ((0.5, 0.5), (1.5, 0.5), (1.5, 1.5)):
            row = [played(rng, 150, takes, seat, line, change) for change in CHANGES_DB]
            hits = " ".join(f"{hit:5.2f}" for hit, _, _ in row)
            false = np.mean([wrong for _, wrong, _ in row])
            held = np.mean([inside for _, _, inside in row])
            print(f"{takes:5d} {seat:4.1f} {line:4.1f}  {hits}  {false:.3f} {held:.3f}")


if __name__ == "__main__":
    main()
