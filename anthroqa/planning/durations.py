"""How long is the day, when does each turn begin, and how often is a child handled?

A turn lasts as long as all measures of the block take one person and one child. Everybody rests
after every `rest_after` turns of a round, and between rounds. Two minutes a reading, rests and
breaks are common practice, no source: the program's own come first.
"""

from __future__ import annotations

import pandas as pd

from anthroqa.planning.plan import Block, Plan
from anthroqa.planning.planned_rows import turns

REST = "rest"


def timetable(plan: Plan, block: Block) -> pd.DataFrame:
    """When each turn of a block begins, and who is with whom.

    One row a turn or rest: `round`, `turn` (NA in a rest), `minute` from the block's beginning,
    then a column a person with the subject's code, "" where they wait.
    """
    met = turns(plan, block)
    length = turn_minutes(plan, block)
    rows, minute = [], 0.0
    for r, one in enumerate(met, start=1):
        for t, subjects in enumerate(one, start=1):
            codes = ["" if s < 0 else block.subjects[s] for s in subjects]
            rows.append((r, t, minute, *codes))
            minute += length
            if rests_after(plan, t, len(one)):
                rows.append((r, pd.NA, minute, *[REST] * len(block.people)))
                minute += plan.rest_minutes
        minute += plan.break_minutes
    table = pd.DataFrame(rows, columns=["round", "turn", "minute", *block.people])
    return table.astype({"turn": "Int64"})


def rests_after(plan: Plan, turn: int, turns_of_round: int) -> bool:
    """Whether everybody rests after this turn; never at the end of a round."""
    return turn % plan.rest_after == 0 and turn < turns_of_round and plan.rest_minutes > 0


def turn_minutes(plan: Plan, block: Block) -> float:
    """How long one person and one child take for everything."""
    return sum(plan.minutes[name] for name in block.measures)


def workload(plan: Plan) -> pd.DataFrame:
    """What each block asks of children and of the day.

    Returns
    -------
    pandas.DataFrame
        `group, of, people, subjects, rounds, handlings, cap, turn_minutes, minutes`:
        `handlings` of a child for each measure, `minutes` from the first turn to the last with
        rests and breaks: as long as its children are there. Blocks of one group follow one
        another; groups do so too where the reference is in all of them.
    """
    rows = []
    for block in plan.blocks:
        day = timetable(plan, block)
        length = turn_minutes(plan, block)
        rows.append({
            "group": block.group, "of": block.of, "people": len(block.people),
            "subjects": len(block.subjects), "rounds": plan.rounds,
            "handlings": plan.rounds * len(block.people), "cap": plan.handling_cap,
            "turn_minutes": length, "minutes": float(day["minute"].iloc[-1]) + length,
        })  # fmt: skip
    return pd.DataFrame(rows)


def day_minutes(plan: Plan) -> float:
    """From the first turn to the last, all blocks and groups in their order."""
    work = workload(plan)
    breaks = plan.break_minutes
    by_group = work.groupby("group")["minutes"].agg(lambda m: m.sum() + breaks * (len(m) - 1))
    if plan.reference is None:
        return float(by_group.max())
    return float(by_group.sum() + breaks * (len(by_group) - 1))
