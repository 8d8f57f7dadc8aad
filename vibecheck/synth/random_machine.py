"""Machines nobody built, such as somebody might have."""

from __future__ import annotations

import numpy as np

from vibecheck.machine.parts import Machine
from vibecheck.synth.random_belted import random_belted_lathe, random_mill
from vibecheck.synth.random_head import random_head


def random_machine(rng: np.random.Generator, *, speeds: int | None = None) -> Machine:
    """A plausible machine of 8 to 24 lever positions.

    Parameters
    ----------
    rng : Generator
    speeds : int, optional
        A geared head with this many speeds (8, 9, 12, 16, 18 or 24); any machine when not given.

    >>> len(random_machine(np.random.default_rng(1), speeds=12).positions)
    12
    """
    if speeds is not None or rng.random() < 0.76:
        return random_head(rng, speeds=speeds)
    return random_belted_lathe(rng) if rng.random() < 0.5 else random_mill(rng)
