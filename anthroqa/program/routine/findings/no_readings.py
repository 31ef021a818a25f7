"""What was in the records that is not a reading of this step, and where?

Nothing is dropped: readings between two marks, missing, outside the range of the measure, or not to
be read are counted. Many readings off the step are a sign of another step or unit.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from anthroqa.notes import NONE, Notes
from anthroqa.notes.cells import worded
from anthroqa.notes.program.routine import Unread
from anthroqa.program.routine.findings.groups import ALL, LEVELS, NOT_READ, Cells, cells
from anthroqa.scores.layout.figures import ratio

COLUMNS = ["measure", "level", "who", "n", *(k.replace(" ", "_") for k in NOT_READ), "note"]
MANY = 0.10  # share that is worth a word; common practice, no source


def quality(counts: pd.DataFrame) -> pd.DataFrame:
    """Shares of records that are no reading on a mark, of everybody, sites and people.

    Parameters
    ----------
    counts : pandas.DataFrame
        A tally of routine records.

    Returns
    -------
    pandas.DataFrame
        `measure, level, who, n, off_step, missing, out_of_range, unreadable, note`: shares of
        the `n` records; `note` says which are one in ten or more.
    """
    return worded(quality_rows(cells(counts)))


def quality_rows(measures: Iterable[Cells]) -> pd.DataFrame:
    """The same, with codes in `note`."""
    parts = []
    for c in measures:
        for level in LEVELS:
            who, code = c.by(level)
            n = c.sum("n", c.of_kind(ALL), (code, len(who)))
            table = pd.DataFrame({"measure": c.measure, "level": level, "who": who, "n": n})
            notes = np.full(len(who), NONE, dtype=object)
            for kind, note in zip(NOT_READ, Unread, strict=True):
                share = ratio(c.sum("n", c.of_kind(kind), (code, len(who))), n)
                table[kind.replace(" ", "_")] = share
                notes[share >= MANY] += Notes((note,))
            parts.append(table.assign(note=notes))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=COLUMNS)
