"""Readings with a known make-up, one by one and as cells, for tests of variances."""

from collections.abc import Mapping, Sequence

import numpy as np

from anthroqa.scores.layout.cells import Cells, gather


def cells_of(layout: Mapping[str, Sequence[Sequence[float]]], *, rounds: bool = False) -> Cells:
    """People -> subjects -> readings; rounds fixed or, by default, one mean for all."""
    rows = [
        (x, p, s, k)
        for p, subjects in enumerate(layout.values())
        for s, readings in enumerate(subjects)
        for k, x in enumerate(readings)
        if x is not None
    ]
    x, person, subject, turn = np.array(rows).T
    if not rounds:
        turn = np.zeros_like(turn)
    return gather(x, person, subject, *fixed_rounds(turn))


def fixed_rounds(turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """One column a round, all in one group."""
    columns = (turn[:, None] == np.unique(turn)).astype(float)
    return columns, np.zeros(columns.shape[1], dtype=np.int64)


def drawn(
    rng: np.random.Generator, *, staff: int = 5, subjects: int = 8, rounds: int = 2,
    missing: float = 0.0, sd: Sequence[float] = (20.0, 3.0, 2.0, 3.0), shift: float = 3.0,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """Readings one by one: value, person, subject, round; `sd` of subject, person, both, repeat."""
    person, subject, turn = np.indices((staff, subjects, rounds)).reshape(3, -1)
    x = (
        500 + shift * turn
        + (sd[0] * rng.standard_normal(subjects))[subject]
        + (sd[1] * rng.standard_normal(staff))[person]
        + (sd[2] * rng.standard_normal((staff, subjects)))[person, subject]
        + sd[3] * rng.standard_normal(len(turn))
    )  # fmt: skip
    there = rng.random(len(turn)) >= missing
    return np.rint(x[there]).astype(np.int64), person[there], subject[there], turn[there]
