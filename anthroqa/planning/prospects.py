"""What would a session of this size settle, and what would have to change?

The chance that one person who is as the plan expects (repeat error `expected_tem`, no bias) is
found within the limit, by the rules that will judge the session, from readings drawn with a seed
(`drawn.py`). The interval of a within-subject standard deviation narrows with the root of
subjects x (rounds - 1): Bland & Altman (1996) BMJ 313:744. What a person adds on some subjects and
not on others is not known beforehand and not in it; it makes differences harder to settle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.decisions.enough import LEAST_DF, LEAST_SUBJECTS, spread_factors
from anthroqa.decisions.fine_limits import too_fine_for
from anthroqa.intake import Measure
from anthroqa.notes import NONE, Notes, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.decisions import Limit
from anthroqa.notes.planning import Few, FewRepeats, FewSubjects, NotGiven, Prospect
from anthroqa.planning import drawn
from anthroqa.planning.drawn import Chance
from anthroqa.planning.plan import Block, Plan
from anthroqa.scores.layout.figures import check_confidence

QUESTIONS = ("repeatability", "bias")
COLUMNS = [
    "of", "measure", "question", "staff", "subjects", "rounds", "expected", "limit", "unit",
    "within", "over", "not_settled", "seen_at", "low_factor", "high_factor", "half_width", "note",
]  # fmt: skip
ALONG = (6, 8, 10, 12, 14, 16, 20, 24, 30, 40, 50, 60)  # subjects that changes are looked for at
WANTED = 0.8  # of staff within the limit who should be settled; common practice, no source
_SURE = 0.995
_PEOPLE, _FEWER = 20_000, 4_000  # drawn for a chance, and for each point along subjects


def chances(plan: Plan, *, confidence: float = 0.90, seed: int = 0) -> pd.DataFrame:
    """What the planned session would settle of one person with the expected error.

    Parameters
    ----------
    plan : Plan
    confidence : float, default 0.90
        Coverage of the intervals in the report to come.
    seed : int, default 0
        Of the readings that are drawn; that of the report to come, which draws the ends of
        intervals under one step: what most people read may lie close to the limit by it.

    Returns
    -------
    pandas.DataFrame
        One row a kind of subjects, measure and question, groups together: `of, measure, question,
        staff, subjects, rounds, expected, limit, unit, within, over, not_settled, seen_at,
        low_factor, high_factor, half_width, note`. `staff` (without the reference) and `subjects`
        are those of the smallest group. `within`, `over` and `not_settled` are chances; NaN
        without a limit or an expected error. `seen_at` is a repeat error, or a difference, that
        would be found over the limit in 8 sessions of 10; `low_factor` and `high_factor` are what
        a repeat error is multiplied by for the ends of its interval: under one step all three are
        near, not exact. `half_width` is that of a difference. Amounts are in `unit`.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    return worded(chances_rows(plan, confidence, seed))


def chances_rows(plan: Plan, confidence: float, seed: int) -> pd.DataFrame:
    """The chances of a planned session, as `chances` gives them, with codes in `note`."""
    check_confidence(confidence)
    rows = []
    for block in _kinds(plan):
        for name in block.measures:
            for question in QUESTIONS:
                rows.append(_row(plan, block, plan.measures[name], question, confidence, seed))
    return pd.DataFrame(rows, columns=COLUMNS)


def _kinds(plan: Plan) -> Iterator[Block]:
    """For each kind of subjects the block with the fewest of them, and of staff."""
    for of in dict.fromkeys(block.of for block in plan.blocks):
        blocks = [block for block in plan.blocks if block.of == of]
        people = min((b.people for b in blocks), key=len)
        yield replace(blocks[0], people=people, subjects=min((b.subjects for b in blocks), key=len))


