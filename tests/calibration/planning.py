"""Do the chances of a plan hold in whole sessions that are scored and judged?"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pandas as pd
from calibration.shifts import as_measures, decided

from anthroqa.planning import chances
from anthroqa.planning.plan import plan_of
from anthroqa.simulate import draw, nearest

# repeat error in steps, limit in such errors, staff, subjects, rounds, whether there is a reference
DESIGNS = (
    (3.0, "1.5", 5, 12, 2, True),
    (1.2, "1.67", 6, 10, 2, True),
    (1.2, "1.67", 6, 16, 2, True),
    (0.4, "1.75", 5, 10, 2, True),
    (0.9, "1.5", 4, 12, 2, False),
    (2.0, "1.4", 6, 10, 3, False),
)
_MEASURERS = 134  # to a session asked for: 150 make 20,000
_AT_ONCE = 50  # sessions that share one drawing of the tails

PLAN = """
staff = {staff}
subjects = {subjects}
rounds = {rounds}
handling_cap = 100
{reference}
[measure.m]
recorded_to = "1 mm"
expected_tem = "{tem} mm"
limit_tem = "{limit} mm"
limit_bias = "{limit} mm"
limit_source = "drawn"
"""


def study(sessions: int, seed: int) -> pd.DataFrame:
    """Chances of a plan beside the shares found in drawn sessions, a row a design and question."""
    rows = []
    for place, design in enumerate(DESIGNS):
        tem, limit, staff, subjects, rounds, referenced = design
        amount = Fraction(limit) * Fraction(str(tem))
        plan = plan_of(PLAN.format(
            staff=staff, subjects=subjects, rounds=rounds, tem=tem, limit=float(amount),
            reference='reference = "LEAD"' if referenced else "",
        ))  # fmt: skip
        expected = chances(plan).set_index("question")
        found = _found(design, sessions * _MEASURERS, np.random.default_rng([seed, place]))
        for question, of in found.groupby("question", sort=False):
            row = expected.loc[question]
            rows.append({
                "tem": tem, "limit": float(amount), "staff": staff, "subjects": subjects,
                "rounds": rounds, "reference": referenced, "question": question,
                "measurers": len(of), "planned": row["within"],
                "found": (of["state"] == "within limit").mean(), "planned_over": row["over"],
                "found_over": (of["state"] == "over limit").mean(),
            })  # fmt: skip
    table = pd.DataFrame(rows)
    table["points"] = 100 * (table["found"] - table["planned"])
    return table


def _found(design, measurers: int, rng: np.random.Generator) -> pd.DataFrame:
    """The findings on so many people, in sessions that share nothing but the design.

    They are scored with the seed of the plan: under one step so many people read alike that the
    drawn end of one interval, near the limit, decides on all of them.
    """
    tem, limit, staff, subjects, rounds, referenced = design
    people = staff + referenced
    found, left = [], measurers
    while left > 0:
        counts = np.array([
            nearest(draw(
                rng.uniform(500, 1300, subjects), tem=np.full(people, tem),
                shift=np.zeros(rounds), rng=rng,
            ))
            for _ in range(_AT_ONCE)
        ])  # fmt: skip
        session = as_measures(counts)
        if not referenced:
            session = replace(session, reference=None)
        table = decided(session, tem, seed=0, limits=[limit])
        found.append(table[table["measurer"] != session.reference])
        left -= staff * _AT_ONCE
    return pd.concat(found)
