"""In which order does each person meet the subjects, round by round?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Turns = npt.NDArray[np.int64]


def rotation(
    people: int, subjects: int, rounds: int, *, reference: int | None, rng: np.random.Generator
) -> Turns:
    """Who is with which subject in each turn: rounds x turns x people, -1 where one waits."""
    raise NotImplementedError
