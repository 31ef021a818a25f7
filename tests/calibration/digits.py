"""How often do the tests of marks name the honest, and how often do they find a leaner?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from calibration.sessions import DESIGNS, session

from anthroqa.scores.marks.digits import figures

STAFF = 8
# what a session is like beside the plain one: 10 subjects, 2 rounds, 8 staff
PLANS: Mapping[str, Mapping[str, Any]] = {
    "plain": {},
    "20 subjects": {"subjects": 20},
    "3 rounds": {"rounds": 3},
    "4 staff": {"staff": 4},
    "biases of 0.7 TEM": {"bias": 0.7},
    "TEMs spread by 0.3": {"spread": 0.3},
    "second readings missing": {"missing": 0.2},
    "1 of 8 leans": {"leaners": 1},
    "2 of 8 lean": {"leaners": 2},
    "4 of 8 lean": {"leaners": 4},
}


def study(
    sessions: int, seed: int, *, plans: Iterable[str] = PLANS, designs: Iterable[str] = DESIGNS
) -> pd.DataFrame:
    """Rates over drawn sessions, one row a plan and design.

    `honest_marks` and `honest_digits` are shares of honest people with p <= 0.05, of
    `honest`; `found_marks` of leaners with p <= 0.05 / 8, `found_digits` with p <= 0.05, and
    `covered` whose interval of the share (0.90) holds the planted 0.6, of `leaners`.
    """
    rows = []
    for plan in plans:
        for number, name in enumerate(designs):
            rng = np.random.default_rng([seed, number, list(PLANS).index(plan)])
            rows.append({"plan": plan, "design": name, **_rates(sessions, name, rng, PLANS[plan])})
    return pd.DataFrame(rows)


def _rates(
    sessions: int, name: str, rng: np.random.Generator, plan: Mapping[str, Any]
) -> dict[str, float]:
    lean = plan.get("leaners", 0)
    honest, leaners, covered = [], [], []
    for _ in range(sessions):
        cube = session(DESIGNS[name], rng, **plan)
        digits, *marks = figures(cube, 0.90, rng)
        p = np.stack([np.min([m.p_value for m in marks], axis=0), digits.p_value], axis=1)
        honest.append(p[lean:])
        leaners.append(p[:lean])
        half = marks[list(cube.measure.coarse_marks).index(DESIGNS[name].half)]
        share = plan.get("share", 0.6)
        covered.append(((half.lower <= share) & (share <= half.upper))[:lean])
    h, found = np.concatenate(honest), np.concatenate(leaners)
    out = {
        "honest": len(h),
        "honest_marks": float((h[:, 0] <= 0.05).mean()),
        "honest_digits": float((h[:, 1] <= 0.05).mean()),
        "leaners": len(found),
    }
    if lean:
        out["found_marks"] = float((found[:, 0] <= 0.05 / STAFF).mean())
        out["found_digits"] = float((found[:, 1] <= 0.05).mean())
        out["covered"] = float(np.concatenate(covered).mean())
    return out


def power(
    sessions: int, seed: int, *, shares: Iterable[float], subjects: Iterable[int]
) -> pd.DataFrame:
    """How often a leaner is named after Holm over 8 staff: one row a design, share and size."""
    rows = []
    for number, name in enumerate(DESIGNS):
        for n in subjects:
            for share in shares:
                rng = np.random.default_rng([seed, number, n, round(100 * share)])
                plan = {"leaners": 2, "share": share, "subjects": n}
                found = _rates(sessions, name, rng, plan)["found_marks"]
                rows.append({"design": name, "subjects": n, "share": share, "found": found})
    return pd.DataFrame(rows)
