"""How often is a copied second round found by `identical_repeats`, and an honest one suspected?

In every session the staff's TEMs differ (SD of their logarithm 0.3) about the usual one of the
instrument.
"""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pandas as pd
from calibration.sessions import DESIGNS, session

from anthroqa.scores.layout.cube import Cube
from anthroqa.scores.repeats.likeness import figures

SPREAD = 0.3
RISK = 0.05
COPIED = 8  # of 12 second readings
# beside eight staff, ten subjects and two rounds
VARIATIONS: dict[str, dict[str, float]] = {
    "8 staff x 10 x 2": {},
    "20 subjects": {"subjects": 20},
    "3 rounds": {"rounds": 3},
    "4 staff": {"staff": 4},
    "4 staff, 20 subjects, 3 rounds": {"staff": 4, "subjects": 20, "rounds": 3},
    "biases of 0.7 TEM": {"bias": 0.7},
    "a fifth of round 2 missing": {"missing": 0.2},
    "no second round for half": {"missing": 0.5},
    "equally skilled": {"spread": 0.0},
}


def with_copies(cube: Cube) -> Cube:
    """The session with the first person's second readings of eight subjects copied."""
    x = cube.x.copy()
    x[0, :COPIED, 1:] = x[0, :COPIED, :1]
    return replace(cube, x=x)


def p_values(cube: Cube) -> np.ndarray:
    """The p-values of a session's people."""
    (found,) = figures(cube, 0.90, np.random.default_rng(0))
    return found.p_value


def study(
    sessions: int, seed: int, *, designs: Collection[str] = tuple(DESIGNS),
    variations: Collection[str] = tuple(VARIATIONS),
) -> pd.DataFrame:  # fmt: skip
    """Shares of people at p <= 0.05, and of sessions that name somebody after Holm.

    Rows with `copied` are of the one who copied 8 of 12 second readings among eight staff.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for design in designs:
        usual = DESIGNS[design]
        for variation in variations:
            own = {"spread": SPREAD} | VARIATIONS[variation]
            p = np.array([p_values(session(usual, rng, **own)) for _ in range(sessions)])
            rows.append(_row(design, variation, p, copied=False))
        p = np.array([
            p_values(with_copies(session(usual, rng, subjects=12, spread=SPREAD)))[:1]
            for _ in range(sessions)
        ])  # fmt: skip
        rows.append(_row(design, "8 of 12 copied", p, copied=True))
    return pd.DataFrame(rows)


def _row(design: str, variation: str, p: np.ndarray, *, copied: bool) -> dict[str, object]:
    judged = ~np.isnan(p)
    staff = 8 if copied else p.shape[1]
    return {
        "design": design, "variation": variation, "copied": copied, "sessions": len(p),
        "people": int(judged.sum()), "found": float((p[judged] <= RISK).mean()),
        "named": float((p <= RISK / staff).any(axis=1).mean()),
    }  # fmt: skip