def _row(
    plan: Plan, block: Block, measure: Measure, question: str, confidence: float, seed: int
) -> dict[str, Any]:
    staff, subjects = len(block.people) - (plan.reference is not None), len(block.subjects)
    limit = measure.limit_tem if question == "repeatability" else measure.limit_bias
    row = dict.fromkeys(COLUMNS, math.nan) | {
        "of": block.of, "measure": measure.name, "question": question, "staff": staff,
        "subjects": subjects, "rounds": plan.rounds, "unit": measure.step.unit,
        "expected": _float(measure.expected_tem), "limit": _float(limit),
    }  # fmt: skip
    df = subjects * (plan.rounds - 1)
    if question == "repeatability" and df > 0:
        low, high = spread_factors(drawn.df_less_shift(staff, subjects, plan.rounds), confidence)
        row |= {"low_factor": float(low), "high_factor": float(high)}
        if df >= LEAST_DF:
            usual = math.sqrt(special.chdtri(df, WANTED) / df)  # of the error; in 2 of 10 less
            row["seen_at"] = row["limit"] / (float(low) * usual)
    row["note"] = why = _why_not(plan, measure, question, staff, subjects, limit)
    if measure.expected_tem is None or (question == "bias" and not _compared(plan, staff)):
        return row
    found = _chance(plan, measure, question, staff, subjects, plan.rounds, confidence, seed)
    row["half_width"] = found.half_width * float(measure.step.size)
    if limit is not None:
        row |= {"within": found.within, "over": found.over}
        row["not_settled"] = 1 - found.within - found.over
    if question == "bias" and subjects >= LEAST_SUBJECTS:
        row["seen_at"] = row["limit"] + row["half_width"] * _seen(subjects - 1, confidence)
    method = "tared" if measure.name in plan.tared else "direct"
    if question == "repeatability" and method in too_fine_for(measure, "limit_tem"):
        row["note"] = notes_of(why, Limit.TOO_FINE)
    return row


def _float(amount) -> float:
    return math.nan if amount is None else float(amount)


def _seen(df: int, confidence: float) -> float:
    """How many usual half widths of a t interval lie beyond the limit in enough sessions."""
    t = special.stdtrit(df, (1 + confidence) / 2)
    usual = t * math.sqrt(special.chdtri(df, 0.5) / df)  # in errors of the mean
    return float(special.nctdtrinc(df, 1 - WANTED, t)) / usual


def _compared(plan: Plan, staff: int) -> bool:
    """Whether there is anybody to compare a person with."""
    return plan.reference is not None or staff > 2


def _why_not(plan, measure: Measure, question: str, staff: int, subjects: int, limit) -> Notes:
    """What stands in the way of a finding, if anything does."""
    repeats = subjects * (plan.rounds - 1)
    if question == "bias" and not _compared(plan, staff):
        return notes_of(Prospect.NOBODY_TO_COMPARE_WITH)
    if question == "repeatability" and repeats < LEAST_DF:
        return notes_of(FewRepeats(n=repeats, least=LEAST_DF))
    if question == "bias" and subjects < LEAST_SUBJECTS:
        return notes_of(FewSubjects(n=subjects, least=LEAST_SUBJECTS))
    lacking = NotGiven(limit=limit is None, expected_error=measure.expected_tem is None)
    return notes_of(lacking) if lacking.limit or lacking.expected_error else NONE


def _chance(
    plan: Plan, measure: Measure, question: str, staff: int, subjects: int, rounds: int,
    confidence: float, seed: int, people: int = _PEOPLE,
) -> Chance:  # fmt: skip
    size = float(measure.step.size)
    tared, tem = measure.name in plan.tared, float(measure.expected_tem) / size
    rng = np.random.default_rng([seed, subjects, rounds])
    at = drawn.places(people, subjects, tared=tared, rng=rng)
    own = drawn.read(at, tem, rounds, rng)
    if question == "repeatability":
        limit = _float(measure.limit_tem) / size
        return drawn.repeatability(
            own, limit, staff=staff, tared=tared, confidence=confidence, seed=seed
        )
    others = 1 if plan.reference is not None else staff - 1
    other = drawn.read_by_others(at, tem, rounds, others, rng)
    return drawn.bias(own - other, _float(measure.limit_bias) / size, confidence=confidence)


