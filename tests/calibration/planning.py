"""Do the chances of a plan hold in whole sessions that are scored and judged?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

import numpy as np
import pandas as pd
from calibration.shifts import ONLY, as_measures

import anthroqa
from anthroqa.planning import chances
from anthroqa.planning.plan import plan_of
from anthroqa.simulate import draw, nearest


class Design(NamedTuple):
    """A session of one measure; amounts in steps of 1 mm, limits written as in a plan."""

    tem: float
    limit_tem: str
    limit_bias: str
    staff: int
    subjects: int
    rounds: int
    reference: bool
    tared: bool = False


DESIGNS = (
    Design(3.0, "4.5", "2.7", 5, 12, 2, reference=True),
    Design(1.2, "2", "1", 6, 10, 2, reference=True),
    Design(1.2, "2", "0.8", 6, 16, 2, reference=True),
    Design(0.4, "0.7", "0.5", 5, 10, 2, reference=True),
    Design(0.2, "0.5", "0.3", 5, 10, 2, reference=True),
    Design(0.9, "1.35", "0.6", 4, 12, 2, reference=False),
    Design(2.0, "2.8", "1.4", 6, 10, 3, reference=False),
    Design(1.2, "3", "1.5", 3, 6, 2, reference=False),
    Design(0.6, "1.2", "0.8", 4, 10, 2, reference=True, tared=True),
)
_MEASURERS = 134  # to a session asked for: 150 make 20,000
_AT_ONCE = 50  # sessions that share one drawing of the tails

PLAN = """
staff = {staff}
subjects = {subjects}
rounds = {rounds}
handling_cap = 100
{lead}
[measure.m]
recorded_to = "1 mm"
expected_tem = "{tem} mm"
limit_tem = "{limit_tem} mm"
limit_bias = "{limit_bias} mm"
limit_source = "drawn"
{tare}
"""


def study(sessions: int, seed: int, *, designs: Sequence[Design] = DESIGNS, scored: int = 0):
    """Chances of a plan beside the shares found in drawn sessions, a row a design and question.

    `scored` is the seed of the plan and of the scores. It is the same for both: under one step so
    many people read alike that the drawn end of one interval, near the limit, decides on all.
    """
    rows = []
    for place, design in enumerate(designs):
        plan = plan_of(PLAN.format(
            **design._asdict(), lead='reference = "LEAD"' if design.reference else "",
            tare="tared = true" if design.tared else "",
        ))  # fmt: skip
        expected = chances(plan, seed=scored).set_index("question")
        rng = np.random.default_rng([seed, place])
        found = _found(design, sessions * _MEASURERS, rng, scored)
        for question, of in found.groupby("question", sort=False):
            row = expected.loc[question]
            rows.append(design._asdict() | {
                "question": question, "measurers": len(of), "planned": row["within"],
                "found": (of["state"] == "within limit").mean(), "planned_over": row["over"],
                "found_over": (of["state"] == "over limit").mean(),
            })  # fmt: skip
    table = pd.DataFrame(rows)
    table["points"] = 100 * (table["found"] - table["planned"])
    return table


def _found(design: Design, measurers: int, rng: np.random.Generator, seed: int) -> pd.DataFrame:
    """The findings on so many staff, in sessions that share nothing but the design."""
    found, left = [], measurers
    while left > 0:
        session = _session(design, rng)
        measures = {
            name: replace(
                measure, limit_tem=Fraction(design.limit_tem),
                limit_bias=Fraction(design.limit_bias), limit_source="drawn",
            )
            for name, measure in session.measures.items()
        }  # fmt: skip
        session = replace(session, measures=measures)
        table = anthroqa.decide(anthroqa.score(session, only=ONLY, seed=seed), session)
        found.append(table[table["measurer"] != session.reference])
        left -= _AT_ONCE * design.staff
    return pd.concat(found)


def _session(design: Design, rng: np.random.Generator) -> anthroqa.Session:
    """Some sessions as measures of one; a tare is a second display that errs alike."""
    people, displays = design.staff + design.reference, 1 + design.tared
    gross, *tare = (
        np.array([_counts(design, people, displays, rng) for _ in range(_AT_ONCE)])
        for _ in range(displays)
    )
    session = as_measures(gross - tare[0] if tare else gross)
    if tare:
        readings = session.readings.assign(count_read=gross.ravel(), count_tare=tare[0].ravel())
        session = replace(session, readings=readings)
    return session if design.reference else replace(session, reference=None)


def _counts(design: Design, people: int, displays: int, rng: np.random.Generator) -> np.ndarray:
    return nearest(draw(
        rng.uniform(500, 1300, design.subjects), shift=np.zeros(design.rounds), rng=rng,
        tem=np.full(people, design.tem / np.sqrt(displays)),
    ))  # fmt: skip
