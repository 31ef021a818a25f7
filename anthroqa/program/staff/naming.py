"""Who is named, among so many people and questions?

Of each person and measure it is asked whether the repeat error is larger than that of the others,
whether it grew, and whether the difference moved (of the reference: beside all staff). Holm (1979)
Scand. J. Stat. 6:65-70 over all questions of the program, with weights (from memory): five eighths
of the risk are given to movement, two to larger repeat errors and one to growing ones, which a few
sessions hardly show. Of twenty programs whose staff are alike and stay so, one at most names
anybody.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from anthroqa.decisions.findings import NOT_JUDGED
from anthroqa.notes.cells import coded, worded
from anthroqa.program.staff.drift import DIFFERENCE, REFERENCE, REPEAT
from anthroqa.scores.layout.cube import Array
from anthroqa.scores.marks.screening import EXPECTED, NAMED, NAMED_AT

DIFFERS, MOVES = "differs from the others", "has moved"
RISKS = {  # how the risk of naming anybody is divided; fixed beforehand
    (DIFFERS, REPEAT): 2 / 8, (MOVES, REPEAT): 1 / 8, (MOVES, DIFFERENCE): 5 / 8,
    (MOVES, REFERENCE): 5 / 8,
}  # fmt: skip
COLUMNS = [
    "measure", "measurer", "question", "what", "estimate", "p_value", "adjusted", "state", "note",
]  # fmt: skip


def named(funnel: pd.DataFrame, drifts: pd.DataFrame) -> pd.DataFrame:
    """Every question of the program with its adjusted p-value and its state.

    Parameters
    ----------
    funnel, drifts : pandas.DataFrame
        What `funnel` and `drifts` gave.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, question, what, estimate, p_value, adjusted, state, note`. `question`
        is `differs from the others` or `has moved`; `what` is `repeat error`, `difference` or
        `reference`; `estimate` is the repeat error or the change. `state` is `named` (5 % over the
        whole program), `as expected` or `not judged`.
    """
    return worded(named_rows(coded(funnel), coded(drifts)))


def named_rows(funnel: pd.DataFrame, drifts: pd.DataFrame) -> pd.DataFrame:
    """What `named` gives, with codes in `note`."""
    table = pd.concat(
        [
            funnel.assign(question=DIFFERS, what=REPEAT),
            drifts.assign(question=MOVES, estimate=drifts["change"]),
        ],
        ignore_index=True,
    )
    kind = [RISKS[k] for k in zip(table["question"], table["what"], strict=True)]
    table["adjusted"] = weighted_holm(table["p_value"].to_numpy(float), np.array(kind))
    table["state"] = np.select(
        [table["p_value"].isna(), table["adjusted"] <= NAMED_AT], [NOT_JUDGED, NAMED], EXPECTED
    )
    return table[COLUMNS]


def weighted_holm(p: Array, risk: Array) -> Array:
    """P-values adjusted for all beside them; those with the same `risk` share that part of it.

    Holm (1979): in the order of p / weight the p-value is multiplied by the weights that are left
    over its own. Blank ones are no tests.
    """
    there = ~np.isnan(p)
    out = np.full(len(p), np.nan)
    kinds, of, n = np.unique(risk[there], return_inverse=True, return_counts=True)
    weight = (kinds / n)[of]
    order = np.argsort(p[there] / weight, kind="stable")
    left = np.cumsum(weight[order][::-1])[::-1]
    ranked = np.maximum.accumulate(p[there][order] * left / weight[order])
    out[np.flatnonzero(there)[order]] = np.minimum(ranked, 1)
    return out