def changes(
    plan: Plan, table: pd.DataFrame, *, confidence: float = 0.90, seed: int = 0
) -> pd.DataFrame:
    """What would settle more: the chance within the limit along subjects, with one round more too.

    Parameters
    ----------
    plan : Plan
    table : pandas.DataFrame
        What `chances` gave.
    confidence, seed
        As in `chances`.

    Returns
    -------
    pandas.DataFrame
        `of, measure, question, rounds, groups, subjects, within`, for rows with a limit and an
        expected error; a curve ends where next to everybody is settled. `groups` are those that
        the cap on handlings asks for with so many rounds; rounds that it forbids are left out.
        Fewer people are drawn for a point than in `chances`, so that it may differ by a point or
        two.
    """
    rows = []
    for row in table[table["within"].notna()].itertuples():
        measure = plan.measures[row.measure]
        for rounds in (row.rounds, row.rounds + 1):
            groups = _groups(plan, rounds)
            staff = len(plan.staff) // groups if groups else 0  # of the smallest
            if not staff or (row.question == "bias" and not _compared(plan, staff)):
                continue
            for subjects in ALONG:
                within = _chance(
                    plan, measure, row.question, staff, subjects, rounds, confidence, seed, _FEWER
                ).within
                rows.append((row.of, row.measure, row.question, rounds, groups, subjects, within))
                if within > _SURE:
                    break
    return pd.DataFrame(
        rows, columns=["of", "measure", "question", "rounds", "groups", "subjects", "within"]
    )


def _groups(plan: Plan, rounds: int) -> int:
    """In how many groups so many rounds keep to the cap; 0 where none do."""
    most = plan.handling_cap // rounds - (plan.reference is not None)
    return max(len(plan.groups), math.ceil(len(plan.staff) / most)) if most > 0 else 0


def least_subjects(curve: pd.DataFrame, wanted: float = WANTED) -> int | None:
    """Least number of subjects whose chance is as wanted, between the points of one curve."""
    n, chance = curve["subjects"].to_numpy(float), curve["within"].to_numpy(float)
    enough = np.flatnonzero(chance >= wanted)
    if not len(enough):
        return None
    at = enough[0]
    if at == 0:
        return int(n[0])
    share = (wanted - chance[at - 1]) / (chance[at] - chance[at - 1])
    return math.ceil(n[at - 1] + share * (n[at] - n[at - 1]) - 1e-9)


def naming(plan: Plan, table: pd.DataFrame, *, confidence: float = 0.90) -> pd.DataFrame:
    """How likely somebody is wrongly found over a limit in this session.

    Returns
    -------
    pandas.DataFrame
        Two rows, `case, findings, expected, chance`: `as expected`, everybody has the expected
        error and no bias (where one is given); `at the limit`, everybody sits on the limit, which
        is the worst case. `findings` is how many could be made, `expected` how many of them would
        be wrong, and `chance` that there is at least one, as if findings were independent.
    """
    notes = coded(table)["note"]
    hindered = notes.map(lambda note: Few in note or Prospect.NOBODY_TO_COMPARE_WITH in note)
    judged = table[table["limit"].notna() & ~hindered.astype(bool)]
    people = [
        sum(len(b.people) - (plan.reference is not None and row.question == "bias")
            for b in plan.blocks if b.of == row.of)
        for row in judged.itertuples()
    ]  # fmt: skip
    if plan.reference is not None:  # one person, in every group
        groups = len(plan.groups)
        people = [
            n - (groups - 1) * (question == "repeatability")
            for n, question in zip(people, judged["question"], strict=True)
        ]
    people = np.array(people, dtype=float)
    rows = []
    for case, risk in (
        ("as expected", judged["over"].to_numpy(float)),
        ("at the limit", np.full(len(judged), (1 - confidence) / 2)),
    ):
        n, risk = people[risk >= 0], risk[risk >= 0]  # NaN without an expected error
        none = float(np.prod((1 - risk) ** n))
        rows.append((case, int(n.sum()), float((n * risk).sum()), 1 - none))
    return pd.DataFrame(rows, columns=["case", "findings", "expected", "chance"])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """A plan and what its session would settle; `chances` has codes in `note`."""

    plan: Plan
    confidence: float
    seed: int
    chances: pd.DataFrame
    changes: pd.DataFrame
    naming: pd.DataFrame


def look_ahead(plan: Plan, *, confidence: float = 0.90, seed: int = 0) -> Outlook:
    """What a planned session would settle, what would change that, and who may be wrongly named.

    Parameters
    ----------
    plan : Plan
    confidence, seed
        As in `chances`.
    """
    table = chances_rows(plan, confidence, seed)
    return Outlook(
        plan=plan, confidence=confidence, seed=seed, chances=table,
        changes=changes(plan, table, confidence=confidence, seed=seed),
        naming=naming(plan, table, confidence=confidence),
    )  # fmt: skip
