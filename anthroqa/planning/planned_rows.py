"""Which readings are planned, in the order in which the sheets ask for them?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from anthroqa.planning.order import Turns, rotation
from anthroqa.planning.plan import Block, Plan

COLUMNS = [
    "sheet", "line", "group", "of", "measurer", "subject", "measure", "round", "turn",
]  # fmt: skip


def turns(plan: Plan, block: Block) -> Turns:
    """The rotation of one block: rounds x turns x people, index of a subject or -1."""
    place = plan.blocks.index(block)
    return rotation(
        len(block.people), len(block.subjects), plan.rounds,
        reference=len(block.people) - 1 if plan.reference else None,
        rng=np.random.default_rng([plan.seed, place]),
    )  # fmt: skip


def sheet_code(block: Block, measurer: str, number: int) -> str:
    """What is printed on a sheet and stands beside its rows in the workbook."""
    return "-".join(filter(None, (measurer, block.group, block.of, f"R{number}")))


def planned(plan: Plan) -> pd.DataFrame:
    """Every planned reading, one a row, in the order of the sheets.

    `sheet` is the code of the page that asks for it and `line` its line there, from 1; `turn`
    counts from 1 within the round. By group, round, measurer (the reference last), kind of
    subjects, line, and measure.
    """
    orders = {block: turns(plan, block) for block in plan.blocks}
    rows = []
    for group in plan.groups:
        blocks = [block for block in plan.blocks if block.group == group]
        for number in range(1, plan.rounds + 1):
            for p, person in enumerate(blocks[0].people):
                for block in blocks:
                    sheet, met = sheet_code(block, person, number), orders[block][number - 1, :, p]
                    at = np.flatnonzero(met >= 0)
                    for line, turn in enumerate(at, start=1):
                        subject = block.subjects[met[turn]]
                        rows += [
                            (sheet, line, group, block.of, person, subject, measure, number,
                             turn + 1)
                            for measure in block.measures
                        ]  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)
